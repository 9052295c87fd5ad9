"""What the ledger stores."""

from labsite.ledger.models.entry import Entry
from labsite.ledger.models.submission import Submission

__all__ = ["Entry", "Submission"]
