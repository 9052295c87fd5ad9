"""People may state what the record of a test does not hold: one more kind of check; no row changes."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0006_part_of_a_record")]

    operations = [
        migrations.AlterField(
            model_name="setupcheck",
            name="kind",
            field=models.CharField(
                choices=[
                    ("charge_calibration", "Charge calibration"),
                    ("background_noise", "Background noise"),
                    ("voltage_scale", "Voltage scale against a reference"),
                    ("calibrator_off", "Calibrator off the circuit"),
                    ("area_clear", "Area clear"),
                    ("earths", "Earths as the arrangement asks"),
                    ("interlock", "Interlock closed"),
                    ("test_values", "Values that the record does not hold"),
                ],
                max_length=30,
            ),
        ),
    ]
