"""Founds the divider that drifted and its forty runs: `python -m tests.browser.drifting`, on the settings' database."""

from __future__ import annotations

import os


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


if __name__ == "__main__":
    main()
