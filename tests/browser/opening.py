"""Opens runs up to where files are uploaded: `python -m tests.browser.opening FOLDER`; everything is invented."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

KINDS = ("lightning_impulse", "partial_discharge", "temperature_rise", "frequency_response")


def main(folder: Path) -> None:
    """Enter a reactor and a filter, open a run of each kind, write the files to upload, and print where they are."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    import django

    django.setup()
    from django.utils import timezone

    from labsite.people.models import User
    from records.demo.cast import PEOPLE
    from records.demo.clock import Clock
    from records.demo.playing import Player
    from records.demo.story import FILTER, REACTOR_TYPE
    from schedules.models import Bay

    people = {person.key: User.objects.get(email=person.email) for person in PEOPLE}
    bays = {bay.name: bay for bay in Bay.objects.all()}
    now = timezone.now()
    player = Player(people, bays, Clock(now), now, lambda words: None)
    opened: dict[str, dict[str, Any]] = {}
    for serial, equipment, ratings, standards in (
        ("SR-9101", "series_reactor", REACTOR_TYPE, ("IEEE C57.16",)),
        ("TF-9101", "tuned_filter", FILTER, ()),
    ):
        for step in _plan(people, serial, equipment, ratings, standards).steps.all():
            if step.kind in KINDS and step.kind not in opened:
                run = player.begin_run(step.arrangements.first(), "", "Bay 1")
                player.hold_stages(run)
                opened[step.kind] = {"run": run.pk, "files": _written(folder, step.kind, step.document, run.pk)}
    sys.stdout.write(json.dumps(opened))


def _plan(
    people: dict[str, Any], serial: str, equipment: str, ratings: dict[str, Any], standards: tuple[str, ...]
) -> Any:
    from labsite.people.models import Organisation
    from records.demo.cast import FENNMARK
    from schedules.services.orders import enter_order, review_contract
    from schedules.services.plans import adopt_plan
    from schedules.services.units import enter_units

    by, customer = people["tester"], Organisation.objects.get(name=FENNMARK)
    order = enter_order(customer=customer, purchase_reference=f"FP-{serial}", standards=standards, by=by)
    review_contract(order=order, by=people["approver"])
    (unit,) = enter_units(order=order, serials=[serial], equipment=equipment, ratings=dict(ratings), by=by)
    return adopt_plan(unit=unit, by=by)


def _written(folder: Path, kind: str, document: dict[str, Any], seed: int) -> list[str]:
    """Write the files of a run and return where; those of a discharge are a list of pulses and the voltage apart."""
    from records.demo.recordings import files_of
    from records.evaluation.writing import csv_text

    if kind == "partial_discharge":
        made = {name: csv_text(recording).encode() for name, recording in _pulses_and_voltage(document, seed).items()}
    else:
        made = {file.name: file.content for file in files_of(document, "", seed)}
    places = []
    for name, content in made.items():
        place = folder / f"{kind}-{name}.csv"
        place.write_bytes(content)
        places.append(str(place))
    return places


def _pulses_and_voltage(document: dict[str, Any], seed: int) -> dict[str, Any]:
    from records.evaluation.synthesis import Hold, PulseTrain, synthesise_pulses, synthesise_withstand
    from records.readers.recording import Recording

    stages = document["procedure"]["stages"]
    holds = [Hold(stage.get("set_point_kv", stage["voltage_kv"]), stage["hold_s"] + 3) for stage in stages]
    trains = [PulseTrain(3, 150, 0.0, 210.0), PulseTrain(180, 100, 22.0, 80.0)]
    listed = synthesise_pulses(holds, trains, seed=seed, frequency_hz=60.0)
    alone = Recording(listed.time_s, {name: listed.channels[name] for name in ("charge_pc", "phase_deg")})
    return {"pulses": alone, "voltage": synthesise_withstand(holds, seed=seed)}


if __name__ == "__main__":
    main(Path(sys.argv[1]))
