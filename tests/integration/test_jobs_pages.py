"""The progress of a job is shown to who started it and to the laboratory, and a failed one is started again."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from labsite.jobs.models import Job, JobState
from labsite.ledger.models import Entry


def _job(owner, **values) -> Job:
    values = {"state": JobState.RUNNING, "stage": "Reading", "progress": 20, **values}
    return Job.objects.create(
        name="demo.note", key=str(uuid.uuid4()), created_by=owner, created_at=timezone.now(), **values
    )


def test_the_page_and_its_fragment_say_how_far_it_is(client, tester):
    job = _job(tester)
    client.force_login(tester)
    address = reverse("jobs:progress", args=[job.pk])
    page, fragment = client.get(address), client.get(address, headers={"HX-Request": "true"})
    for response in (page, fragment):
        assert response.status_code == 200
        assert "Reading" in response.content.decode()
        assert f'hx-get="{address}"' in response.content.decode()
    assert "<html" in page.content.decode()
    assert "<html" not in fragment.content.decode()


def test_strangers_get_404_and_the_laboratory_sees_all(client, tester, second_tester, customer, other_customer):
    of_tester, of_customer = _job(tester), _job(customer)
    seen = {}
    for viewer in (tester, second_tester, customer, other_customer):
        client.force_login(viewer)
        seen[viewer.name] = [
            client.get(reverse("jobs:progress", args=[job.pk])).status_code for job in (of_tester, of_customer)
        ]
    assert seen[tester.name] == seen[second_tester.name] == [200, 200]
    assert seen[customer.name] == [404, 200]
    assert seen[other_customer.name] == [404, 404]


def test_a_done_job_leads_on_but_only_within_the_site(client, tester):
    job = _job(tester, state=JobState.DONE)
    client.force_login(tester)
    address = reverse("jobs:progress", args=[job.pk])
    assert client.get(address + "?then=/runs/3/")["Location"] == "/runs/3/"
    assert client.get(address + "?then=/runs/3/", headers={"HX-Request": "true"})["HX-Redirect"] == "/runs/3/"
    for foreign in ("//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example", "javascript:x"):
        assert client.get(address, {"then": foreign}).status_code == 200


def test_a_failed_job_is_started_again_from_the_page(client, tester):
    job = _job(tester, state=JobState.FAILED, words="The file has no voltage column.")
    client.force_login(tester)
    page = client.get(reverse("jobs:progress", args=[job.pk])).content.decode()
    assert "The file has no voltage column." in page
    assert reverse("jobs:retry", args=[job.pk]) in page
    response = client.post(reverse("jobs:retry", args=[job.pk]), {"then": "/runs/3/"})
    assert response["Location"] == reverse("jobs:progress", args=[job.pk]) + "?then=%2Fruns%2F3%2F"
    job.refresh_from_db()
    assert job.state == JobState.QUEUED
    assert Entry.objects.get(action="jobs.retry_job").actor == tester


@pytest.mark.parametrize("state", [JobState.QUEUED, JobState.RUNNING, JobState.DONE])
def test_what_did_not_fail_is_not_started_again(client, tester, state):
    job = _job(tester, state=state)
    client.force_login(tester)
    response = client.post(reverse("jobs:retry", args=[job.pk]))
    assert response.status_code == 409
    assert "Only a job that did not finish" in response.content.decode()


def test_retry_is_no_reading_request_and_not_for_strangers(client, tester, other_customer):
    job = _job(tester, state=JobState.FAILED)
    client.force_login(tester)
    assert client.get(reverse("jobs:retry", args=[job.pk])).status_code == 405
    client.force_login(other_customer)
    assert client.post(reverse("jobs:retry", args=[job.pk])).status_code == 404
    job.refresh_from_db()
    assert job.state == JobState.FAILED
