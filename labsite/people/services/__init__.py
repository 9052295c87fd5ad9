"""What can be done with people, organisations and the laboratory's own data."""

from labsite.people.services.laboratory import edit_laboratory
from labsite.people.services.numbering import next_number
from labsite.people.services.organisations import create_organisation, edit_organisation
from labsite.people.services.tokens import issue_token, revoke_token
from labsite.people.services.users import create_user, set_roles, switch_off_user, switch_on_user

__all__ = [
    "create_organisation",
    "create_user",
    "edit_laboratory",
    "edit_organisation",
    "issue_token",
    "next_number",
    "revoke_token",
    "set_roles",
    "switch_off_user",
    "switch_on_user",
]
