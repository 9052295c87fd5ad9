"""Reads settings strictly from the environment: an odd value stops with its name, the reason and the mend."""

from __future__ import annotations

import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured


def text(name: str, default: str | None = None, *, at_least: int = 0) -> str:
    """Return the variable `name`; stop if it is obligatory and missing, or shorter than `at_least` characters."""
    value = os.environ.get(name, default)
    if value is None:
        raise ImproperlyConfigured(f"{name} is not set. It has no safe default here; set it in the environment.")
    if len(value) < at_least:
        raise ImproperlyConfigured(
            f"{name} has {len(value)} characters; it needs at least {at_least}. Set a longer one."
        )
    return value


def switch(name: str, default: bool) -> bool:
    """Return True or False from `1/true/yes/on` or `0/false/no/off`; anything else stops."""
    value = os.environ.get(name)
    if value is None or value == "":
        return default
    known = {"1": True, "true": True, "yes": True, "on": True, "0": False, "false": False, "no": False, "off": False}
    if value.lower() not in known:
        raise ImproperlyConfigured(f"{name} is {value!r}, which is neither yes nor no. Use 1 or 0.")
    return known[value.lower()]


def whole_number(name: str, default: int, *, minimum: int = 0, maximum: int = 2**40) -> int:
    """Return a whole number within its bounds."""
    value = os.environ.get(name, "")
    if value == "":
        return default
    try:
        number = int(value)
    except ValueError:
        raise ImproperlyConfigured(f"{name} is {value!r}, which is not a whole number. Write digits only.") from None
    if not minimum <= number <= maximum:
        raise ImproperlyConfigured(f"{name} is {number}; it must lie between {minimum} and {maximum}.")
    return number


def names(name: str, default: str) -> list[str]:
    """Return a list written with commas, without blanks and empty parts."""
    return [part.strip() for part in os.environ.get(name, default).split(",") if part.strip()]


def folder(name: str, default: Path) -> Path:
    """Return a folder as an absolute path."""
    value = os.environ.get(name)
    path = Path(value) if value else default
    if not path.is_absolute():
        raise ImproperlyConfigured(f"{name} is {value!r}, which is not an absolute path. Write it from the root.")
    return path
