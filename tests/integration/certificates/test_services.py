"""Certificates are refused, drafted, issued, amended and withdrawn; the ledger tells each deed."""

from __future__ import annotations

import hashlib

import pytest
import rfc8785
from django.core.exceptions import PermissionDenied

from labsite.jobs.models import Job
from labsite.jobs.services import run_waiting
from labsite.ledger.models import Entry
from records.certificates import composition
from records.models import Certificate, SignOff
from records.services.certificates import (
    NotReady,
    amend_certificate,
    issue_certificate,
    keep_composition,
    request_certificate,
    withdraw_certificate,
)
from records.services.refusals import DigestMoved, ValueRefused, WrongState
from records.services.storing import absolute
from schedules.models import Arrangement
from tests.integration.certificates import world

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick_typesetting")]


def _actions() -> list[str]:
    return list(Entry.objects.filter(action__startswith="certificate.").values_list("action", flat=True))


def test_a_unit_without_runs_lacks_every_arrangement_by_name(unit, approver):
    with pytest.raises(NotReady) as refused:
        request_certificate(unit=unit, by=approver)
    places = Arrangement.objects.filter(step__plan__unit=unit).order_by("step__position", "position")
    expected = tuple(f"{place.step.title}, {place.name}: no approved run that judged the unit." for place in places)
    assert len(expected) == 6
    assert refused.value.missing == expected
    assert Certificate.objects.count() == 0


def test_the_latest_standing_run_speaks_for_its_arrangement(unit, runs, tester, second_tester, approver):
    failing = world.run_of(runs[0].arrangement, tester, second_tester, approver, is_good=False, day=1)
    assert failing.verdict == "does_not_conform"
    with pytest.raises(NotReady) as refused:
        request_certificate(unit=unit, by=approver)
    assert [failing.number in words for words in refused.value.missing] == [True]
    world.run_of(runs[0].arrangement, tester, second_tester, approver, day=2)
    assert request_certificate(unit=unit, by=approver).state == "composing"


def test_an_earlier_fault_is_not_hidden_by_the_retest(unit, runs, tester, second_tester, approver):
    failing = world.run_of(runs[0].arrangement, tester, second_tester, approver, is_good=False, day=-1)
    row = world.conceded(failing, approver)
    row.disposition, row.closed_by_run, row.closed_at = "retest", runs[0], world.NOW
    row.save()
    document = request_certificate(unit=unit, by=approver).document
    words = [told["words"] for told in document["deviations"] if told["kind"] == "Nonconformance"]
    assert len(words) == 1
    assert failing.number in words[0]
    assert words[0].endswith(f"Closed by run {runs[0].number}.")
    assert document["verdict"] == "conforms"


def test_a_concession_is_printed_and_the_item_is_not_said_to_conform(unit, runs, tester, second_tester, approver):
    failing = world.run_of(runs[0].arrangement, tester, second_tester, approver, is_good=False, day=1)
    world.conceded(failing, approver)
    certificate = request_certificate(unit=unit, by=approver)
    assert certificate.document["verdict"] == "concession"
    kinds = {told["kind"]: told["words"] for told in certificate.document["deviations"]}
    assert "Accepted for the outdoor bay" in kinds["Nonconformance"]


def test_an_override_is_printed_with_its_reason(unit, runs, quality_manager, approver):
    use = runs[0].instruments.get(instrument__identifier="HVD-03")
    use.is_valid, use.status_reason, use.overridden_by = False, "overdue since 1 March 2026", quality_manager
    use.overridden_at, use.override_reason = world.NOW, "Checked against the standard divider this morning."
    use.save()
    words = request_certificate(unit=unit, by=approver).document["deviations"][0]["words"]
    assert words == (
        f"Run {runs[0].number} used HVD-03 (voltage instrument) although: overdue since 1 March 2026. Quentin Hale, "
        "quality manager, allowed it on 3 March 2026, 09:00:00 UTC: Checked against the standard divider this morning."
    )


def test_the_digest_is_sha256_over_canonical_json(draft):
    assert draft.state == "draft"
    assert draft.document_digest == hashlib.sha256(rfc8785.dumps(draft.document)).hexdigest()
    assert hashlib.sha256(absolute(draft.draft_path).read_bytes()).hexdigest() in draft.draft_path


@pytest.mark.parametrize("who", ["tester", "quality_manager", "administrator", "customer"])
def test_only_an_approver_may(who, request, draft, approver):
    person = request.getfixturevalue(who)
    for deed in (
        lambda: request_certificate(unit=draft.unit, by=person),
        lambda: issue_certificate(certificate=draft, digest=draft.document_digest, by=person),
        lambda: amend_certificate(certificate=draft, reason="x", by=person),
        lambda: withdraw_certificate(certificate=draft, reason="x", by=person),
    ):
        with pytest.raises(PermissionDenied):
            deed()
    draft.refresh_from_db()
    assert draft.state == "draft"
    assert SignOff.objects.filter(certificate=draft).count() == 0


