"""What tests do with answers."""

from __future__ import annotations

from django.http import HttpResponse


def let_go(answer: HttpResponse) -> None:
    """Read a file that was sent to its end; merely closing it would close the database's connection with it."""
    if answer.streaming:
        for _ in answer.streaming_content:
            pass
