"""Who is reminded of due dates, what was sent, and the secret addresses of calendars."""

from __future__ import annotations

from django.db import models

DAYS_BEFORE = [60, 30, 7, 0]


def usual_days() -> list[int]:
    """Return the days before a due date on which a reminder goes out, unless a person says otherwise."""
    return list(DAYS_BEFORE)


class ReminderSetting(models.Model):
    """One row: how one person wants to be reminded."""

    user = models.OneToOneField("people.User", on_delete=models.PROTECT, related_name="reminder_setting")
    is_wanted = models.BooleanField(default=True)
    days_before = models.JSONField(default=usual_days)
    wants_escalation = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"Reminders of {self.user}"


class Reminder(models.Model):
    """One row: one event one person was told of once: this row is what keeps it from being sent twice."""

    user = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="reminders")
    instrument = models.ForeignKey("equipment.Instrument", on_delete=models.PROTECT, related_name="reminders")
    due_on = models.DateField()
    event = models.CharField(max_length=20, help_text="Days before the due date, or the week of an escalation")
    made_at = models.DateTimeField(auto_now_add=True)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.UniqueConstraint(fields=["user", "instrument", "due_on", "event"], name="an_event_is_told_once")
        ]

    def __str__(self) -> str:
        return f"{self.instrument} due {self.due_on}: {self.event}"


class CalendarFeed(models.Model):
    """One row: the secret under which one person's calendar program fetches the due dates; only its digest is kept."""

    user = models.OneToOneField("people.User", on_delete=models.PROTECT, related_name="calendar_feed")
    token_digest = models.CharField(max_length=64, unique=True)
    renewed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"Calendar of {self.user}"
