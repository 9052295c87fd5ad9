"""Starts the site's own processes for a fault test, kills them, and reads what they left."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Site:
    """One site with its own folder, database and transport; its processes end with it."""

    folder: Path
    database_url: str = ""
    redis_url: str = ""
    running: list[subprocess.Popen] = field(default_factory=list)

    @property
    def environment(self) -> dict[str, str]:
        own = {
            "DJANGO_SETTINGS_MODULE": "tests.faults.settings",
            "WITHSTAND_VAR": str(self.folder),
            "DATABASE_URL": self.database_url,
            "REDIS_URL": self.redis_url,
            "PYTHONPATH": str(ROOT),
            "PYTHONWARNINGS": "ignore",
            "OPENBLAS_NUM_THREADS": "1",
        }
        return {name: value for name, value in os.environ.items() if not name.startswith("WITHSTAND_")} | own

    def start(self, *command: str) -> subprocess.Popen:
        """Start a process of its own group; its words go to a log in the folder."""
        with (self.folder / "processes.log").open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, *command],
                cwd=ROOT,
                env=self.environment,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        self.running.append(process)
        return process

    def run(self, code: str) -> str:
        """Run Python inside the site and return what it prints."""
        program = f"import django; django.setup()\n{code}"
        done = subprocess.run(
            [sys.executable, "-c", program], cwd=ROOT, env=self.environment, capture_output=True, text=True, timeout=120
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def ask(self, expression: str):
        """Return the value of a Python expression over the site's models."""
        words = "import json\nfrom labsite.jobs.models import Job\nfrom labsite.ledger.models import Entry\n"
        return json.loads(self.run(f"{words}print(json.dumps({expression}))"))

    def migrate(self) -> None:
        """Make the tables."""
        self.run(
            "from django.core.management import call_command\ncall_command('migrate', verbosity=0, skip_checks=True)"
        )

    def start_worker(self) -> subprocess.Popen:
        """Start a worker with two children."""
        return self.start(
            "-m", "celery", "-A", "labsite", "worker", "-c", "2", "--without-gossip", "--without-mingle", "-l", "INFO"
        )

    def start_beat(self) -> subprocess.Popen:
        """Start the clock that sweeps."""
        return self.start("-m", "celery", "-A", "labsite", "beat", "-s", str(self.folder / "beat"), "--pidfile=")

    def log(self) -> str:
        """Return the last words of all processes."""
        return (self.folder / "processes.log").read_text(errors="replace")[-6000:]

    def stop(self) -> None:
        """Kill every process this site started."""
        for process in self.running:
            kill_group(process)


def kill_group(process: subprocess.Popen) -> None:
    """Kill a process and its children as power loss would."""
    try:
        os.killpg(process.pid, signal.SIGKILL)
    except ProcessLookupError:
        return
    process.wait()


def children_of(process: subprocess.Popen) -> list[int]:
    """Return the process numbers of the direct children, whichever thread started them."""
    listed = Path(f"/proc/{process.pid}/task").glob("*/children")
    return [int(number) for children in listed for number in children.read_text().split()]


def wait_until(is_so: Callable[[], object], within_s: float, each_s: float = 0.1) -> bool:
    """Say whether it became so within the time."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if is_so():
            return True
        time.sleep(each_s)
    return False
