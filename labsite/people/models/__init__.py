"""What the site knows of people."""

from labsite.people.models.access_token import AccessToken
from labsite.people.models.laboratory import Laboratory, NumberCounter
from labsite.people.models.organisation import Organisation
from labsite.people.models.user import RoleGrant, User

__all__ = ["AccessToken", "Laboratory", "NumberCounter", "Organisation", "RoleGrant", "User"]
