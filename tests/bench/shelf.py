"""A large invented laboratory straight in PostgreSQL: 2 000 instruments, 20 000 calibrations, 400 000 runs."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

from django.db import connection, models

from equipment.models import Calibration, Instrument
from equipment.models.calibration import STILL_COUNTS
from records.models import Evaluation, Finding, Record, Run, RunInstrument
from tests.integration.certificates import world

INSTRUMENTS, CALIBRATIONS, RUNS = 2_000, 20_000, 400_000
JUDGED = 4_000  # runs with evaluation and findings, for the recomputation
FIRST_DAY = "2016-01-01"


def fill(people: dict[str, Any], customer: Any) -> None:
    """Store all of it; numbers follow from the row's place n."""
    unit = world.unit_of(world.order_of(customer, people["tester"]), people["tester"])
    arrangement = unit.plans.get().steps.get(kind="power_frequency_withstand").arrangements.first()
    by = people["quality"].pk
    rows(Instrument, INSTRUMENTS, id="n", identifier="'I-' || lpad(n::text, 5, '0')", description="'Divider'",
         serial="n::text", quantity="'voltage'", location="'Bay ' || n % 7")  # fmt: skip
    each = CALIBRATIONS // INSTRUMENTS
    begun = f"date '{FIRST_DAY}' + ((n - 1) / {INSTRUMENTS}) * 365 + n % 90"
    last = CALIBRATIONS - INSTRUMENTS
    following = f"date '{FIRST_DAY}' + ((n - 1) / {INSTRUMENTS} + 1) * 365 + (n + {INSTRUMENTS}) % 90"
    until = f"CASE WHEN n > {last} THEN date '{STILL_COUNTS}' ELSE {following} END"
    rows(Calibration, CALIBRATIONS, id="n", counts_until=until, instrument_id=f"(n - 1) % {INSTRUMENTS} + 1",
         laboratory="'Tarn'", certificate_number="'K-' || n", calibrated_on=begun, due_on=f"{begun} + 365",
         relative_uncertainty_pct="1",
         entered_by_id=str(by), entered_at="now()")  # fmt: skip
    minutes = each * 365 * 24 * 60 / RUNS
    started = f"timestamptz '{FIRST_DAY} 08:00Z' + n * interval '{minutes} minutes'"
    rows(Run, RUNS, id="n", number="'R-' || n", step_id=str(arrangement.step_id), arrangement_id=str(arrangement.pk),
         bay_id=str(world.bay().pk), state="'approved'", verdict="'conforms'", operator_id=str(people["tester"].pk),
         second_person_id=str(people["second"].pk), started_at=started)  # fmt: skip
    rows(RunInstrument, RUNS, id="n", run_id="n", instrument_id=f"n % {INSTRUMENTS} + 1", is_valid="true")
    judged(people)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE equipment_instrument i SET latest_on = c.calibrated_on, latest_due_on = c.due_on, "
            "latest_is_good = true FROM equipment_calibration c WHERE c.instrument_id = i.id AND c.calibrated_on = "
            "(SELECT max(calibrated_on) FROM equipment_calibration d WHERE d.instrument_id = i.id)"
        )
        for model in (Instrument, Calibration, Run, RunInstrument, Finding, Evaluation, Record):
            table = model._meta.db_table
            cursor.execute(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT max(id) FROM {table}))")
        cursor.execute("VACUUM ANALYZE")


def judged(people: dict[str, Any]) -> None:
    """Store evaluation and findings of the last runs."""
    run = f"{RUNS - JUDGED} + n"
    rows(Record, JUDGED, id="n", run_id=run, given_name="'r.csv'", path="'-'", sha256="repeat('0', 64)",
         size_bytes="1", state="'read'", uploaded_by_id=str(people["tester"].pk), uploaded_at="now()")  # fmt: skip
    rows(Evaluation, JUDGED, id="n", run_id=run, record_id="n", evaluation_version="'1.0'", verdict="'conforms'",
         document="'{}'", record_digest="''", plan_digest="''", setup_digest="''", digest="''",
         made_at="now()")  # fmt: skip
    kinds = [("held_voltage_kv", "58.3 + n % 30 / 10.0", "58.2", "61.8", "kV", "test"),
             ("held_s", "61", "60", "NULL", "s", "test"),
             ("disruptive_discharges", "0", "NULL", "0", "", "unit")]  # fmt: skip
    for place, (quantity, value, low, high, unit, judges) in enumerate(kinds, start=1):
        rows(Finding, JUDGED, id=f"n * 3 + {place}", evaluation_id="n", position=str(place), quantity=f"'{quantity}'",
             stage="'withstand'", value=value, minimum=low, maximum=high, unit=f"'{unit}'", judges=f"'{judges}'",
             expanded_uncertainty="0.3", coverage_factor="2", decision="'simple_acceptance'", verdict="'conforms'",
             reason="''")  # fmt: skip


def rows(model: type[models.Model], count: int, **expressions: str) -> None:
    """Insert rows n = 1 to count; what no expression tells gets the field's default, or nothing."""
    told = dict(expressions)
    for field in model._meta.concrete_fields:
        if field.column not in told and not field.null:
            told[field.column] = _literal(field.get_default())
    names, values = ", ".join(f'"{name}"' for name in told), ", ".join(told.values())
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {model._meta.db_table} ({names}) SELECT {values} FROM generate_series(1, {count}) AS n"
        )


def _literal(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return f"'{json.dumps(value)}'"
    return f"'{value}'" if isinstance(value, str | date) else str(value)
