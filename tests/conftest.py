"""What every test stands on: people, a files folder of its own, and honest skips."""

from __future__ import annotations

import os
import uuid

import pytest
from hypothesis import settings as hypothesis_settings

from tests import servers
from tests.ledger_flush import lift_triggers_to_empty_test_databases  # noqa: F401
from tests.people import organisation, person

# The same examples each time, so that a change is judged by its own merits; WITHSTAND_EXPLORE=1 draws new ones.
hypothesis_settings.register_profile("same", derandomize=True)
hypothesis_settings.load_profile("default" if os.environ.get("WITHSTAND_EXPLORE") else "same")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Skip with a reason what this machine cannot run; fail instead where it is required; keep benches apart."""
    missing = servers.missing()
    absent = sorted(servers.required() & missing.keys())
    if absent:
        raise pytest.UsageError("Required for this run but missing: " + "; ".join(missing[name] for name in absent))
    if os.environ.get("WITHSTAND_DATABASE_TESTS_ONLY"):
        pure = [item for item in items if not _meets_a_database(item)]
        items[:] = [item for item in items if _meets_a_database(item)]
        config.hook.pytest_deselected(items=pure)
    wants_bench = "bench" in (config.getoption("-m") or "")
    for item in items:
        for name, reason in missing.items():
            if item.get_closest_marker(name):
                item.add_marker(pytest.mark.skip(reason=reason))
        if item.get_closest_marker("bench") and not wants_bench:
            item.add_marker(pytest.mark.skip(reason="speed is measured by `make bench`"))


def _meets_a_database(item: pytest.Item) -> bool:
    fixtures = {"db", "transactional_db", "enter", "site"} & set(getattr(item, "fixturenames", ()))
    return bool(fixtures) or item.get_closest_marker("django_db") is not None


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    """Give each test its own folder of files, quick password hashes and mail in memory."""
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.CACHES = {"default": {**settings.CACHES["default"], "KEY_PREFIX": uuid.uuid4().hex}}
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }


@pytest.fixture
def laboratory_company(db):
    """Return the laboratory's own organisation."""
    return organisation("Quayside Insulation Works (invented)", is_laboratory=True)


@pytest.fixture
def customer_company(db):
    """Return a customer's organisation."""
    return organisation("Fennmark Power (invented)")


@pytest.fixture
def tester(laboratory_company):
    """Return a tester."""
    return person("tester@withstand.example", "Tove Brandt", laboratory_company, "tester")


@pytest.fixture
def second_tester(laboratory_company):
    """Return another tester, the second person of a run."""
    return person("second@withstand.example", "Sami Orlov", laboratory_company, "tester")


@pytest.fixture
def approver(laboratory_company):
    """Return an approver."""
    return person("approver@withstand.example", "Amara Voss", laboratory_company, "approver")


@pytest.fixture
def quality_manager(laboratory_company):
    """Return the quality manager."""
    return person("quality@withstand.example", "Quentin Hale", laboratory_company, "quality_manager")


@pytest.fixture
def administrator(laboratory_company):
    """Return the administrator."""
    return person("admin@withstand.example", "Ada Lindqvist", laboratory_company, "administrator")


@pytest.fixture
def customer(customer_company):
    """Return a customer's person."""
    return person("customer@fennmark.example", "Clara Nyberg", customer_company, "customer")


@pytest.fixture
def other_customer(db):
    """Return a person of another customer."""
    return person("other@oxbow.example", "Otto Kraus", organisation("Oxbow Traction (invented)"), "customer")


@pytest.fixture
def witness(customer_company):
    """Return a witness with an account."""
    return person("witness@fennmark.example", "Wim Daalder", customer_company, "witness")
