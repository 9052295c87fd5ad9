"""The table of the shared cache (rate limits, used codes), so that clones and tests have it without a command more."""

from django.core.management.commands.createcachetable import Command
from django.db import migrations


def make_cache_table(apps, schema_editor):
    """Make the table that the embedded default names; where Redis is the cache it stays empty."""
    command = Command()
    command.verbosity = 0
    command.create_table(schema_editor.connection.alias, "shared_cache", False)


class Migration(migrations.Migration):
    dependencies = [("people", "0001_initial")]

    operations = [migrations.RunPython(make_cache_table, migrations.RunPython.noop)]
