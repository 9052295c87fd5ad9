"""Judges three runs to lay over each other: `python -m tests.browser.sisters`; everything is invented."""

from __future__ import annotations

import json
import os
import sys
import time
from typing import Any

PATIENCE_S = 60
UNIT, SISTER = "SR-9301", "SR-9302"


def main() -> None:
    """Enter two reactors of one design, judge two discharge runs of the first and one of the second, print which."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    import django

    django.setup()
    from django.utils import timezone

    from labsite.people.models import Organisation, User
    from records.demo.cast import FENNMARK, PEOPLE
    from records.demo.clock import Clock
    from records.demo.playing import Player
    from records.models import Run
    from schedules.models import Bay
    from schedules.services.orders import enter_order, review_contract
    from schedules.services.plans import adopt_plan
    from schedules.services.units import enter_units
    from tests.browser.files import RATINGS

    class Patient(Player):
        """Signs what is judged, whoever of the site's workers took the job that judges it."""

        def _sign(self, run: Any, stops: str) -> None:
            until = time.monotonic() + PATIENCE_S
            while Run.objects.get(pk=run.pk).state != Run.State.JUDGED and time.monotonic() < until:
                time.sleep(0.2)
            super()._sign(run, stops)

    people = {person.key: User.objects.get(email=person.email) for person in PEOPLE}
    by, now = people["tester"], timezone.now()
    customer = Organisation.objects.get(name=FENNMARK)
    order = enter_order(customer=customer, purchase_reference="FP-SISTERS", by=by)
    review_contract(order=order, by=people["approver"])
    plate = {key: value for key, value in RATINGS.items() if key != "equipment"}
    units = enter_units(
        order=order, serials=[UNIT, SISTER], equipment="series_reactor", ratings=plate, design="FR-93", by=by
    )
    player = Patient(people, {bay.name: bay for bay in Bay.objects.all()}, Clock(now), now, lambda words: None)
    arrangements = [
        adopt_plan(unit=unit, by=by).steps.get(kind="partial_discharge").arrangements.get() for unit in units
    ]
    short = player._run(arrangements[0], "short", "approved", "Bay 1")
    whole = player._run(arrangements[0], "", "signed", "Bay 1", repeats=short, repeat_reason="The hold was too short")
    sister = player._run(arrangements[1], "", "signed", "Bay 1")
    sys.stdout.write(json.dumps([{"run": run.pk, "number": run.number} for run in (short, whole, sister)]))


if __name__ == "__main__":
    main()
