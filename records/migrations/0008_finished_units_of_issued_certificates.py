"""Units whose certificate was issued before the day of finishing was kept: it is the day of the issue.

The account holds the issue itself, so nothing is added to it. Without this such a unit counts as open, and a later
release that derives another plan asks for a new revision of what was delivered.
"""

from django.db import migrations


def note_units(apps, schema_editor):
    """Set the moment on every unit with an issued certificate that has none; a unit has one such at most."""
    certificates = apps.get_model("records", "Certificate").objects.using(schema_editor.connection.alias)
    units = apps.get_model("schedules", "Unit").objects.using(schema_editor.connection.alias)
    issued = certificates.filter(state="issued", unit__finished_at__isnull=True).order_by("issued_at")
    for unit, moment in issued.values_list("unit", "issued_at"):
        units.filter(pk=unit).update(finished_at=moment)


class Migration(migrations.Migration):
    dependencies = [
        ("records", "0007_values_of_a_test"),
        ("schedules", "0005_when_a_unit_was_finished"),
    ]

    operations = [migrations.RunPython(note_units, migrations.RunPython.noop)]
