"""Every reader loaded before the search begins, so that loading is no part of it."""

from __future__ import annotations

from records.readers.formats import FORMATS


def load_all() -> list[str]:
    """Load the module of each format and give their names."""
    return [known.reader.__name__ for known in FORMATS]
