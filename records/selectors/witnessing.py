"""What a witness sees of the one run in the invitation."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from records.charts import svg_of
from records.models import Evaluation, Run, WitnessInvitation
from records.selectors.digests import current_evaluation, run_digest
from records.selectors.judgement import FindingRow, finding_rows


@dataclass(frozen=True)
class Witnessed:
    """A run as a witness sees it, with the digest of what a signature would bind."""

    invitation: WitnessInvitation
    run: Run
    evaluation: Evaluation | None
    findings: tuple[FindingRow, ...]
    picture: str
    digest: str

    @property
    def can_be_signed(self) -> bool:
        """Say whether there is a result to sign."""
        return self.run.state in (Run.State.JUDGED, Run.State.SIGNED, Run.State.APPROVED)


def witnessed(invitation: WitnessInvitation) -> Witnessed:
    """Return the run of an invitation that is open; the caller has checked that it is."""
    run = Run.objects.for_detail().get(pk=invitation.run_id)
    evaluation = current_evaluation(run)
    picture = svg_of(evaluation) if evaluation is not None else None
    drawn = base64.b64encode(picture.encode()).decode() if picture is not None else ""
    address = f"data:image/svg+xml;base64,{drawn}" if drawn else ""
    return Witnessed(invitation, run, evaluation, tuple(finding_rows(evaluation)), address, run_digest(run))


def own_invitations(viewer: Any) -> QuerySet[WitnessInvitation]:
    """Return the viewer's invitations that are open and unsigned."""
    rows = WitnessInvitation.objects.visible_to(viewer).open_at(timezone.now()).filter(signed_at__isnull=True)
    return rows.filter(user=viewer).select_related("run__step__plan__unit", "run__arrangement", "user")


def invitations_of(run: Run, viewer: Any) -> QuerySet[WitnessInvitation]:
    """Return the invitations to a run that the viewer may see."""
    return WitnessInvitation.objects.visible_to(viewer).filter(run=run).select_related("invited_by", "user")
