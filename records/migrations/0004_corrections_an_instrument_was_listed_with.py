from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('records', '0003_run_when'),
    ]

    operations = [
        migrations.AddField(
            model_name='runinstrument',
            name='correction_words',
            field=models.CharField(blank=True, max_length=600),
        ),
        migrations.AddField(
            model_name='runinstrument',
            name='corrections',
            field=models.JSONField(blank=True, default=list, help_text='Curves that the evaluation is given'),
        ),
    ]
