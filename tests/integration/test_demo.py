"""The demonstration laboratory, loaded by driving the real services."""

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone

from equipment.models import Instrument
from labsite.ledger.selectors import verify_chain
from labsite.people.models import Organisation
from records.evaluation.kinds import KINDS
from records.models import Certificate, Nonconformance, Run, RunInstrument
from records.selectors.digests import current_evaluation
from schedules.models import Unit


@pytest.mark.slow
@pytest.mark.django_db
@pytest.mark.timeout(600)
def test_the_story_is_played_as_told(capsys):
    call_command("load_demo", skip_checks=True)

    assert Organisation.objects.filter(is_laboratory=False).count() >= 3
    assert Unit.objects.count() >= 12
    assert len(set(Unit.objects.values_list("equipment", flat=True))) == 6
    approved = Run.objects.filter(state="approved", verdict="conforms")
    assert set(approved.values_list("step__kind", flat=True)) == set(KINDS)
    sequence = approved.get(step__kind="lightning_impulse")  # one reduced wave and three full ones
    waves = current_evaluation(sequence).document["details"]["impulses"]
    assert [wave["stage"] for wave in waves] == ["reduced", "full", "full", "full"]
    assert Instrument.objects.count() == 25
    assert Run.objects.order_by("started_at").first().started_at < timezone.now() - timedelta(days=700)
    assert Run.objects.filter(verdict="not_valid").exists()
    closed = Nonconformance.objects.get(closed_by_run__isnull=False)
    assert (closed.run.verdict, closed.closed_by_run.verdict) == ("does_not_conform", "conforms")
    assert Nonconformance.objects.filter(disposition="").exists()
    assert RunInstrument.objects.exclude(override_reason="").exists()
    assert Certificate.objects.filter(state="issued").count() >= 5
    assert set(Run.objects.values_list("state", flat=True)) >= {"approved", "signed", "energised"}
    assert verify_chain().is_sound

    call_command("load_demo", skip_checks=True)
    assert "kept" in capsys.readouterr().out
    assert Instrument.objects.count() == 25
