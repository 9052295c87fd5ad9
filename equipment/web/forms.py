"""Forms of equipment."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

from equipment.models import Calibration, CalibrationPoint, Instrument, MeasuringSystem
from equipment.models.instrument import Quantity
from equipment.selectors import BOARD_WORDS, HORIZON_DAYS
from equipment.services import Circumstances, Point
from equipment.services.instruments import EDITABLE

DATE = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
USES = [row for row in Calibration.Use.choices if row[0] != Calibration.Use.NOT_DECIDED]
FIRST_LINES, MOST_LINES = 6, 60


class BoardForm(forms.Form):
    """What the board is narrowed to."""

    board = forms.ChoiceField(choices=tuple(BOARD_WORDS.items()), required=False)
    quantity = forms.ChoiceField(choices=Quantity.choices, required=False)
    text = forms.CharField(required=False, max_length=100)
    on = forms.DateField(required=False)
    horizon = forms.IntegerField(required=False, min_value=0, max_value=1000)
    view = forms.ChoiceField(choices=(("table", "Table"), ("timeline", "Timeline")), required=False)

    def wanted(self) -> dict[str, Any]:
        """Return what could be understood; anything else narrows nothing."""
        self.is_valid()
        said = self.cleaned_data
        narrowed = {name: said.get(name) or "" for name in ("board", "quantity", "text", "view")}
        horizon = said.get("horizon")
        return {**narrowed, "on": said.get("on"), "horizon": HORIZON_DAYS if horizon is None else horizon}


class InstrumentForm(forms.ModelForm):
    """One instrument."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Instrument
        fields = EDITABLE
        labels = {
            "range_text": "Range",
            "custodian": "Kept by",
            "is_indicator": "An indicator only",
            "interval_months": "Calibration interval, months",
            "serial": "Serial number",
        }
        help_texts = {
            "identifier": "The laboratory's own mark on the instrument; run sheets and certificates name it.",
            "range_text": "In words with units, for instance 1 kV to 100 kV r.m.s., 50 Hz and 60 Hz.",
        }

    def validate_unique(self) -> None:
        """Leave it to the service, which compares without case."""

    def values(self) -> dict[str, Any]:
        """Return the fields of the instrument alone."""
        return {name: self.cleaned_data[name] for name in EDITABLE}


class StateForm(forms.Form):
    """Where an instrument goes next, and why."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    state = forms.ChoiceField(label="New state", widget=forms.RadioSelect)
    on = forms.DateField(
        label="From the day", widget=DATE, required=False, help_text="Left empty: today. A past day is entered later."
    )
    reason = forms.CharField(max_length=300, help_text="It stays in the history, and the board shows it.")

    def __init__(self, *args: Any, states: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["state"].choices = states


class CalibrationForm(forms.ModelForm):
    """One calibration as its certificate reports it."""

    class Meta:
        model = Calibration
        fields = (
            "laboratory",
            "accreditation",
            "certificate_number",
            "calibrated_on",
            "due_on",
            "relative_uncertainty_pct",
            "coverage_factor",
            "verdict",
            "was_adjusted",
            "adjustment",
            "temperature_c",
            "relative_humidity_pct",
            "conditions",
            "correction_use",
            "correction_method",
            "remarks",
        )
        widgets = {"calibrated_on": DATE, "due_on": DATE, "verdict": forms.RadioSelect}
        help_texts = {
            "due_on": "Left empty, it follows from the interval of the instrument.",
            "correction_use": "It holds for runs that list the instrument on its own, and cannot be changed later. A "
            "measuring system's scale factor contains its components' corrections already.",
        }
        labels = {
            "correction_use": "Its corrections are",
            "laboratory": "Calibration laboratory",
            "accreditation": "Accreditation number",
            "relative_uncertainty_pct": "Expanded uncertainty, per cent",
            "due_on": "Due on (the last day it covers)",
            "verdict": "The instrument was left",
            "was_adjusted": "It was adjusted",
            "adjustment": "What was adjusted",
            "temperature_c": "Temperature, °C",
            "relative_humidity_pct": "Relative humidity, per cent",
            "conditions": "Other conditions",
            "correction_method": "Between its points they are",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("due_on", "correction_method", "correction_use"):
            self.fields[name].required = False
        self.fields["correction_use"].choices = [("", "The certificate has no points"), *USES]
        self.initial["correction_use"] = ""

    def values(self) -> dict[str, Any]:
        """Return what the service takes: the certificate's fields, and the circumstances by themselves."""
        said = dict(self.cleaned_data)
        held = {name: said.pop(name) for name in Circumstances.__dataclass_fields__}
        held["correction_method"] = held["correction_method"] or Calibration.Correction.INTERPOLATED
        return {**said, "circumstances": Circumstances(**held)}

    def _post_clean(self) -> None:
        """Leave the rules between fields to the service."""

    def at_fields(self, error: ValidationError) -> ValidationError:
        """Put what the service refuses at the fields of this form; what has none there, above them."""
        parts = error.error_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: [error]}
        return ValidationError(
            {name if name in self.fields else NON_FIELD_ERRORS: found for name, found in parts.items()}
        )


class CorrectionUseForm(forms.Form):
    """What the corrections of a calibration are for, where nobody has decided."""

    use = forms.ChoiceField(label="Its corrections are", choices=USES, widget=forms.RadioSelect)
    reason = forms.CharField(
        max_length=300, help_text="It stays in the history. Runs that listed the instrument before keep what they had."
    )


class PointForm(forms.Form):
    """One line of the certificate's table; an empty line is left out."""

    moment = forms.ChoiceField(choices=CalibrationPoint.Moment.choices, initial=CalibrationPoint.Moment.AS_LEFT)
    unit = forms.CharField(max_length=12)
    reference = forms.FloatField()
    reading = forms.FloatField()
    expanded_uncertainty = forms.FloatField()
    nominal = forms.FloatField(required=False)
    coverage_factor = forms.FloatField(required=False, label="k")


class PointsFormSet(forms.BaseFormSet):
    """The lines of one calibration."""

    def values(self) -> list[Point]:
        """Return the lines that were filled in."""
        said = [form.cleaned_data for form in self.forms if form.cleaned_data]
        return [Point(**{**row, "coverage_factor": row.get("coverage_factor") or 2.0}) for row in said]


def points_formset(sent: Any, *, lines: str) -> PointsFormSet:
    """Return the lines as sent, or empty ones: as many as asked for, within reason."""
    count = min(int(lines), MOST_LINES) if lines.isascii() and lines.isdigit() else FIRST_LINES
    made = forms.formset_factory(PointForm, formset=PointsFormSet, extra=max(count, 1), max_num=MOST_LINES)
    return made(sent, prefix="points")


class SystemForm(forms.ModelForm):
    """One measuring system."""

    instruments = forms.ModelMultipleChoiceField(
        queryset=None, widget=forms.CheckboxSelectMultiple, help_text="Everything in the chain."
    )

    class Meta:
        model = MeasuringSystem
        fields = ("name", "quantity", "scale_factor", "relative_uncertainty_pct", "coverage_factor", "assigned_on")
        widgets = {"assigned_on": DATE}
        labels = {"relative_uncertainty_pct": "Expanded uncertainty of the system, per cent"}

    def __init__(self, *args: Any, viewer: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        found = Instrument.objects.visible_to(viewer).not_retired()
        self.fields["instruments"].queryset = found


class EndForm(forms.Form):
    """When and why a measuring system ends."""

    on = forms.DateField(label="Ended on", widget=DATE)
    reason = forms.CharField(max_length=300, help_text="It stays in the history.")
