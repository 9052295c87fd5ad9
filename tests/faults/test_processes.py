"""The processes of production, natively: gunicorn, a Celery worker and beat over real PostgreSQL and Redis."""

from __future__ import annotations

import json
import os
import time
import urllib.request
from collections.abc import Iterator

import pytest

from tests import servers
from tests.browser.site import Site, new_site

pytestmark = [pytest.mark.postgres, pytest.mark.redis, pytest.mark.slow]
# What a person's page leaves behind: a waiting job of the site's own registry, without a message to wake a worker.
PUT = """
from django.utils import timezone
from labsite.jobs.models import Job
from labsite.jobs.services import enqueue
from labsite.people.access import ServerShell
job = enqueue(name="records.evaluate_record", args={"record_id": 0}, key="walk:%s", by=ServerShell())
print(job.pk)
"""
STATE = """
from labsite.jobs.models import Job
job = Job.objects.get(pk="%s")
print(job.state, job.attempts, job.words)
"""


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    """Return a founded site on a PostgreSQL database and a Redis number of its own."""
    with new_site(servers.POSTGRES_URL, servers.REDIS_URL) as running:
        yield running


def state_of(site: Site, job: str) -> str:
    """Return how a job stands, once it is over."""
    for _ in range(60):
        told = site.manage("shell", "-v", "0", "-c", STATE % job)
        if told.split()[0] in {"done", "failed"}:
            return told
        time.sleep(1)
    raise AssertionError(f"The job was not over within a minute: {told}\n{site.said()}")


def test_site_is_well_and_stands_on_the_servers(site):
    with urllib.request.urlopen(f"{site.address}/health/", timeout=10) as answer:
        assert json.load(answer) == {"status": "ok", "database": "answers"}
    told = site.manage("shell", "-v", "0", "-c", "from django.db import connection; print(connection.vendor)")
    assert told.strip() == "postgresql"
    assert site.environment["REDIS_URL"].startswith("redis://")


def test_all_three_processes_run(site):
    assert {name: child.poll() for name, child in site.children.items()} == {
        "site": None,
        "worker": None,
        "scheduler": None,
    }


def test_job_is_taken_up_by_the_worker_and_ends_in_words(site):
    job = site.manage("shell", "-v", "0", "-c", PUT % "woken").split()[-1]
    told = state_of(site, job)  # no such record: the job must end, and say so to people
    assert told.split()[0] == "failed"
    assert len(told.split()) > 4
    assert "Traceback" not in told


def test_job_is_taken_up_though_its_message_was_lost(site):
    lost = {**site.environment, "REDIS_URL": "redis://127.0.0.1:1/0"}
    kept, site.environment = site.environment, lost
    try:
        job = site.manage("shell", "-v", "0", "-c", PUT % "lost").split()[-1]
    finally:
        site.environment = kept
    assert state_of(site, job).split()[0] == "failed"


def test_worker_that_is_killed_is_replaced_and_goes_on(site):
    worker = site.children["worker"]
    os.kill(worker.pid, 9)
    worker.wait(timeout=10)
    job = site.manage("shell", "-v", "0", "-c", PUT % "killed").split()[-1]
    site.start_process("worker", worker.args)
    assert state_of(site, job).split()[0] == "failed"
