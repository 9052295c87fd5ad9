"""Starts the demonstration: prepares the database, then runs site, worker and scheduler as one foreground group."""

from __future__ import annotations

import argparse
import ctypes.util
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

PYTHON = sys.executable


def say(words: str) -> None:
    """Tell the person at the terminal what is happening."""
    print(words, flush=True)  # noqa: T201


def missing_library() -> str | None:
    """Return one line with the package to install where the certificate's typesetting would fail, else None."""
    wanted = {
        "pango-1.0": "libpango-1.0-0",
        "pangoft2-1.0": "libpangoft2-1.0-0",
        "harfbuzz-subset": "libharfbuzz-subset0",
    }
    absent = [package for library, package in wanted.items() if ctypes.util.find_library(library) is None]
    if not absent:
        return None
    return f"Certificates are typeset with Pango, which is missing here. Install it: apt-get install {' '.join(absent)}"


def commands(port: int) -> dict[str, list[str]]:
    """Return the three processes of the site."""
    gunicorn = ["-m", "gunicorn", "labsite.wsgi:application", "--bind", f"127.0.0.1:{port}", "--workers", "2"]
    celery = ["-m", "celery", "-A", "labsite.celery", "--quiet"]
    worker = ["worker", "--concurrency", "1", "--loglevel", "WARNING", "--without-gossip", "--without-mingle"]
    beat = ["beat", "--loglevel", "WARNING", "--schedule", str(_var() / "beat-schedule"), "--pidfile", ""]
    return {
        "site": [PYTHON, *gunicorn, "--threads", "4", "--log-level", "warning", "--graceful-timeout", "5"],
        "worker": [PYTHON, *celery, *worker],
        "scheduler": [PYTHON, *celery, *beat],
    }


def _var():
    from django.conf import settings

    return settings.VAR


def prepare() -> None:
    """Bring the database up to date and load the demonstration laboratory the first time."""
    import django
    from django.core.management import call_command

    django.setup()
    say("Bringing the database up to date …")
    call_command("migrate", verbosity=0, skip_checks=True)
    call_command("load_demo", skip_checks=True)


def is_taken(port: int) -> bool:
    """Say whether something listens at the port already."""
    with socket.socket() as asked:
        return asked.connect_ex(("127.0.0.1", port)) == 0


def wait_until_answering(port: int, seconds: float = 120, site: subprocess.Popen[bytes] | None = None) -> bool:
    """Say whether the site answers within the time; no longer than its process lives."""
    end = time.monotonic() + seconds
    while time.monotonic() < end and (site is None or site.poll() is None):
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/health/", timeout=2) as answer:
                return answer.status == 200
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    return False


def stop(children: dict[str, subprocess.Popen[bytes]]) -> None:
    """End all processes: politely, then firmly."""
    for child in children.values():
        if child.poll() is None:
            child.send_signal(signal.SIGTERM)
    end = time.monotonic() + 8
    for child in children.values():
        try:
            child.wait(timeout=max(0.1, end - time.monotonic()))
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()


def run_group(port: int) -> int:
    """Run the processes until a signal, or until one of them ends; return the exit status."""
    asked = {"stop": False}

    def on_signal(number: int, frame: object) -> None:
        asked["stop"] = True

    signal.signal(signal.SIGTERM, on_signal)
    signal.signal(signal.SIGINT, on_signal)
    if is_taken(port):
        say(f"Port {port} is taken. Choose another: make demo PORT={port + 1}")
        return 1
    lines = commands(port)
    children = {"site": subprocess.Popen(lines.pop("site"))}  # alone at first: people wait for it, not for the others
    try:
        if not wait_until_answering(port, site=children["site"]):
            say(f"The site did not come up on port {port}; what it said stands above. What was entered is kept.")
            return 1
        children |= {name: subprocess.Popen(line) for name, line in lines.items()}
        _greet(port)
        while not asked["stop"]:
            for name, child in children.items():
                if child.poll() is not None:
                    say(f"The {name} ended by itself (status {child.returncode}); stopping. Nothing entered is lost.")
                    return 1
            time.sleep(0.2)
        say("Stopping … what was entered is kept.")
        return 0
    finally:
        stop(children)


def _greet(port: int) -> None:
    from django.core.management import call_command

    call_command("load_demo", "--who", f"--port={port}", skip_checks=True)


def main() -> int:
    """Start the demonstration."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, default=8000)
    port = parser.parse_args().port
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    words = missing_library()
    if words:
        say(words)
        return 1
    prepare()
    return run_group(port)


if __name__ == "__main__":
    sys.exit(main())
