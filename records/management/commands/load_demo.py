"""`manage.py load_demo`: plays the invented laboratory's story through the real services, once."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from labsite.people.models import User
from records.demo import cast, founding
from records.demo.clock import moved_clock
from records.demo.playing import Player
from records.demo.story import STORIES


@contextmanager
def _written_at_the_end() -> Iterator[None]:
    """Let SQLite not wait for the disk at each of a thousand commits of an invented story; at the end all is written.

    A killed process still loses nothing. Within a transaction, as in tests, nothing is changed.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA synchronous=OFF")
        try:
            yield
        finally:
            cursor.execute("PRAGMA synchronous=FULL")
            os.sync()


class Command(BaseCommand):
    """Load the demonstration laboratory."""

    help = "Loads the invented demonstration laboratory into an empty database by driving the real services."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take `--who` to print the accounts only."""
        parser.add_argument("--who", action="store_true", help="print the address and the accounts")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, **options: Any) -> None:
        """Load, or say who there is."""
        if options["who"]:
            self._who(options["port"])
        elif User.objects.exists():
            self.stdout.write("The laboratory is there already; what was entered is kept.")
        elif settings.PRODUCTION:
            raise CommandError("The demonstration has known passwords; it is not loaded in production.")
        else:
            self._load()

    def _load(self) -> None:
        self.stdout.write("Loading the invented laboratory: two years of runs, read and judged by the real pipeline …")
        today = timezone.now()
        with _written_at_the_end(), moved_clock(today - timedelta(days=760)) as clock:
            people = founding.found_people()
            bays = founding.found_bays(people)
            founding.authorise(people, clock.moment.date(), (today + timedelta(days=400)).date())
            founding.found_instruments(people, today.date())
            player = Player(people, bays, clock, today, self._say)
            for story in STORIES:
                self._say(f"{story.days_ago:4d} days ago: {story.reference}, {story.customer}")
                player.play(story)
            player.advance_to(today - timedelta(hours=2))
            founding.take_out_of_service(people["quality"], today.date())
            founding.check_daily(people["quality"])

    def _say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()

    def _who(self, port: int) -> None:
        shown = {person.key: person for person in cast.PEOPLE if person.key in cast.SHOWN}
        words = [f"{shown[key].role.replace('_', ' ')} {shown[key].email}" for key in cast.SHOWN]
        self.stdout.write(f"Withstand answers at http://127.0.0.1:{port}/ – Ctrl-C stops it.")
        self.stdout.write(f"Invented accounts, all with the password {cast.PASSWORD}:")
        for first in range(0, len(words), 2):
            self.stdout.write("  " + " · ".join(words[first : first + 2]))
