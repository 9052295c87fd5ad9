"""Issues a token for the API and prints it once."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from labsite.people.access import ServerShell
from labsite.people.models import User
from labsite.people.services import issue_token


class Command(BaseCommand):
    """`create_token EMAIL LABEL`."""

    help = "Issue a token for the API in a person's name; it is printed once and stored nowhere."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email")
        parser.add_argument("label", help="the program that will use it")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(email__iexact=options["email"], is_active=True).first()
        if user is None:
            raise CommandError(f"No active account has the address {options['email']}.")
        try:
            _, secret = issue_token(user=user, label=options["label"], by=ServerShell())
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(secret)
