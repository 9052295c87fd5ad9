"""Which servers this machine has for tests, and what to say of those that are missing."""

from __future__ import annotations

import os
import shutil
import socket
from urllib.parse import urlsplit

POSTGRES_URL = os.environ.get("WITHSTAND_TEST_POSTGRES", "postgresql://postgres@127.0.0.1:5432/postgres")
REDIS_URL = os.environ.get("WITHSTAND_TEST_REDIS", "redis://127.0.0.1:6379/9")


def _answers(url: str) -> bool:
    parts = urlsplit(url)
    try:
        with socket.create_connection((parts.hostname or "127.0.0.1", parts.port or 0), timeout=2):
            return True
    except OSError:
        return False


def chromium() -> str | None:
    """Return the path of the system's Chromium."""
    return shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


def missing() -> dict[str, str]:
    """Return what is missing, by marker, with the reason in words."""
    found = {
        "postgres": (_answers(POSTGRES_URL), f"no PostgreSQL answers at {POSTGRES_URL}"),
        "redis": (_answers(REDIS_URL), f"no Redis answers at {REDIS_URL}"),
        "browser": (chromium() is not None, "no Chromium is installed (Debian: apt-get install chromium)"),
    }
    return {name: reason for name, (is_there, reason) in found.items() if not is_there}


def required() -> set[str]:
    """Return the servers that must be there: `WITHSTAND_REQUIRE=postgres,redis,browser`."""
    return {name.strip() for name in os.environ.get("WITHSTAND_REQUIRE", "").split(",") if name.strip()}
