"""`manage.py recompute`: every stored finding computed again, differences listed; nothing is changed."""

from __future__ import annotations

import json
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from records.services.recomputing import Difference, Recomputation, recompute_findings

_HEADS = ("run", "evaluation", "finding", "quantity", "field", "stored", "computed")


class Command(BaseCommand):
    """Exit status: 0 everything was found again, 1 there are differences."""

    help = "Computes every stored finding again from its record, plan and set-up, and lists what differs."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the form of the list."""
        parser.add_argument("--format", choices=("table", "json"), default="table", help="how to list the differences")

    def handle(self, *args: Any, **options: Any) -> None:
        """Compute, list, and end with the status; progress goes to standard error."""
        found = recompute_findings(on_progress=self._say)
        if options["format"] == "json":
            self.stdout.write(json.dumps(found.as_dict(), ensure_ascii=False, indent=2))
        else:
            self._table(found)
        sys.exit(0 if found.is_same else 1)

    def _say(self, words: str) -> None:
        self.stderr.write(words)

    def _table(self, found: Recomputation) -> None:
        if found.differences:
            rows = [_HEADS, *(_cells(difference) for difference in found.differences)]
            widths = [max(len(row[place]) for row in rows) for place in range(len(_HEADS))]
            for row in rows:
                self.stdout.write(
                    "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
                )
        told = "no difference" if found.is_same else f"differences: {len(found.differences)}"
        self.stdout.write(
            f"{found.evaluations} evaluations with {found.findings} findings computed again by version "
            f"{found.version}; {told}."
        )


def _cells(difference: Difference) -> tuple[str, ...]:
    texts = (
        difference.run,
        difference.evaluation,
        difference.position if difference.position is not None else "",
        difference.quantity,
        difference.field,
        difference.stored,
        difference.computed,
    )
    return tuple(" ".join(str(text).split())[:80] for text in texts)
