"""The start of the demonstration says in one line what is missing."""

import ctypes.util

from labsite import launch


def test_missing_pango_is_one_line_with_the_package(monkeypatch):
    monkeypatch.setattr(ctypes.util, "find_library", lambda name: None if "pango" in name else "found")
    words = launch.missing_library()
    assert words is not None
    assert "apt-get install libpango-1.0-0 libpangoft2-1.0-0" in words
    assert "\n" not in words


def test_nothing_is_said_when_all_is_there(monkeypatch):
    monkeypatch.setattr(ctypes.util, "find_library", lambda name: "found")
    assert launch.missing_library() is None


def test_the_group_is_site_worker_and_scheduler():
    assert list(launch.commands(8123)) == ["site", "worker", "scheduler"]
    assert "127.0.0.1:8123" in launch.commands(8123)["site"]
