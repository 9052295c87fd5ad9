"""A customer finds what is theirs, in plain words, and nothing of anyone else by any address."""

from __future__ import annotations

import pytest
from django.urls import reverse

from labsite.jobs.services import run_waiting
from records.models import Certificate
from records.services.certificates import (
    amend_certificate,
    issue_certificate,
    request_certificate,
    withdraw_certificate,
)
from records.services.storing import absolute
from schedules.models import Arrangement
from tests.answers import let_go
from tests.integration.certificates import world

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick_typesetting")]


@pytest.fixture
def foreign(other_customer, tester, second_tester, approver, issued):
    """Return an order of another customer with everything in it, planted to be found if anything leaks."""
    order = world.order_of(other_customer, approver, "O-2026-0666")
    unit = world.unit_of(order, approver, "OXBOW-SECRET-1")
    runs = world.tested(unit, tester, second_tester, approver)
    certificate = request_certificate(unit=unit, by=approver)
    run_waiting()
    issue_certificate(certificate=certificate, digest=certificate.document_digest, by=approver)
    run_waiting()
    certificate.refresh_from_db()
    return {"order": order, "unit": unit, "run": runs[0], "certificate": certificate, "record": runs[0].records.get()}


def _addresses(order, unit, certificate, record):
    return [
        reverse("portal:order", args=[order.pk]),
        reverse("portal:unit", args=[unit.pk]),
        reverse("portal:certificate-file", args=[certificate.pk]),
        reverse("portal:record-file", args=[record.pk]),
    ]


def _statuses(client, addresses):
    """Ask each address and let go of the file that it may answer with."""
    answers = [client.get(address) for address in addresses]
    for answer in answers:
        let_go(answer)
    return [answer.status_code for answer in answers]


def test_each_customer_reaches_the_own_things_and_no_other(
    client, customer, other_customer, unit, runs, issued, foreign
):
    own = _addresses(unit.order, unit, issued, runs[0].records.get())
    others = _addresses(foreign["order"], foreign["unit"], foreign["certificate"], foreign["record"])
    for person, allowed, refused in ((customer, own, others), (other_customer, others, own)):
        client.force_login(person)
        assert _statuses(client, allowed) == [200] * 4
        assert _statuses(client, refused) == [404] * 4
    client.force_login(customer)
    for address in (reverse("portal:home"), *own[:2]):
        page = client.get(address).content.decode()
        assert "OXBOW" not in page
        assert "O-2026-0666" not in page
        assert foreign["certificate"].number not in page


@pytest.mark.parametrize(("who", "status"), [("tester", 403), ("administrator", 403), ("witness", 404)])
def test_nobody_else_enters_a_customers_rooms(client, request, who, status, unit, runs, issued):
    client.force_login(request.getfixturevalue(who))
    addresses = _addresses(unit.order, unit, issued, runs[0].records.get())
    assert _statuses(client, addresses) == [status] * 4


def test_without_signing_in_every_page_leads_to_the_door(client, unit, runs, issued):
    for address in (reverse("portal:home"), *_addresses(unit.order, unit, issued, runs[0].records.get())):
        response = client.get(address)
        assert response.status_code == 302
        assert response.url.startswith(reverse("account_login"))


def test_the_laboratorys_own_rooms_are_not_there_for_customers(client, customer, issued):
    client.force_login(customer)
    for address in (
        reverse("records:certificates"),
        reverse("records:certificate", args=[issued.pk]),
        reverse("records:certificate-file", args=[issued.pk]),
        reverse("records:certificate-draft", args=[issued.pk]),
    ):
        assert client.get(address).status_code == 404


def test_files_come_as_attachments_byte_for_byte(client, customer, runs, issued):
    client.force_login(customer)
    record = runs[0].records.get()
    response = client.get(reverse("portal:record-file", args=[record.pk]))
    assert b"".join(response.streaming_content) == absolute(record.path).read_bytes()
    assert response["Content-Disposition"] == 'attachment; filename="power_frequency_withstand.csv"'
    response = client.get(reverse("portal:certificate-file", args=[issued.pk]))
    assert b"".join(response.streaming_content) == absolute(issued.path).read_bytes()
    assert response["Content-Disposition"] == f'attachment; filename="{issued.number}.pdf"'


def test_records_of_a_run_that_is_not_approved_stay_inside(client, customer, runs):
    run = runs[0]
    run.state = "signed"
    run.save(update_fields=["state"])
    client.force_login(customer)
    assert client.get(reverse("portal:record-file", args=[run.records.get().pk])).status_code == 404


def test_a_draft_is_not_shown(client, customer, draft):
    client.force_login(customer)
    assert draft.number not in client.get(reverse("portal:unit", args=[draft.unit_id])).content.decode()
    assert client.get(reverse("portal:certificate-file", args=[draft.pk])).status_code == 404


def test_what_is_no_longer_valid_says_so(client, customer, issued, approver):
    amendment = amend_certificate(certificate=issued, reason="Serial corrected.", by=approver)
    issue_draft = Certificate.objects.get(pk=amendment.pk)
    run_waiting()
    issue_draft.refresh_from_db()
    issue_certificate(certificate=issue_draft, digest=issue_draft.document_digest, by=approver)
    run_waiting()
    client.force_login(customer)
    page = client.get(reverse("portal:unit", args=[issued.unit_id])).content.decode()
    assert f"Replaced by {amendment.number}, no longer valid" in page
    response = client.get(reverse("portal:certificate-file", args=[issued.pk]))
    let_go(response)
    assert response["Content-Disposition"] == f'attachment; filename="{issued.number}-replaced.pdf"'
    issue_draft.refresh_from_db()
    withdraw_certificate(certificate=issue_draft, reason="The divider was wrong.", by=approver)
    page = client.get(reverse("portal:unit", args=[issued.unit_id])).content.decode()
    assert "Withdrawn, no longer valid" in page
    assert "Certificate issued" not in page


def test_the_status_is_in_plain_words_all_the_way(client, customer, unit, tester, second_tester, approver):
    client.force_login(customer)
    address = reverse("portal:unit", args=[unit.pk])
    assert "Waiting for its tests" in client.get(address).content.decode()
    places = list(Arrangement.objects.filter(step__plan__unit=unit).order_by("step__position", "position"))
    world.run_of(places[0], tester, second_tester, approver)
    assert "Being tested: 1 of 6 tests done" in client.get(address).content.decode()
    world.run_of(places[1], tester, second_tester, approver, is_good=False)
    assert "A result is being discussed; the laboratory will contact you" in client.get(address).content.decode()
    world.run_of(places[1], tester, second_tester, approver, day=1)
    for place in places[2:]:
        world.run_of(place, tester, second_tester, approver)
    assert "All tests done; the certificate is being prepared" in client.get(address).content.decode()


def test_queries_do_not_grow_with_the_rows(
    client, customer, unit, runs, approver, tester, second_tester, django_assert_num_queries
):
    client.force_login(customer)
    address = reverse("portal:order", args=[unit.order_id])
    client.get(address)
    with django_assert_num_queries(COUNT_OF_ORDER_PAGE):
        client.get(address)
    for number in range(6):
        world.tested(world.unit_of(unit.order, approver, f"MORE-{number}"), tester, second_tester, approver)
    with django_assert_num_queries(COUNT_OF_ORDER_PAGE):
        client.get(address)


COUNT_OF_ORDER_PAGE = 11
