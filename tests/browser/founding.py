"""Founds the laboratory in the database of the settings: `python -m tests.browser.founding`. Invented people only."""

from __future__ import annotations

import os
from datetime import timedelta


def main() -> None:
    """Enter people, bays, instruments with calibrations, and what everybody is authorised for."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    import django

    django.setup()
    from django.utils import timezone

    from records.demo import founding

    today = timezone.now().date()
    people = founding.found_people()
    founding.found_bays(people)
    founding.authorise(people, today - timedelta(days=30), today + timedelta(days=400))
    founding.found_instruments(people, today)
    for done, device in founding.calibrations_to_come(today):
        founding.calibrate(done, device, people["quality"])


if __name__ == "__main__":
    main()
