"""The pictures of a certificate: each run's record as vectors, as it was read and judged."""

from __future__ import annotations

from typing import Any


def pictures_of(document: dict[str, Any]) -> dict[str, str]:
    """Return an SVG text by run number."""
    return {}
