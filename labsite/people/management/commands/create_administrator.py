"""Opens the first administrator's account on a fresh installation."""

from __future__ import annotations

import getpass
import os
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from labsite.people.access import ServerShell
from labsite.people.models import Organisation
from labsite.people.services import create_organisation, create_user


class Command(BaseCommand):
    """`create_administrator EMAIL NAME --laboratory "…"`; the password is asked for, or taken from the environment."""

    help = "Open an administrator's account. The password is asked for, or read from WITHSTAND_PASSWORD."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email")
        parser.add_argument("name")
        parser.add_argument("--laboratory", default="The laboratory", help="name of the laboratory's organisation")

    def handle(self, *args: Any, **options: Any) -> None:
        shell = ServerShell()
        password = os.environ.get("WITHSTAND_PASSWORD") or getpass.getpass("Password (15 characters or more): ")
        laboratory = Organisation.objects.filter(is_laboratory=True).first()
        try:
            laboratory = laboratory or create_organisation(name=options["laboratory"], is_laboratory=True, by=shell)
            create_user(
                email=options["email"],
                name=options["name"],
                organisation=laboratory,
                roles=["administrator"],
                password=password,
                by=shell,
            )
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"{options['email']} can sign in.")
