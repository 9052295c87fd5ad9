"""A file may be that of another run: of which one is kept. The release before lends none."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0008_finished_units_of_issued_certificates")]

    operations = [
        migrations.AddField(
            model_name="record",
            name="lent_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="records_lent",
                to="records.run",
            ),
        ),
    ]
