"""Why a file is refused: one class for each fact, each with a sentence that says what, where and the mend."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from records.readers.previewing import Preview


class RecordRefused(ValueError):
    """A file cannot be read as a record.

    Attributes
    ----------
    row : int or None
        Line of the file, counted from 1 and including heads and preamble, where the fault is; None where it has none.
    """

    def __init__(self, message: str, *, row: int | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.row = row


class RecordEmpty(RecordRefused):
    """The file holds nothing, or nothing but blanks."""


class RecordTooLarge(RecordRefused):
    """The file is larger, or has more rows, than the limit allows."""


class RecordNotText(RecordRefused):
    """The file is binary, not columns of text."""


class EncodingUnreadable(RecordRefused):
    """The bytes are no text in any encoding that is recognised."""


class RecordTruncated(RecordRefused):
    """The file stops in the middle of a row."""


class ColumnsDiffer(RecordRefused):
    """A row, or the heads, have another number of columns than the rest."""


class NotANumber(RecordRefused):
    """A cell in a column of numbers holds text, nothing, NaN or infinity."""


class NoTable(RecordRefused):
    """No rows of numbers were found in the file."""


class TooFewRows(RecordRefused):
    """There are fewer rows than any evaluation needs."""


class TimeGoesBackwards(RecordRefused):
    """A row is earlier than the row before it."""


class TimeStandsStill(RecordRefused):
    """Every row carries the same time."""


class FrequencyNotInOrder(RecordRefused):
    """The frequencies of a sweep do not rise, or one is not greater than 0."""


class RecordDamaged(RecordRefused):
    """The file begins as a format that is known, but what follows is not of it."""


class RecordUnsafe(RecordRefused):
    """The file reaches for other files, or unpacks to more than it may."""


class CompanionMissing(RecordRefused):
    """The file is one of a pair, and the other one was not given."""


class ContentNotKnown(RecordRefused):
    """The file is of a format that is known, with content that this laboratory has no use for."""


class ColumnMissing(RecordRefused):
    """A column that was asked for is not in the file."""


class BadColumnMap(RecordRefused):
    """The mapping of columns cannot be used as it stands."""


class ReadingTooCostly(RecordRefused):
    """Reading took more time or memory than the limit allows, or the reading process died."""


class MappingNeeded(RecordRefused):
    """The columns cannot be told by their heads: a person has to say which is which.

    Attributes
    ----------
    preview : Preview or None
        What was understood of the file: heads, units, samples of each column.
    """

    def __init__(self, message: str, *, preview: Preview | None = None, row: int | None = None) -> None:
        super().__init__(message, row=row)
        self.preview = preview


REFUSALS: dict[str, type[RecordRefused]] = {
    refusal.__name__: refusal
    for refusal in (
        RecordRefused,
        RecordEmpty,
        RecordTooLarge,
        RecordNotText,
        EncodingUnreadable,
        RecordTruncated,
        ColumnsDiffer,
        NotANumber,
        NoTable,
        TooFewRows,
        TimeGoesBackwards,
        TimeStandsStill,
        FrequencyNotInOrder,
        RecordDamaged,
        RecordUnsafe,
        CompanionMissing,
        ContentNotKnown,
        ColumnMissing,
        BadColumnMap,
        ReadingTooCostly,
        MappingNeeded,
    )
}
