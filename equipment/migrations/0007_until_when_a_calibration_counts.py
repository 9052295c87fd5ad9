import datetime
from itertools import groupby

from django.db import migrations, models


def fill(apps, schema_editor):
    """Write beside each calibration from which day on another one counts instead."""
    Calibration = apps.get_model("equipment", "Calibration")
    key = lambda row: (row.verdict != "outside", row.due_on, row.certificate_number)
    known = Calibration.objects.only("instrument_id", "calibrated_on", "due_on", "verdict", "certificate_number")
    for _, found in groupby(known.order_by("instrument_id"), lambda row: row.instrument_id):
        following = datetime.date.max
        rows = sorted(found, key=lambda row: row.calibrated_on, reverse=True)
        for day, of_day in groupby(rows, lambda row: row.calibrated_on):
            counts, *others = sorted(of_day, key=key)
            counts.counts_until = following
            for row in others:
                row.counts_until = day
            following = day
        Calibration.objects.bulk_update(rows, ["counts_until"], batch_size=500)


class Migration(migrations.Migration):

    dependencies = [
        ('equipment', '0006_what_corrections_are_for'),
    ]

    operations = [
        migrations.AddField(
            model_name='calibration',
            name='counts_until',
            field=models.DateField(default=datetime.date.max, editable=False),
        ),
        migrations.AddIndex(
            model_name='calibration',
            index=models.Index(fields=['counts_until', 'calibrated_on'], include=['instrument', 'due_on', 'verdict', 'certificate_number'], name='equipment_calibration_counting'),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
