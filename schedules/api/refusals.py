"""How the API says what a service refused."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rest_framework.exceptions import ValidationError

from schedules.rules import FIELDS_BY_NAME
from schedules.services.refusals import ScheduleRefused


@contextmanager
def refusals_as_answers(*own_fields: str) -> Iterator[None]:
    """Turn a refusal into a 400 with each sentence by its field; those of a rating stand under `ratings`."""
    try:
        yield
    except ScheduleRefused as refused:
        answer: dict[str, object] = {}
        ratings: dict[str, list[str]] = {}
        for refusal in refused.refusals:
            if refusal.field in FIELDS_BY_NAME and refusal.field not in own_fields:
                ratings.setdefault(refusal.field, []).append(refusal.words)
            else:
                answer.setdefault(refusal.field or "non_field_errors", []).append(refusal.words)  # type: ignore[attr-defined]
        raise ValidationError(answer | ({"ratings": ratings} if ratings else {})) from None
