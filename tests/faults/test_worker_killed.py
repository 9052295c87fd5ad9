"""Workers killed again and again: each job is done, and each effect is there exactly once."""

from __future__ import annotations

import os
import secrets
import signal
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
import redis

from tests import servers
from tests.faults.processes import Site, children_of, kill_group, wait_until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(290)]
JOBS = 100
KILLED_CHILDREN = 18
KILLED_WORKERS = 2


@pytest.fixture
def embedded_site(tmp_path) -> Iterator[Site]:
    """A site on SQLite and a queue of files."""
    site = Site(tmp_path)
    yield site
    site.stop()


@pytest.fixture
def served_site(tmp_path) -> Iterator[Site]:
    """A site on PostgreSQL and Redis, with a database of its own."""
    name = f"withstand_faults_{secrets.token_hex(4)}"
    with psycopg.connect(servers.POSTGRES_URL, autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name}")
    transport = redis.Redis.from_url(servers.REDIS_URL)
    transport.flushdb()
    site = Site(tmp_path, urlunsplit(urlsplit(servers.POSTGRES_URL)._replace(path=f"/{name}")), servers.REDIS_URL)
    yield site
    site.stop()
    transport.flushdb()
    transport.close()
    with psycopg.connect(servers.POSTGRES_URL, autocommit=True) as server:
        server.execute(f"DROP DATABASE {name} WITH (FORCE)")


class Table:
    """Reads the job table without the site's code."""

    def __init__(self, site: Site) -> None:
        self.site = site

    def rows(self, query: str) -> list[tuple]:
        if self.site.database_url:
            with psycopg.connect(self.site.database_url) as connection:
                return connection.execute(query).fetchall()
        with closing(sqlite3.connect(self.site.folder / "withstand.sqlite3", timeout=20)) as connection:
            return connection.execute(query).fetchall()

    def count(self, state: str) -> int:
        return self.rows(f"SELECT count(*) FROM jobs_job WHERE state = '{state}'")[0][0]

    def claims(self) -> int:
        return self.rows("SELECT coalesce(sum(attempts), 0) FROM jobs_job")[0][0]


ENQUEUE = f"""
from labsite.jobs.services import enqueue
for number in range({JOBS}):
    enqueue(name="demo.count", args={{"number": number}}, key=f"demo:{{number}}", by="A. Witness")
"""


def _kill_a_child(worker, table: Table) -> None:
    """Kill one child of the worker after it has taken a job."""
    before = table.claims()
    assert wait_until(lambda: table.claims() > before and children_of(worker), 30), "No job was taken"
    os.kill(secrets.choice(children_of(worker)), signal.SIGKILL)


def _kill_and_restart(site: Site, table: Table) -> None:
    """Kill children, then the whole worker, again and again while there is work."""
    worker = site.start_worker()
    for _ in range(KILLED_WORKERS):
        for _ in range(KILLED_CHILDREN // KILLED_WORKERS):
            _kill_a_child(worker, table)
        kill_group(worker)
        worker = site.start_worker()


def _survive(site: Site) -> None:
    site.migrate()
    site.run(ENQUEUE)
    table = Table(site)
    slow = site.folder / "slow"
    slow.touch()
    site.start_beat()
    _kill_and_restart(site, table)
    slow.unlink()
    assert table.count("done") < JOBS, "The work was over before the killing was"
    assert wait_until(lambda: table.count("done") == JOBS, 120, 0.3), site.log()
    assert table.rows("SELECT sum(attempts) FROM jobs_job")[0][0] > JOBS, "No kill met a running job"
    effects = table.rows(
        "SELECT subject_id, count(*) FROM ledger_entry WHERE action = 'demo.effect' GROUP BY subject_id"
    )
    assert sorted((int(number), count) for number, count in effects) == [(number, 1) for number in range(JOBS)]
    verdict = site.run(
        "from django.core.management import call_command\ncall_command('verify_ledger', skip_checks=True)"
    )
    assert verdict.startswith(f"Sound. {JOBS} entries")


def test_killed_workers_lose_and_double_nothing_on_sqlite_and_files(embedded_site):
    _survive(embedded_site)


@pytest.mark.postgres
@pytest.mark.redis
def test_killed_workers_lose_and_double_nothing_on_postgresql_and_redis(served_site):
    _survive(served_site)
