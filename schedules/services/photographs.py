"""Photographs of units: kept byte for byte with their digest, after a look that each is one."""

from __future__ import annotations

import hashlib
import warnings
from io import BytesIO
from typing import Any

from django.core.files.base import ContentFile, File
from PIL import Image

from labsite.ledger.services import create_with_entry, writing
from schedules.models import Unit, UnitPhoto
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import require

LARGEST_BYTES = 20 * 2**20
MOST_PIXELS = 80_000_000
ENDINGS = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp"}


def add_photo(*, unit: Unit, file: File, caption: str = "", by: Any) -> UnitPhoto:
    """Keep a photograph of a unit, its bytes unchanged.

    Refuses an empty or too large file, one that is no JPEG, PNG or WebP picture or cannot be read to its end, a long
    caption, and a picture that the unit already has.
    """
    require(by, "add_photo")
    caption = caption.strip()
    if len(caption) > 200:
        raise ScheduleRefused.of("Shorten the caption to 200 characters.", "caption")
    content = _content(file)
    ending = ENDINGS[_picture_format(content)]
    digest = hashlib.sha256(content).hexdigest()
    with writing():
        if unit.photos.filter(sha256=digest).exists():
            raise ScheduleRefused.of("This unit already has this very picture; it was not stored twice.", "image")
        photo = UnitPhoto(unit=unit, sha256=digest, caption=caption, taken_by=by)
        photo.image.save(f"{digest}.{ending}", ContentFile(content), save=False)
        return create_with_entry(instance=photo, action="unit.photograph_added", by=by)


def _content(file: File) -> bytes:
    if not file.size:
        raise ScheduleRefused.of("The file is empty. Choose the picture again.", "image")
    if file.size > LARGEST_BYTES:
        raise ScheduleRefused.of(
            f"The file has {file.size / 2**20:.1f} MB; a photograph may have {LARGEST_BYTES // 2**20} MB.", "image"
        )
    file.seek(0)
    return file.read()


def _picture_format(content: bytes) -> str:
    """Return the format of a picture that reads to its end."""
    refused = ScheduleRefused.of(
        "The file is not a whole JPEG, PNG or WebP picture. Take or export it again; nothing was stored.", "image"
    )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(BytesIO(content), formats=list(ENDINGS)) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise refused
                picture.load()
                return str(picture.format)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise refused from None
