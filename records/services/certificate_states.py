"""The life cycle of a certificate: one table, which guards, pages and tests read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from labsite.ledger.services import record_entry
from records.models import Certificate
from records.services.refusals import WrongState

State = Certificate.State
# Deed: where the certificate must stand, where it stands afterwards, and the deed in a sentence.
TRANSITIONS: Mapping[str, tuple[tuple[str, ...], str, str]] = {
    "compose_draft": ((State.COMPOSING,), State.DRAFT, "compose the draft of"),
    "issue": ((State.DRAFT,), State.ISSUED, "issue"),
    "supersede": ((State.ISSUED,), State.SUPERSEDED, "replace"),
    "withdraw": ((State.COMPOSING, State.DRAFT, State.ISSUED), State.WITHDRAWN, "withdraw"),
    "amend": ((State.ISSUED,), State.ISSUED, "amend"),
}


def is_open_to(certificate: Certificate, deed: str) -> bool:
    """Say whether the deed may be done where the certificate stands."""
    return certificate.state in TRANSITIONS[deed][0]


def deeds_open(certificate: Certificate) -> frozenset[str]:
    """Return every deed that is possible now, for pages."""
    return frozenset(deed for deed in TRANSITIONS if is_open_to(certificate, deed))


def require(certificate: Certificate, deed: str) -> None:
    """Raise WrongState where the deed does not fit."""
    if not is_open_to(certificate, deed):
        raise WrongState(
            f"Certificate {certificate.number} stands at “{certificate.get_state_display()}”: nobody can "
            f"{TRANSITIONS[deed][2]} it there. Nothing was changed."
        )


def locked(certificate: Certificate) -> Certificate:
    """Return the certificate as it is now, held until the transaction ends."""
    rows = Certificate.objects.select_for_update(of=("self",)).select_related("unit__order", "replaces")
    return rows.get(pk=certificate.pk)


def move(
    certificate: Certificate, deed: str, *, changes: Mapping[str, Any] | None = None, reason: str = "", by: Any
) -> None:
    """Move a locked certificate along the table, with further fields, and write the entry."""
    require(certificate, deed)
    keep(certificate, f"certificate.{deed}", dict(changes or {}) | {"state": TRANSITIONS[deed][1]}, reason, by)


def keep(certificate: Certificate, action: str, told: Mapping[str, Any], reason: str, by: Any) -> None:
    """Store fields of a locked certificate with the entry that tells old and new values."""
    pairs = {name: [getattr(certificate, name), value] for name, value in told.items()}
    for name, value in told.items():
        setattr(certificate, name, value)
    certificate.version += 1
    certificate.save(update_fields=[*told, "version"])
    record_entry(action=action, subject=certificate, changes=pairs, reason=reason, by=by)
