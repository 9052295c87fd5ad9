"""Forms of intervals, check standards, systems, reminders and imports."""

from __future__ import annotations

from typing import Any

from django import forms

from equipment.models import CheckStandard, Instrument
from equipment.web.forms import DATE, SystemForm


class IntervalForm(forms.Form):
    """The interval that a person decides on."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    method = forms.ChoiceField(label="Following")
    months = forms.IntegerField(label="Interval, months", min_value=1, max_value=120)
    reason = forms.CharField(max_length=300, help_text="It stays with the decision, beside the reasoning shown.")

    def __init__(self, *args: Any, methods: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["method"].choices = [*methods, ("own", "My own judgement")]


class StandardForm(forms.ModelForm):
    """A check standard."""

    class Meta:
        model = CheckStandard
        fields = (
            "name",
            "instrument",
            "unit",
            "reference",
            "reference_uncertainty",
            "reading_uncertainty",
            "baseline_count",
        )
        labels = {
            "instrument": "Instrument that reads it",
            "reference": "Reference value",
            "reference_uncertainty": "Expanded uncertainty of the reference (k = 2)",
            "reading_uncertainty": "Expanded uncertainty of a reading (k = 2)",
            "baseline_count": "Readings that make the baseline",
        }

    def __init__(self, *args: Any, viewer: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["instrument"].queryset = Instrument.objects.visible_to(viewer).not_retired()

    def _post_clean(self) -> None:
        """Leave the rules to the service."""


class ReadingForm(forms.Form):
    """One reading of a check standard."""

    value = forms.FloatField(label="Reading")
    remarks = forms.CharField(max_length=200, required=False)


class AcknowledgeForm(forms.Form):
    """What was found behind an alarm."""

    reason = forms.CharField(label="What was found", max_length=300)


class ReassignForm(SystemForm):
    """The next assignment of a measuring system."""

    reason = forms.CharField(label="What changed", max_length=300, help_text="It stays in the history.")

    class Meta(SystemForm.Meta):
        fields = ("scale_factor", "relative_uncertainty_pct", "coverage_factor", "assigned_on")


class PerformanceForm(forms.Form):
    """One performance check."""

    on = forms.DateField(label="On", widget=DATE)
    scale_factor = forms.FloatField(label="Scale factor found")
    allowed_pct = forms.FloatField(label="Allowed difference, per cent", initial=1.0, help_text="1 %: from memory.")
    method = forms.CharField(label="Compared with", max_length=200)


class BudgetForm(forms.Form):
    """At which value a budget is computed."""

    at_value = forms.FloatField(label="At the value")
    unit = forms.CharField(max_length=12)
    temperature_pct = forms.FloatField(
        label="Effect of temperature, ± per cent of the value", initial=0.0, min_value=0, required=True
    )
    reason = forms.CharField(max_length=300, help_text="Why there is a new version.")


class RemindersForm(forms.Form):
    """How a person wants to be reminded."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    is_wanted = forms.BooleanField(label="Send me reminders by e-mail", required=False)
    days_before = forms.CharField(label="Days before the due date", help_text="Numbers with commas: 60, 30, 7, 0.")
    wants_escalation = forms.BooleanField(label="Tell me weekly of what is overdue", required=False)

    def clean_days_before(self) -> list[int]:
        """Return the numbers."""
        parts = [part.strip() for part in self.cleaned_data["days_before"].split(",") if part.strip()]
        if not all(part.isascii() and part.isdigit() for part in parts):
            raise forms.ValidationError("Write whole numbers with commas between them.")
        return [int(part) for part in parts]


class ListForm(forms.Form):
    """A list of instruments."""

    file = forms.FileField(
        label="CSV or XLSX",
        help_text="With the heads Identifier, Description, Serial, Quantity; Maker, Model, Firmware, Location, "
        "Kept by, Range, Interval months, and of the last calibration Laboratory, Certificate, Calibrated on, Due on, "
        "Uncertainty pct may be there.",
    )


class ImportForm(forms.Form):
    """Nothing to say but yes."""
