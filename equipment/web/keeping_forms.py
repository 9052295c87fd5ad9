"""Forms of what is kept of an instrument beside its calibrations."""

from __future__ import annotations

from typing import Any

from django import forms

from equipment.models import CalibrationPoint, InstrumentFile, InstrumentRange, LogEntry
from equipment.web.forms import DATE, CalibrationForm

BOTH = [("", "As the source says"), *CalibrationPoint.Moment.choices, ("both", "Both: it was not adjusted")]


class LogForm(forms.Form):
    """What was done to an instrument or befell it."""

    kind = forms.ChoiceField(
        label="What it was", choices=[row for row in LogEntry.Kind.choices if row[0] != LogEntry.Kind.CUSTODY]
    )
    on = forms.DateField(label="On", widget=DATE)
    text = forms.CharField(label="What happened or was done", widget=forms.Textarea(attrs={"rows": 4}), max_length=2000)


class HandOverForm(forms.Form):
    """Who keeps an instrument from a day on, and where."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    custodian = forms.CharField(label="Kept by", max_length=120)
    location = forms.CharField(label="Place", max_length=120, required=False)
    on = forms.DateField(label="From", widget=DATE)


class RangeForm(forms.ModelForm):
    """One range with the accuracy that the laboratory requires there."""

    class Meta:
        model = InstrumentRange
        fields = ("quantity", "unit", "low", "high", "resolution", "accuracy_pct", "accuracy_absolute", "remarks")
        labels = {
            "low": "From",
            "high": "To",
            "accuracy_pct": "Largest error allowed, per cent of the value",
            "accuracy_absolute": "Largest error allowed, plus this in the unit",
        }

    def _post_clean(self) -> None:
        """Leave the rules between fields to the service."""


class EndRangeForm(forms.Form):
    """Why a range no longer applies."""

    reason = forms.CharField(max_length=300, help_text="It stays in the history.")


class FileForm(forms.Form):
    """A file of an instrument."""

    kind = forms.ChoiceField(label="What it is", choices=InstrumentFile.Kind.choices)
    calibration = forms.ModelChoiceField(queryset=None, required=False, empty_label="None in particular")
    file = forms.FileField(label="File, at most 20 MB")

    def __init__(self, *args: Any, calibrations: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["calibration"].queryset = calibrations


class ReadForm(forms.Form):
    """A calibration to be read: a file, or points pasted from a sheet."""

    file = forms.FileField(
        label="File: CSV, XLSX or digital certificate (XML)", required=False, help_text="At most 10 MB."
    )
    text = forms.CharField(
        label="Or points pasted from a sheet",
        required=False,
        max_length=200_000,
        widget=forms.Textarea(attrs={"rows": 8}),
        help_text="With a row of heads: Moment, Unit, Nominal, Reference, Reading (or Correction, or Error), "
        "Uncertainty, k. Reference, one of Reading, Correction and Error, and Uncertainty are needed.",
    )
    unit = forms.CharField(label="Unit, where the table names none", max_length=12, required=False)
    moment = forms.ChoiceField(
        label="The points are, where the table does not say",
        choices=CalibrationPoint.Moment.choices,
        initial=CalibrationPoint.Moment.AS_LEFT,
    )

    def clean(self) -> dict[str, Any]:
        """Ask for one of the two ways."""
        said = super().clean() or {}
        if bool(said.get("file")) == bool((said.get("text") or "").strip()) and not self.errors:
            raise forms.ValidationError("Choose a file, or paste the points: one of the two.")
        return said


class ConfirmForm(CalibrationForm):
    """What a person states in confirming a calibration that was read."""

    moment = forms.ChoiceField(label="The points are", choices=BOTH, required=False)

    field_order = ["certificate_number", "laboratory", "accreditation", "calibrated_on", "due_on", "moment"]


class SetAsideForm(forms.Form):
    """Why a draft is put aside."""

    reason = forms.CharField(max_length=300, label="Why it is set aside", help_text="It stays in the history.")
