from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('equipment', '0005_latest_beside_the_instrument'),
    ]

    operations = [
        migrations.AddField(
            model_name='calibration',
            name='correction_use',
            field=models.CharField(choices=[('applied', 'Applied to the readings'), ('not_applied', 'Not applied; they count as uncertainty'), ('none_left', 'None left: the instrument was adjusted to them'), ('not_decided', 'Not decided')], default='not_decided', max_length=20),
        ),
    ]
