"""Gapless numbers of orders, units, runs and certificates."""

from __future__ import annotations

from string import Formatter

from django.core.exceptions import ValidationError

from labsite.ledger.services import NotWriting, is_writing
from labsite.people.models import NumberCounter
from labsite.people.selectors import get_laboratory

SERIES = ("order", "unit", "run", "certificate")


def next_number(series: str, year: int) -> str:
    """Return the next number of a series, written by the laboratory's pattern.

    Only inside `writing()`, so that a number is used up exactly when what bears it is kept. A pattern without `{year}`
    counts on from year to year.
    """
    if not is_writing():
        raise NotWriting(f"A number of the series {series} was asked for outside writing().")
    if series not in SERIES:
        raise ValueError(f"There is no series {series!r}; there are {', '.join(SERIES)}.")
    pattern = getattr(get_laboratory(), f"{series}_pattern")
    counted_year = year if has_year(pattern) else 0
    counter, _ = NumberCounter.objects.select_for_update().get_or_create(series=series, year=counted_year)
    counter.last += 1
    counter.save(update_fields=["last"])
    return pattern.format(year=year, n=counter.last)


def has_year(pattern: str) -> bool:
    """Say whether the year is part of the number."""
    return "year" in {name for _, name, _, _ in Formatter().parse(pattern)}


def check_pattern(pattern: str) -> None:
    """Refuse a pattern that cannot be filled in, or that gives two things the same number."""
    try:
        names = {name for _, name, _, _ in Formatter().parse(pattern) if name is not None}
        first, second = (pattern.format(year=2026, n=number) for number in (1, 2))
    except (ValueError, KeyError, IndexError, AttributeError, TypeError) as error:
        raise ValidationError(
            f"The pattern {pattern!r} cannot be filled in. Write it like C-{{year}}-{{n:04d}}."
        ) from error
    if names - {"year", "n"}:
        raise ValidationError(f"The pattern {pattern!r} names something else than {{year}} and {{n}}.")
    if "n" not in names or first == second:
        raise ValidationError(f"The pattern {pattern!r} has no {{n}}, so that all numbers would be alike.")
