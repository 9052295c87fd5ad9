"""Hands out the files of instruments: always as attachments, byte for byte as they came."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.db.models import QuerySet
from django.http import FileResponse, Http404

from equipment.models import Instrument, InstrumentFile


def instrument_file(instrument: Instrument) -> QuerySet[InstrumentFile]:
    """Return the files of an instrument that the viewer has been shown to see."""
    return InstrumentFile.objects.filter(instrument=instrument)


def file_of(row: InstrumentFile) -> FileResponse:
    """Return the bytes under their given name; the digest is the ETag."""
    place = Path(settings.MEDIA_ROOT) / row.path
    if not place.is_file():
        raise Http404("This file is not stored.")
    response = FileResponse(
        place.open("rb"), as_attachment=True, filename=row.given_name, content_type="application/octet-stream"
    )
    response["ETag"] = f'"{row.sha256}"'
    response["X-Content-Type-Options"] = "nosniff"
    return response
