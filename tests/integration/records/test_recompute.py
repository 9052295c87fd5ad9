"""`manage.py recompute`: a stored finding that was altered is found, and nothing is written."""

from __future__ import annotations

import io
import json

import pytest
from django.core.management import call_command
from django.forms.models import model_to_dict

from labsite.ledger.models import Entry
from records.evaluation.findings import EVALUATION_VERSION
from records.models import Evaluation, Finding, Record, Run
from records.services.recomputing import recompute_findings
from records.services.storing import absolute
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db


@pytest.fixture
def judged(prepared):
    """Return a run with its evaluation, after the real way of a record."""
    way = prepared().open()
    way.upload(laboratory.conforming())
    assert Evaluation.objects.count() == 1
    return way


def everything():
    return [
        [model_to_dict(row) for row in model.objects.order_by("pk")]
        for model in (Run, Record, Evaluation, Finding, Entry)
    ]


def called(**options):
    out, err = io.StringIO(), io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("recompute", stdout=out, stderr=err, **options)
    return ended.value.code, out.getvalue(), err.getvalue()


def test_what_was_stored_is_found_again_and_nothing_is_written(judged):
    before = everything()
    status, out, err = called()
    assert status == 0
    count = Finding.objects.count()
    assert (
        out == f"1 evaluations with {count} findings computed again by version {EVALUATION_VERSION}; no difference.\n"
    )
    assert err == f"Computing 1 of 1: {judged.now.number}, {judged.now.step.title}\n"
    assert everything() == before


def test_one_altered_finding_is_listed_with_both_values(judged):
    row = Finding.objects.get(quantity="apparent_charge_pc")
    genuine = row.value
    Finding.objects.filter(pk=row.pk).update(value=genuine + 1.0)
    before = everything()
    status, out, _ = called(format="json")
    assert status == 1
    answer = json.loads(out)
    assert answer["differences"] == [
        {
            "run": judged.now.number,
            "evaluation": row.evaluation_id,
            "position": row.position,
            "quantity": "apparent_charge_pc",
            "field": "value",
            "stored": genuine + 1.0,
            "computed": genuine,
            "version": EVALUATION_VERSION,
        }
    ]
    assert everything() == before
    status, out, _ = called()
    assert status == 1
    assert "apparent_charge_pc" in out
    assert out.endswith("differences: 1.\n")


def test_a_change_within_rounding_is_none(judged):
    row = Finding.objects.get(quantity="apparent_charge_pc")
    Finding.objects.filter(pk=row.pk).update(value=row.value * (1 + 1e-12))
    assert recompute_findings().is_same


def test_an_altered_document_verdict_and_a_missing_row_are_found(judged):
    evaluation = Evaluation.objects.get()
    document = evaluation.document
    document["findings"][0]["verdict"] = "does_not_conform"
    Evaluation.objects.update(document=document, verdict="does_not_conform")
    Finding.objects.filter(position=evaluation.findings.count()).delete()
    fields = {difference.field for difference in recompute_findings().differences}
    assert fields == {"digest", "verdict", "document.verdict", "findings"}


def test_a_record_whose_bytes_were_altered_is_told(judged):
    path = absolute(Record.objects.get().path)
    content = path.read_bytes()
    path.chmod(0o600)
    path.write_bytes(content.rstrip() + b"\n\n")
    told = recompute_findings().differences[0]
    assert (told.field, told.stored) == ("bytes", Record.objects.get().sha256)
    assert told.computed != told.stored


def test_a_changed_set_up_and_a_lost_record_are_told(judged):
    Evaluation.objects.update(setup_digest="0" * 64)
    assert [difference.field for difference in recompute_findings().differences] == ["setup_digest", "digest"]
    Evaluation.objects.update(record_digest="1" * 64)
    assert "record_digest" in {difference.field for difference in recompute_findings().differences}
    absolute(Record.objects.get().path).unlink()
    told = recompute_findings().differences[-1]
    assert (told.field, told.stored) == ("record", "evaluated")
    assert told.computed.startswith("cannot be computed: ")
