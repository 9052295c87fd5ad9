"""Whose pages these are: laboratory people's; customers and witnesses find nothing here."""

from __future__ import annotations

from labsite.people.access import roles_required
from labsite.people.roles import LABORATORY_ROLES, Role

laboratory_only = roles_required(*LABORATORY_ROLES)
deciders_only = roles_required(Role.APPROVER, Role.QUALITY_MANAGER)
quality_manager_only = roles_required(Role.QUALITY_MANAGER)
