"""What the clock starts: reminders of due dates."""

from __future__ import annotations

from equipment.services.reminders import send_reminders
from labsite.celery import app


@app.task(name="equipment.remind", expires=3000)
def remind() -> None:
    """Send what has come due and was not told; the rows of what was told make a second run harmless."""
    send_reminders()
