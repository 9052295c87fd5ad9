"""Reads of people and of the laboratory itself."""

from __future__ import annotations

from labsite.people.models import Laboratory

UNNAMED = "Laboratory without a name yet"


def get_laboratory() -> Laboratory:
    """Return the laboratory's own row; before it was first saved, one with the default patterns that is not stored."""
    return Laboratory.objects.filter(pk=1).first() or Laboratory(pk=1, name=UNNAMED, address="")
