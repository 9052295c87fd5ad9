"""Runs the suite as `make test` does: on SQLite with the file queue, then on PostgreSQL with Redis."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile

from tests import servers

# The faults choose their servers themselves and run in the first half; what meets no database is the same in both, and
# so are pictures laid over each other, which are not drawn twice.
ON_PRODUCTION = ["tests", "--ignore=tests/faults", "--ignore=tests/bench", "--ignore=tests/browser/test_beside.py"]


SECOND = {
    "DATABASE_URL": servers.POSTGRES_URL,
    "REDIS_URL": servers.REDIS_URL,
    "WITHSTAND_DATABASE_TESTS_ONLY": "1",
}


def _pytest(paths: list[str], variables: dict[str, str]) -> int:
    with tempfile.TemporaryDirectory(prefix="withstand-tests-") as var:
        environment = {**os.environ, "WITHSTAND_VAR": var, **variables}
        command = [sys.executable, "-m", "pytest", "-q", "-n", "2", "--dist", "loadfile", *paths]
        return subprocess.run(command, env=environment, check=False).returncode


def main(arguments: list[str]) -> int:
    """Run both halves; return 0 only when both pass, or the second is skipped with a visible reason."""
    print("== On SQLite with the file queue", flush=True)
    first = _pytest(arguments, {"DATABASE_URL": "", "REDIS_URL": ""})
    missing = servers.missing()
    lacking = [missing[name] for name in ("postgres", "redis") if name in missing]
    if lacking:
        print(f"== SKIPPED on PostgreSQL with Redis: {'; '.join(lacking)}", flush=True)
        return first or (1 if {"postgres", "redis"} & servers.required() else 0)
    print("== On PostgreSQL with Redis", flush=True)
    second = _pytest(arguments or ON_PRODUCTION, SECOND)
    return first or second


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