def test_issue_signs_the_digest_and_seals_the_final_form(issued, approver):
    assert issued.state == "issued"
    sign_off = issued.sign_offs.get()
    assert (sign_off.user, sign_off.capacity, sign_off.digest) == (approver, "approver", issued.document_digest)
    assert issued.sha256 == hashlib.sha256(absolute(issued.path).read_bytes()).hexdigest()
    assert issued.path != issued.draft_path
    assert _actions() == [
        "certificate.request", "certificate.compose_draft", "certificate.issue", "certificate.seal",
    ]  # fmt: skip


def test_another_digest_than_the_one_shown_is_not_signed(draft, approver):
    with pytest.raises(DigestMoved):
        issue_certificate(certificate=draft, digest="0" * 64, by=approver)
    Certificate.objects.filter(pk=draft.pk).update(document={**draft.document, "verdict": "concession"})
    with pytest.raises(DigestMoved):
        issue_certificate(certificate=draft, digest=draft.document_digest, by=approver)
    assert SignOff.objects.filter(certificate=draft).count() == 0


def test_a_fault_found_after_the_draft_stops_the_issue(draft, runs, tester, second_tester, approver):
    world.run_of(runs[0].arrangement, tester, second_tester, approver, is_good=False, day=1)
    with pytest.raises(NotReady):
        issue_certificate(certificate=draft, digest=draft.document_digest, by=approver)


def test_a_second_request_is_refused_and_points_to_the_way(draft, approver):
    with pytest.raises(NotReady, match=f"The draft {draft.number} is open already"):
        request_certificate(unit=draft.unit, by=approver)
    issue_certificate(certificate=draft, digest=draft.document_digest, by=approver)
    with pytest.raises(NotReady, match="Amend it instead"):
        request_certificate(unit=draft.unit, by=approver)


def test_an_amendment_has_a_new_number_and_supersedes_at_issue(issued, approver):
    with pytest.raises(ValueRefused):
        amend_certificate(certificate=issued, reason="  ", by=approver)
    amendment = amend_certificate(certificate=issued, reason="Serial number corrected.", by=approver)
    run_waiting()
    issued.refresh_from_db()
    amendment.refresh_from_db()
    assert amendment.number != issued.number
    assert amendment.document["replaces"]["number"] == issued.number
    assert (issued.state, amendment.state) == ("issued", "draft")
    before = absolute(issued.path).read_bytes()
    issue_certificate(certificate=amendment, digest=amendment.document_digest, by=approver)
    issued.refresh_from_db()
    assert issued.state == "superseded"
    assert issued.replaced_by == amendment
    assert absolute(issued.path).read_bytes() == before
    with pytest.raises(WrongState):
        amend_certificate(certificate=issued, reason="again", by=approver)


def test_a_withdrawn_amendment_leaves_the_way_open_for_another(issued, approver):
    first = amend_certificate(certificate=issued, reason="First try.", by=approver)
    withdraw_certificate(certificate=first, reason="Wrong reason stated.", by=approver)
    second = amend_certificate(certificate=issued, reason="Second try.", by=approver)
    assert second.replaces == issued
    assert (
        Entry.objects.filter(action="certificate.withdraw", subject_id=str(first.pk)).get().reason
        == "Wrong reason stated."
    )


def test_withdrawal_keeps_the_file_and_needs_a_reason(issued, approver):
    with pytest.raises(ValueRefused):
        withdraw_certificate(certificate=issued, reason="", by=approver)
    withdraw_certificate(certificate=issued, reason="The divider was found wrong.", by=approver)
    issued.refresh_from_db()
    assert (issued.state, issued.withdrawn_by, issued.withdrawal_reason) == (
        "withdrawn", approver, "The divider was found wrong.",
    )  # fmt: skip
    assert absolute(issued.path).exists()
    with pytest.raises(WrongState):
        issue_certificate(certificate=issued, digest=issued.document_digest, by=approver)


def test_a_repeated_job_changes_nothing(issued, approver):
    before = Certificate.objects.values().get(pk=issued.pk)
    keep_composition(certificate=issued, form="final", path="elsewhere", sha256="0" * 64, by=approver)
    keep_composition(certificate=issued, form="draft", path="elsewhere", sha256="0" * 64, by=approver)
    assert Certificate.objects.values().get(pk=issued.pk) == before


def test_content_that_was_altered_is_not_composed(unit, runs, approver):
    certificate = request_certificate(unit=unit, by=approver)
    Certificate.objects.filter(pk=certificate.pk).update(document={**certificate.document, "verdict": "concession"})
    run_waiting()
    job = Job.objects.get()
    assert job.state == "failed"
    assert job.words.startswith(f"The stored content of {certificate.number} does not fit its digest")


def test_without_pango_one_line_names_the_package(unit, runs, approver, monkeypatch):
    monkeypatch.setattr(composition, "weasyprint", None)
    request_certificate(unit=unit, by=approver)
    run_waiting()
    job = Job.objects.get()
    assert (job.state, job.words) == (
        "failed", "WeasyPrint needs Pango: apt-get install libpango-1.0-0 libpangoft2-1.0-0",
    )  # fmt: skip
