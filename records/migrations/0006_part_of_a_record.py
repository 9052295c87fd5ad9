"""A file may play a part beside others of its run, and be set aside. The release before writes neither."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0005_the_set_up_an_evaluation_was_given")]

    operations = [
        migrations.AddField(
            model_name="record",
            name="part",
            field=models.CharField(blank=True, db_default="", default="", max_length=20),
        ),
        migrations.AlterField(
            model_name="record",
            name="state",
            field=models.CharField(
                choices=[
                    ("stored", "Stored, not read yet"),
                    ("needs_mapping", "Columns to be told"),
                    ("read", "Read"),
                    ("refused", "Refused"),
                    ("set_aside", "Set aside"),
                ],
                default="stored",
                max_length=20,
            ),
        ),
    ]
