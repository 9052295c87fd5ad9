"""Founds the divider that drifted and its forty runs: `python -m tests.browser.drifting`, on the settings' database."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from typing import Any


def main() -> None:
    """Enter what `tests.integration.records.drifted` works out by hand, for the people of the cast."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    import django

    django.setup()
    from labsite.people.models import User
    from records.demo.cast import PEOPLE
    from tests.integration.records import drifted

    cast = {person.key: User.objects.get(email=person.email) for person in PEOPLE}
    made = drifted.divider(cast["quality"])
    drifted.forty_runs(made, cast, [cast["customer"], cast["oxbow"]])
    keep_up(made, cast["quality"])


def keep_up(made: Any, by: Any) -> None:
    """Give a second divider a history, a check standard with an alarm, and the chain a budget; all invented."""
    from equipment.models import MeasuringSystem
    from equipment.services import Point, enter_calibration
    from equipment.services.standards import enter_standard, record_reading
    from equipment.services.systems import make_budget
    from tests.integration.records import drifted

    other = drifted.divider(by, "HVD-8")
    for year, error in enumerate((0.05, 0.12, 0.21), start=1):
        on = drifted.GOOD_ON - timedelta(days=365 * year)
        points = [Point("as_found", "kV", 50.0, 50.0 + 0.3 - error, 0.1)]
        enter_calibration(
            instrument=other, laboratory="Tarn Metrology (invented)", certificate_number=f"OLD-{year}",
            calibrated_on=on, due_on=on + timedelta(days=365), relative_uncertainty_pct=0.5, points=points, by=by,
        )  # fmt: skip
    row = enter_standard(
        name="Reference divider", instrument=other, unit="kV", reference=50.05, reference_uncertainty=0.1,
        reading_uncertainty=0.3, by=by,
    )  # fmt: skip
    first = datetime(2026, 10, 1, 7, tzinfo=UTC)
    for day, value in enumerate([50.0, 50.1, 50.0, 50.0, 50.1, 50.1, 50.0, 50.1, 50.1, 50.0, 50.05, 50.3]):
        record_reading(standard=row, value=value, at=first + timedelta(days=day), by=by)
    chain = MeasuringSystem.objects.for_detail().get(name="Voltage chain")
    make_budget(system=chain, at_value=60.0, unit="kV", temperature_pct=0.2, reason="First version.", by=by)


if __name__ == "__main__":
    main()
