"""The alarm clock of the jobs: Redis when there is one, else files in the site's own folder.

A message only wakes a worker; what must be done stands in the job table. So a lost message costs a moment, never a job.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from celery import Celery

from labsite import file_queue

HARD_LIMIT_S = 300
SOFT_LIMIT_S = 270

_ALWAYS = {
    "task_serializer": "json",
    "accept_content": ["json"],
    "task_ignore_result": True,
    "task_acks_late": True,
    "task_reject_on_worker_lost": True,
    "task_time_limit": HARD_LIMIT_S,
    "task_soft_time_limit": SOFT_LIMIT_S,
    "task_default_queue": "withstand",
    "worker_prefetch_multiplier": 1,
    "worker_lost_wait": 1.0,
    "worker_max_tasks_per_child": 50,
    "worker_enable_remote_control": False,
    "broker_connection_retry_on_startup": True,
    "broker_connection_timeout": 2,
    "task_publish_retry": False,
    "enable_utc": True,
}


def transport(redis_url: str, folder: Path) -> dict[str, Any]:
    """Return Celery's settings of the message transport: Redis, or a queue of files in `folder`."""
    if redis_url:
        redis = {
            "visibility_timeout": 2 * HARD_LIMIT_S,
            "unacked_restore_interval": 5,
            "unacked_restore_throttle": 1,
            "socket_connect_timeout": 2,
            "socket_timeout": 10,
            "max_retries": 1,
        }
        return {"broker_url": redis_url, "broker_transport_options": redis}
    folder.mkdir(parents=True, exist_ok=True)
    file_queue.use()
    path = str(folder)
    files = {"data_folder_in": path, "data_folder_out": path, "control_folder": path, "polling_interval": 0.1}
    return {"broker_url": "filesystem://localhost", "broker_transport_options": files}


def make_app() -> Celery:
    """Return the configured application; settings named CELERY_… win over what stands here."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    from django.conf import settings

    celery = Celery("labsite")
    celery.conf.update(_ALWAYS)
    celery.conf.update(transport(settings.REDIS_URL, settings.VAR / "queue"))
    own = {name[7:].lower(): getattr(settings, name) for name in dir(settings) if name.startswith("CELERY_")}
    celery.conf.update(own)
    celery.autodiscover_tasks()
    return celery


app = make_app()
