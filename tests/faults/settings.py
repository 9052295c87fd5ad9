"""The site's own settings, with the demo app beside it; used by the processes that fault tests start and kill."""

from __future__ import annotations

from labsite.settings import *  # noqa: F403

INSTALLED_APPS = [*INSTALLED_APPS, "tests.faults.demo_jobs"]  # noqa: F405
ROOT_URLCONF = "tests.faults.demo_jobs.urls"
