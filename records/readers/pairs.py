"""Which of several files belong together as the two halves of one COMTRADE record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from records.readers.formats import SNIFFED_BYTES, format_of, is_configuration


@dataclass(frozen=True)
class Given:
    """One record as it was given: a file, and the other file of its pair where it is one of two."""

    path: str
    companion: str | None = None

    @property
    def is_text(self) -> bool:
        """Whether it is read as text in columns."""
        return self.companion is None and format_of(first_bytes(self.path)).name == "text in columns"


def paired(paths: Sequence[str]) -> list[Given]:
    """Return the records that files make up.

    Parameters
    ----------
    paths : sequence of str
        As given. A configuration, which its content tells, takes the file of the same name but for its ending, else the
        next one that is left, else any.

    Returns
    -------
    list of Given
        In the order of their first files.
    """
    configurations = [path for path in paths if is_configuration(first_bytes(path))]
    left = [path for path in paths if path not in configurations]
    pairs: dict[str, str | None] = {}
    for path in configurations:
        place, stem = paths.index(path), Path(path).with_suffix("")
        named = [other for other in left if Path(other).with_suffix("") == stem]
        after = [other for other in left if paths.index(other) > place]
        pairs[path] = next(iter(named or after or left), None)
        left = [other for other in left if other != pairs[path]]
    taken = set(pairs.values())
    return [Given(path, pairs.get(path)) for path in paths if path not in taken]


def first_bytes(path: str) -> bytes:
    """Return the bytes that a format is told by; none where the file cannot be opened, which reading it will say."""
    try:
        with Path(path).open("rb") as stream:
            return stream.read(SNIFFED_BYTES)
    except OSError:
        return b""
