"""A unit with everything tested, and one certificate of it."""

from __future__ import annotations

import pytest

from labsite.jobs.services import run_waiting
from records.services import composing
from records.services.certificates import issue_certificate, request_certificate
from tests.integration.certificates import world


@pytest.fixture
def quick_typesetting(monkeypatch):
    """Put a short text in the place of the typesetter, which has its own tests; the way of the file stays whole."""

    def compose(*, document, digest, issue, pictures):
        return f"%PDF-stand-in {document['number']} {digest} {issue} {sorted(pictures)}".encode()

    monkeypatch.setattr(composing, "compose", compose)


@pytest.fixture
def unit(customer, approver):
    """Return the customer's unit with its plan; nothing tested yet."""
    world.laboratory()
    return world.unit_of(world.order_of(customer, approver), approver)


@pytest.fixture
def runs(unit, tester, second_tester, approver):
    """Return approved, conforming runs of all arrangements."""
    return world.tested(unit, tester, second_tester, approver)


@pytest.fixture
def draft(unit, runs, approver):
    """Return a certificate whose draft is composed."""
    certificate = request_certificate(unit=unit, by=approver)
    run_waiting()
    certificate.refresh_from_db()
    return certificate


@pytest.fixture
def issued(draft, approver):
    """Return an issued certificate whose final form is composed."""
    issue_certificate(certificate=draft, digest=draft.document_digest, by=approver)
    run_waiting()
    draft.refresh_from_db()
    return draft
