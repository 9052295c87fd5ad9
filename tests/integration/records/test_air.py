"""Levels in the air of a run: shown on the sheet, set at the bay, and what the record is judged against."""

from __future__ import annotations

import math
import re

import pytest
from django.urls import reverse

from records.certificates.deviations import deviations_of
from records.evaluation.synthesis import Hold, synthesise_withstand
from records.evaluation.writing import csv_text
from records.models import Run
from records.models.procedure import injected_limits_pc, place_words, placed_stages
from records.services import checks
from records.services.refusals import Refused
from schedules.models import Step

pytestmark = pytest.mark.django_db
# Worked in the test from IEC 60060-1:2010 clause 4.3 (from memory) for 21.4 °C, 100.9 kPa, 45 %, 60 kV over 0.14 m.
DENSITY = 100.9 / 101.3 * 293 / 294.4
HUMIDITY = 6.11 * 45 * math.exp(17.6 * 21.4 / (243 + 21.4)) / (0.4615 * 294.4)
K = 1 + 0.012 * (HUMIDITY / DENSITY - 11)
G = 1.1 * 60 / (500 * 0.14 * DENSITY * K)
FACTOR = (DENSITY * K) ** (G * (G - 0.2) / 0.8)


@pytest.fixture
def outside(unit):
    """Let the withstand step state a path through air of 0.14 m."""
    step = Step.objects.get(plan__unit=unit, kind="power_frequency_withstand")
    step.document["procedure"]["air"] = {"path_m": 0.14, "kind": "alternating"}
    step.save(update_fields=["document"])
    return step


def withstand(prepared):
    return prepared("power_frequency_withstand")


def held_at(voltage_kv):
    return csv_text(synthesise_withstand([Hold(voltage_kv, 62.0)], seed=4))


def test_level_factor_and_set_point_stand_on_the_sheet(outside, prepared, client, tester):
    way = withstand(prepared)
    assert 0.95 < FACTOR < 0.98
    (stage,) = placed_stages(way.now)
    assert stage.correction.factor == pytest.approx(FACTOR, rel=1e-9)
    words = f"Withstand: 60 kV × Kt {FACTOR:.4f} = {60 * FACTOR:.2f} kV to set"
    assert place_words(way.now)[0].startswith(words)
    client.force_login(tester)
    page = client.get(reverse("records:run", args=[way.run.pk]), {"at": "conditions"}).content.decode()
    assert words in page
    (told,) = [
        row
        for row in deviations_of(way.run.step.plan.unit, way.run.step.plan, [way.now])
        if row["kind"] == "Levels at the place"
    ]
    assert words in told["words"]


@pytest.mark.parametrize(("voltage_kv", "verdict"), [(60 * FACTOR, "conforms"), (60.0, "not_valid")])
def test_the_record_is_judged_at_the_level_of_its_air(outside, prepared, voltage_kv, verdict):
    way = withstand(prepared).open()
    way.upload(held_at(voltage_kv))
    assert way.now.verdict == verdict
    outside.refresh_from_db()
    assert outside.document["procedure"]["stages"][0]["voltage_kv"] == 60


def test_altitude_and_air_are_two_factors_of_one_level(outside, prepared):
    """60 kV raised by 1.1305 for 2000 m (IEC 62271-1, from memory), then brought to the air of the run."""
    (stage,) = outside.document["procedure"]["stages"]
    stage |= {"level_kv": 60, "altitude_factor": 1.1305, "voltage_kv": 67.83, "exact_kv": 67.83, "set_point_kv": 67.85}
    outside.save(update_fields=["document"])
    words = place_words(withstand(prepared).now)[0]
    assert words.startswith("Withstand: 60 kV × Ka 1.1305 × Kt 0.9")
    product, to_set = (float(part) for part in re.search(r"= ([\d.]+) kV; ([\d.]+) kV to set", words).groups())
    factor = float(words.split("Kt ")[1].split(" ")[0])
    assert product == pytest.approx(67.83 * factor, abs=0.01)
    assert to_set == pytest.approx(67.85 * factor, abs=0.01)


def test_altitude_alone_is_told_too(outside, prepared):
    del outside.document["procedure"]["air"]
    (stage,) = outside.document["procedure"]["stages"]
    stage |= {"level_kv": 60, "altitude_factor": 1.1305, "voltage_kv": 67.83, "exact_kv": 67.83, "set_point_kv": 67.85}
    outside.save(update_fields=["document"])
    assert place_words(withstand(prepared).now) == (
        "Withstand: 60 kV × Ka 1.1305 = 67.83 kV; 67.85 kV to set (Ka for the altitude of the site).",
    )


def test_air_for_which_the_formula_has_no_value_is_warned_of(outside, prepared):
    way = withstand(prepared)
    Run.objects.filter(pk=way.run.pk).update(pressure_kpa=1009.0)
    assert placed_stages(way.now) == ()
    (words,) = place_words(way.now)
    assert words.startswith("No correction for the air (Kt) is worked out, and the planned levels stand: the pressure")


def test_without_a_path_through_air_the_planned_level_stands(prepared):
    way = withstand(prepared).open()
    assert placed_stages(way.now) == ()
    way.upload(held_at(60.0))
    assert way.now.verdict == "conforms"


def test_which_charge_may_be_injected_is_the_plans_word(unit, prepared):
    step = Step.objects.get(plan__unit=unit, kind="partial_discharge")
    assert injected_limits_pc(step.document) == (50, 200)
    (check,) = step.document["procedure"]["setup_checks"]
    check["min"], check["max"] = 90, 110
    step.save(update_fields=["document"])
    way = prepared()
    made = checks.record_charge_calibration(run=way.run, injected_pc=80, reading=80, by=way.operator)
    assert made.reason.startswith("80 pC was injected; the plan's limit of 100 pC asks 90 to 110 pC (90 to 110 %).")
    step.document["procedure"]["setup_checks"] = []
    step.save(update_fields=["document"])
    with pytest.raises(Refused, match="does not say which charge may be injected"):
        checks.record_charge_calibration(run=way.run, injected_pc=100, reading=97, by=way.operator)
