"""A reminder that a kill meets on its way: never lost, and never told twice by itself."""

from __future__ import annotations

import signal
import subprocess
import sys

import pytest

from tests.faults.processes import ROOT, Site

pytestmark = [pytest.mark.slow, pytest.mark.timeout(290)]

PLANT = """
from datetime import timedelta
from django.utils import timezone
from equipment.models import Calibration, Instrument
from labsite.people.models import Organisation, RoleGrant, User
company = Organisation.objects.create(name="Laboratory (invented)", is_laboratory=True)
said = {"name": "Q. Hale (invented)", "organisation": company}
person = User.objects.create_user("quality@withstand.example", "x" * 30, **said)
RoleGrant.objects.create(user=person, role="quality_manager")
today = timezone.localdate()
item = Instrument.objects.create(identifier="HV-1", description="Invented", serial="1", quantity="voltage")
Calibration.objects.create(
    instrument=item, laboratory="Invented", certificate_number="K-1", calibrated_on=today - timedelta(days=360),
    due_on=today + timedelta(days=5), relative_uncertainty_pct=1.0, entered_by=person,
)
"""
SEND = "from equipment.services.reminders import send_reminders\nprint(send_reminders())"
# Where the process dies, as by a power cut: before the server has heard of the mail, or after it took it.
DIE_BEFORE = """
import os, signal
from equipment.services import reminders
reminders._carry_out = lambda digest: os.kill(os.getpid(), signal.SIGKILL)
"""
DIE_AFTER = """
import os, signal
from django.core.mail.backends.filebased import EmailBackend
whole = EmailBackend.send_messages
def send_and_die(self, messages):
    whole(self, messages)
    os.kill(os.getpid(), signal.SIGKILL)
EmailBackend.send_messages = send_and_die
"""
LATER = """
from datetime import timedelta
from equipment.models import ReminderDigest
from django.db.models import F
ReminderDigest.objects.update(begun_at=F("begun_at") - timedelta(hours=1))
"""
DOUBTED = "from equipment.selectors.reminders import digests_in_doubt\nprint(digests_in_doubt().count())"
AGAIN = """
from equipment.selectors.reminders import digests_in_doubt
from equipment.services.reminders import send_again
digest = digests_in_doubt().get()
send_again(digest=digest, by=digest.user)
"""


@pytest.fixture
def site(tmp_path):
    made = Site(tmp_path)
    made.migrate()
    made.run(PLANT)
    yield made
    made.stop()


def killed(site: Site, how: str) -> None:
    """Send reminders in a process that is killed on the way."""
    program = f"import django; django.setup()\n{how}\n{SEND}"
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, env=site.environment, check=False, timeout=120)
    assert done.returncode == -signal.SIGKILL


def mails(site: Site) -> list[str]:
    """Return the mails that the server took, as they were written."""
    texts = [path.read_text() for path in sorted((site.folder / "mail").glob("*"))]
    return [part for text in texts for part in text.split("-" * 79) if "Message-ID" in part]


def test_killed_before_the_server_heard_of_it_the_reminder_goes_out_after_the_restart_once(site):
    killed(site, DIE_BEFORE)
    assert mails(site) == []
    assert [site.run(SEND) for _ in range(3)] == ["1", "0", "0"]
    assert len(mails(site)) == 1


def test_killed_after_the_server_took_it_the_reminder_is_not_told_twice_and_a_person_is_asked(site):
    killed(site, DIE_AFTER)
    assert len(mails(site)) == 1
    assert site.run(SEND) == "0"
    site.run(LATER)
    assert [site.run(SEND), site.run(DOUBTED)] == ["0", "1"]
    assert len(mails(site)) == 1
    site.run(AGAIN)  # the quality manager presses the button
    first, second = mails(site)
    ids = {line for text in (first, second) for line in text.splitlines() if line.startswith("Message-ID")}
    assert len(ids) == 1
    assert "may have reached you before" in second
    assert [site.run(SEND), site.run(DOUBTED)] == ["0", "0"]
