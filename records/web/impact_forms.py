"""Forms of nonconforming work."""

from __future__ import annotations

from django import forms

from records.models import AffectedRun
from records.web.forms import ReasonForm, RefusableForm


class DecideForm(ReasonForm):
    """What becomes of one affected result, and why."""

    decision = forms.ChoiceField(
        choices=[row for row in AffectedRun.Decision.choices if row[0]], widget=forms.RadioSelect
    )
    field_order = ("decision", "reason")


class CloseForm(RefusableForm):
    """What was concluded."""

    conclusion = forms.CharField(
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Cause, effect, and what keeps it from happening again.",
    )


class LetterForm(RefusableForm):
    """The draft of a letter."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    text = forms.CharField(max_length=20_000, widget=forms.Textarea(attrs={"rows": 20}))


class SentForm(RefusableForm):
    """How a letter was sent."""

    how = forms.CharField(label="How it was sent", max_length=200)
