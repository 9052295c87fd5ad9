"""What can stand against a deed on a run; each says the fact in words, and that nothing was changed."""

from __future__ import annotations

from collections.abc import Sequence


class Refused(Exception):
    """What was asked for cannot be done as things are; `words` say why and the mend, `missing` lists each lack."""

    def __init__(self, words: str, missing: Sequence[str] = ()) -> None:
        super().__init__(words)
        self.words = words
        self.missing = tuple(missing)


class WrongState(Refused):
    """The run does not stand where this may be done."""


class NotAuthorised(Refused):
    """The person holds no authorisation for this kind of test today."""


class GateClosed(Refused):
    """The energised stages stay closed: `missing` lists every reason."""


class DigestMoved(Refused):
    """What was about to be signed is not what was shown."""


class UploadRefused(Refused):
    """A file that is not stored: empty or too large."""


class ValueRefused(Refused):
    """A number or text that cannot be."""
