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


class ReminderDigest(models.Model):
    """One row: one mail to one person, kept before it goes out; `docs/decisions` tells of its three moments."""

    user = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="reminder_digests")
    on = models.DateField(help_text="The day of which it tells")
    subject = models.CharField(max_length=200)
    body = models.TextField()
    message_id = models.CharField(max_length=200, unique=True)
    intended_at = models.DateTimeField(auto_now_add=True)
    may_have_come_before = models.BooleanField(default=False, help_text="A person had it sent again")
    begun_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True, help_text="When a person said that it had arrived")

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(sent_at__isnull=True) | models.Q(begun_at__isnull=False),
                name="what_was_sent_was_begun",
            ),
            models.CheckConstraint(
                condition=models.Q(closed_by__isnull=True, closed_at__isnull=True)
                | models.Q(closed_by__isnull=False, closed_at__isnull=False),
                name="a_closed_digest_has_who_and_when",
            ),
        ]
        indexes = [
            models.Index(fields=["begun_at"], name="equipment_digest_open", condition=models.Q(sent_at__isnull=True))
        ]

    def __str__(self) -> str:
        return f"{self.subject}, to {self.user} on {self.on}"


class Reminder(models.Model):
    """One row: one event one person was told of once: this row is what keeps it from being sent twice."""

    user = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="reminders")
    instrument = models.ForeignKey("equipment.Instrument", on_delete=models.PROTECT, related_name="reminders")
    due_on = models.DateField()
    event = models.CharField(max_length=20, help_text="Days before the due date, or the week of an escalation")
    made_at = models.DateTimeField(auto_now_add=True)
    digest = models.ForeignKey(
        ReminderDigest, on_delete=models.PROTECT, null=True, blank=True, related_name="reminders"
    )
    sent_at = models.DateTimeField(null=True, blank=True, help_text="Only of reminders before there were digests")

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
