"""`manage.py evaluate`: one step and its record to findings as JSON, without a database."""

from __future__ import annotations

import json
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from records.evaluation.shell import STATUS, BadInput, evaluate_files


class Command(BaseCommand):
    """Exit status: 0 conforms, 1 does not conform, 2 bad input, 3 inconclusive or not valid."""

    help = "Judge a record against one step of a plan and print the findings as JSON."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("step", metavar="STEP.json", help="one step of a plan")
        parser.add_argument("records", metavar="RECORD", nargs="+", help="the record, or its parts")
        parser.add_argument("--setup", metavar="SETUP.json", help="set-up checks where they are not in the record")
        parser.add_argument("--columns", metavar="COLUMNS.json", help="columns that the heads do not tell")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            evaluation = evaluate_files(
                options["step"], options["records"], setup=options["setup"], columns=options["columns"]
            )
        except BadInput as fault:
            self.stderr.write(str(fault))
            sys.exit(2)
        self.stdout.write(json.dumps(evaluation.as_dict(), ensure_ascii=False, indent=2, allow_nan=False))
        sys.exit(STATUS[evaluation.verdict])
