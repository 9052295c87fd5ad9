"""What the history calls the deeds of accounts and of the laboratory."""

from labsite.ledger.wording import name_deeds

name_deeds(
    {
        "people.sign_in": "Signed in",
        "people.create_user": "Account opened",
        "people.set_roles": "Roles given",
        "people.set_password": "Password set",
        "people.switch_on_user": "Account switched on",
        "people.switch_off_user": "Account switched off",
        "people.issue_token": "Token issued",
        "people.revoke_token": "Token revoked",
        "people.create_organisation": "Organisation entered",
        "people.edit_organisation": "Organisation changed",
        "people.edit_laboratory": "Laboratory changed",
        "jobs.retry_job": "Job started again",
    }
)
