"""The six roles and what groups of them may do: the one table that every guard reads."""

from __future__ import annotations

from django.db import models


class Role(models.TextChoices):
    """What a person is in the laboratory's work."""

    TESTER = "tester", "Tester"
    APPROVER = "approver", "Approver"
    QUALITY_MANAGER = "quality_manager", "Quality manager"
    CUSTOMER = "customer", "Customer"
    WITNESS = "witness", "Witness"
    ADMINISTRATOR = "administrator", "Administrator"


# Those who see the laboratory's technical work.
LABORATORY_ROLES = frozenset({Role.TESTER, Role.APPROVER, Role.QUALITY_MANAGER})
