"""Database settings follow the versions they can trust."""

import pytest
from django.core.exceptions import ImproperlyConfigured

from labsite.databases import database, has_sound_wal, sqlite_options


# The versions in which the reset fault is mended: SQLite's own release notes, as told from memory.
@pytest.mark.parametrize(
    ("version", "is_sound"),
    [
        ((3, 40, 1), False),
        ((3, 44, 6), True),
        ((3, 44, 5), False),
        ((3, 50, 7), True),
        ((3, 51, 2), False),
        ((3, 51, 3), True),
    ],
)
def test_wal_only_where_it_is_sound(version, is_sound):
    assert has_sound_wal(version) is is_sound
    assert ("journal_mode=WAL" in sqlite_options(version)["init_command"]) is is_sound


def test_sqlite_is_the_default_with_immediate_transactions(tmp_path):
    settings = database("", tmp_path)
    assert settings["NAME"] == tmp_path / "withstand.sqlite3"
    assert settings["OPTIONS"]["transaction_mode"] == "IMMEDIATE"
    assert "synchronous=FULL" in settings["OPTIONS"]["init_command"]


def test_postgresql_gets_time_limits(tmp_path):
    settings = database("postgresql://someone@db.example:5433/lab", tmp_path)
    assert (settings["HOST"], settings["PORT"], settings["NAME"]) == ("db.example", 5433, "lab")
    assert settings["OPTIONS"]["connect_timeout"] == 2
    assert settings["CONN_HEALTH_CHECKS"] is True


@pytest.mark.parametrize("url", ["mysql://a@b/c", "nonsense"])
def test_any_other_database_is_refused(url, tmp_path):
    with pytest.raises(ImproperlyConfigured, match="DATABASE_URL"):
        database(url, tmp_path)
