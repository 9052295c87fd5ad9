from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('records', '0004_corrections_an_instrument_was_listed_with'),
    ]

    operations = [
        migrations.AddField(
            model_name='evaluation',
            name='setup',
            field=models.JSONField(blank=True, help_text='The set-up it was given; none: kept as a digest only', null=True),
        ),
    ]
