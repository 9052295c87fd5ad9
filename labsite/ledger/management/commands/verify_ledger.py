"""Checks the whole ledger and says whether it is sound."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labsite.ledger.selectors import Anchor, verify_chain


class Command(BaseCommand):
    help = "Checks every entry of the ledger; ends with 1 when an entry was altered, removed, inserted or moved."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--count", type=int, help="number of entries when an older head was kept")
        parser.add_argument("--head", help="the older tree head, as printed on a certificate")

    def handle(self, *args: Any, **options: Any) -> None:
        if (options["count"] is None) != (options["head"] is None):
            raise CommandError("--count and --head belong together: give both, or neither.")
        anchor = Anchor(options["count"], options["head"]) if options["head"] else None
        report = verify_chain(anchor)
        if not report.is_sound:
            where = f" First bad entry: {report.first_bad}." if report.first_bad else ""
            self.stdout.write(f"NOT SOUND. {report.reason}{where}")
            sys.exit(1)
        self.stdout.write(f"Sound. {report.count} entries, tree head {report.head}")
