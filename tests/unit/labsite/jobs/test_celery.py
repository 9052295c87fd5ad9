"""The transport: Redis when there is one, else files, and only JSON."""

from __future__ import annotations

from labsite.celery import HARD_LIMIT_S, app, transport


def test_without_redis_messages_are_files_of_the_site(tmp_path):
    found = transport("", tmp_path / "queue")
    options = found["broker_transport_options"]
    assert found["broker_url"] == "filesystem://localhost"
    assert options["data_folder_in"] == options["data_folder_out"] == options["control_folder"]
    assert options["polling_interval"] == 0.1
    assert (tmp_path / "queue").is_dir()


def test_redis_gives_a_message_back_after_the_longest_job(tmp_path):
    found = transport("redis://127.0.0.1:6379/0", tmp_path)
    assert found["broker_url"] == "redis://127.0.0.1:6379/0"
    assert found["broker_transport_options"]["visibility_timeout"] == 2 * HARD_LIMIT_S


def test_workers_take_only_json_one_at_a_time_and_acknowledge_late():
    assert app.conf.accept_content == ["json"]
    assert app.conf.worker_prefetch_multiplier == 1
    assert app.conf.task_acks_late is True
    assert app.conf.task_reject_on_worker_lost is True
    assert app.conf.beat_schedule["jobs.sweep"]["schedule"] == 2.0
