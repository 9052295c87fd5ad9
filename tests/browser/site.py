"""A site of its own for a test: its own database and queue, and the processes that `make demo` starts."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import psycopg
import redis

from labsite import launch

ROOT = Path(__file__).resolve().parents[2]
# The numbers of Redis databases that sites may take; a claim key keeps two from taking the same.
REDIS_NUMBERS = range(10, 16)
CLAIM = "withstand-test-site"


@dataclass
class Site:
    """A running site: where it answers, where its files are, and the processes it is made of."""

    port: int
    var: Path
    environment: dict[str, str]
    children: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    @property
    def address(self) -> str:
        """Return the address of the first page, without a slash at its end."""
        return f"http://127.0.0.1:{self.port}"

    def manage(self, *arguments: str) -> str:
        """Run a management command against the site's database; return what it printed."""
        return self._python("manage.py", *arguments)

    def found(self) -> None:
        """Enter the invented people, bays and instruments."""
        self._python("-m", "tests.browser.founding")

    def found_drift(self) -> None:
        """Enter the divider that drifted, with its forty runs."""
        self._python("-m", "tests.browser.drifting")

    def open_runs(self, folder: Path) -> dict[str, dict[str, Any]]:
        """Open a run of each kind of `tests.browser.opening` and write its files; return both by kind."""
        return dict(json.loads(self._python("-m", "tests.browser.opening", str(folder))))

    def judge_sisters(self) -> list[dict[str, Any]]:
        """Judge two runs of a unit and one of its sister; return them in this order."""
        return list(json.loads(self._python("-m", "tests.browser.sisters")))

    def start(self) -> None:
        """Start the processes and wait until the site answers."""
        for name, line in launch.commands(self.port).items():
            self.start_process(name, line)
        if not launch.wait_until_answering(self.port, 60):
            raise AssertionError(f"The site did not answer on port {self.port}:\n{self.said()}")

    def start_process(self, name: str, line: list[str]) -> None:
        """Start one process; what it says goes to a file."""
        line = [str(self.var / "beat-schedule") if part.endswith("beat-schedule") else part for part in line]
        with (self.var / f"{name}.log").open("ab") as log:
            self.children[name] = subprocess.Popen(line, cwd=ROOT, env=self.environment, stdout=log, stderr=log)

    def stop(self) -> None:
        """End the processes."""
        launch.stop(self.children)

    def said(self) -> str:
        """Return what the processes printed."""
        return "\n".join(f"-- {path.stem}\n{path.read_text(errors='replace')}" for path in self.var.glob("*.log"))

    def _python(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False
        )
        if done.returncode:
            raise AssertionError(f"{' '.join(arguments)} ended with {done.returncode}:\n{done.stdout}{done.stderr}")
        return done.stdout


@contextmanager
def new_site(database_url: str = "", redis_url: str = "", *, demo: bool = False) -> Iterator[Site]:
    """Give a running site on servers of its own inside those named; SQLite and files where none is named."""
    with ExitStack() as stack:
        var = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="withstand-site-")))
        environment = {
            **os.environ,
            "WITHSTAND_VAR": str(var),
            "DATABASE_URL": stack.enter_context(_own_database(database_url)) if database_url else "",
            "REDIS_URL": stack.enter_context(_own_redis(redis_url)) if redis_url else "",
        }
        site = Site(free_port(), var, environment)
        site.manage("migrate", "--verbosity", "0")
        if demo:
            site.manage("load_demo")
        else:
            site.found()
        stack.callback(site.stop)
        site.start()
        yield site


def free_port() -> int:
    """Return a port that is free now."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@contextmanager
def _own_database(url: str) -> Iterator[str]:
    """Make a database in the server at `url` and drop it afterwards; give its address."""
    name = f"withstand_site_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    try:
        yield urlunsplit(urlsplit(url)._replace(path=f"/{name}"))
    finally:
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


@contextmanager
def _own_redis(url: str) -> Iterator[str]:
    """Claim a Redis database that nobody uses and empty it afterwards; give its address."""
    for number in REDIS_NUMBERS:
        address = urlunsplit(urlsplit(url)._replace(path=f"/{number}"))
        with redis.Redis.from_url(address) as client:
            if client.dbsize() or not client.set(CLAIM, "claimed", nx=True, ex=3600):
                continue
            try:
                yield address
            finally:
                client.flushdb()
            return
    raise AssertionError(f"All Redis databases {REDIS_NUMBERS} at {url} are in use. Empty one with FLUSHDB.")
