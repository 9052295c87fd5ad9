"""How anything is written: `writing()` around it, `record_entry` inside it."""

from labsite.ledger.errors import AlreadySubmitted, Conflict, NotWriting, StaleEdit
from labsite.ledger.services.editing import change_fields, create_with_entry
from labsite.ledger.services.entries import record_entry, subject_of
from labsite.ledger.services.transactions import is_writing, writing

__all__ = [
    "AlreadySubmitted",
    "Conflict",
    "NotWriting",
    "StaleEdit",
    "change_fields",
    "create_with_entry",
    "is_writing",
    "record_entry",
    "subject_of",
    "writing",
]
