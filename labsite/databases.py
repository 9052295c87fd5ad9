"""Database settings: SQLite as its version can be trusted, PostgreSQL with time limits."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import dj_database_url
from django.core.exceptions import ImproperlyConfigured


def has_sound_wal(version: tuple[int, int, int]) -> bool:
    """Say whether this SQLite may be used in WAL mode (mended from 3.51.3, 3.50.7, 3.44.6)."""
    back_ports = {(3, 50): 7, (3, 44): 6}
    mended_in = back_ports.get(version[:2])
    return version >= (3, 51, 3) or (mended_in is not None and version[2] >= mended_in)


def sqlite_options(version: tuple[int, int, int] = sqlite3.sqlite_version_info) -> dict[str, Any]:
    """Return options: immediate transactions, full synchronisation, the journal mode this version is sound in."""
    journal = "WAL" if has_sound_wal(version) else "DELETE"
    pragmas = f"PRAGMA journal_mode={journal}; PRAGMA synchronous=FULL; PRAGMA recursive_triggers=ON;"
    return {"transaction_mode": "IMMEDIATE", "timeout": 20, "init_command": pragmas}


def postgres_options() -> dict[str, Any]:
    """Return options that let nothing hang: two seconds to connect, thirty for a statement.

    Compiling a query takes longer than any of ours runs, so it is switched off.
    """
    limits = "-c statement_timeout=30000 -c idle_in_transaction_session_timeout=60000 -c jit=off"
    return {"connect_timeout": 2, "options": limits}


def database(url: str, var: Path) -> dict[str, Any]:
    """Return Django's settings for the database at `url`; an empty one means SQLite under `var`."""
    if not url:
        return {"ENGINE": "django.db.backends.sqlite3", "NAME": var / "withstand.sqlite3", "OPTIONS": sqlite_options()}
    try:
        settings: dict[str, Any] = dict(dj_database_url.parse(url, conn_max_age=60, conn_health_checks=True))
    except (ValueError, dj_database_url.ParseError) as error:
        raise ImproperlyConfigured(
            f"DATABASE_URL cannot be read: {error}. Write postgresql://user@host:5432/name"
        ) from error
    if settings["ENGINE"] == "django.db.backends.sqlite3":
        settings["OPTIONS"] = sqlite_options()
        settings["CONN_MAX_AGE"] = 0
    elif settings["ENGINE"] == "django.db.backends.postgresql":
        settings["OPTIONS"] = {**settings.get("OPTIONS", {}), **postgres_options()}
    else:
        raise ImproperlyConfigured(
            "DATABASE_URL names a database this site was never tested on. Use PostgreSQL or SQLite."
        )
    return settings
