"""Forms of runs, reviews and nonconformances; the rules stand in the services."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.core.validators import MaxLengthValidator
from django.utils import timezone

from equipment.models import Instrument, MeasuringSystem
from labsite.people.models import User
from labsite.people.step_up import StepUpForm
from records.charts.overlay import MOST_LAYERS
from records.models import Nonconformance, Run, RunInstrument, StageMark
from records.readers.names import WORDS
from records.readers.stamps import HOURS, MINUTES
from records.readers.units import spellings_of
from records.selectors import choices
from records.selectors.gates import SAFETY
from records.services.refusals import Refused
from schedules.models import Bay
from schedules.web.fields import NumberField

CHANNEL_WORDS: Mapping[str, str] = {channel: words.capitalize() for channel, words in WORDS.items()}
_UNITS_OFFERED = 8


class RefusableForm(forms.Form):
    """A form that shows what a service refused, in its words."""

    def refuse(self, refused: Refused) -> None:
        """Put a refusal above the form, each lack on its own line."""
        for words in refused.missing or (refused.words,):
            self.add_error(None, words)


class RunForm(RefusableForm):
    """Who performs a run, and where."""

    bay = forms.ModelChoiceField(queryset=Bay.objects.none(), empty_label="Choose the bay")
    operator = forms.ModelChoiceField(queryset=User.objects.none(), help_text="Authorised for this kind of test today.")
    second_person = forms.ModelChoiceField(
        queryset=User.objects.none(), empty_label="Choose the second person", help_text="Nobody works alone at voltage."
    )
    repeat_reason = forms.CharField(
        label="Why it is repeated", required=False, max_length=500, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, viewer: Any, is_repeat: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["bay"].queryset = choices.bays(viewer)
        self.fields["operator"].queryset = choices.operators(viewer)
        self.fields["second_person"].queryset = choices.second_persons(viewer)
        self.fields["operator"].initial = viewer.pk
        if not is_repeat:
            del self.fields["repeat_reason"]


class ConditionsForm(RefusableForm):
    """Ambient conditions."""

    temperature_c = NumberField(label="Temperature, °C")
    pressure_kpa = NumberField(label="Air pressure, kPa", help_text="Station pressure, about 101 at sea level.")
    relative_humidity_pct = NumberField(label="Relative humidity, %")
    version = forms.IntegerField(widget=forms.HiddenInput)


class SystemForm(RefusableForm):
    """A measuring system with all its instruments."""

    system = forms.ModelChoiceField(
        label="Measuring system", queryset=MeasuringSystem.objects.none(), help_text="All its instruments are listed."
    )

    def __init__(self, *args: Any, viewer: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["system"].queryset = choices.systems(viewer)


class InstrumentForm(RefusableForm):
    """A single instrument."""

    instrument = forms.ModelChoiceField(queryset=Instrument.objects.none())

    def __init__(self, *args: Any, viewer: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["instrument"].queryset = choices.instruments(viewer)


class TakeOutForm(RefusableForm):
    """An instrument of this run, and why it is taken out."""

    instrument = forms.ModelChoiceField(label="Take out", queryset=Instrument.objects.none())
    reason = forms.CharField(max_length=500)

    def __init__(self, *args: Any, viewer: Any, run: Run, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["instrument"].queryset = choices.instruments_of(run, viewer)


class OverrideForm(RefusableForm):
    """Why an instrument that is not in calibration may be used."""

    run_instrument = forms.ModelChoiceField(label="Instrument", queryset=RunInstrument.objects.none())
    reason = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}), max_length=1000, help_text="The certificate prints it."
    )

    def __init__(self, *args: Any, run: Run, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["run_instrument"].queryset = run.instruments.all()


class ChargeCalibrationForm(RefusableForm):
    """Charge calibration of the circuit."""

    injected_pc = NumberField(label="Injected charge, pC")
    reading = NumberField(label="Reading, pC", help_text="As the record will write it, before any scale factor.")


class NoiseForm(RefusableForm):
    """Background noise."""

    noise_pc = NumberField(label="Background noise, pC", help_text="With the scale factor, the source off.")


class ScaleForm(RefusableForm):
    """Voltage reading against a reference."""

    reference_kv = NumberField(label="Reference, kV", help_text="For instance 10.")
    reading_kv = NumberField(label="Reading, kV")


class SafetyForm(RefusableForm):
    """One confirmation."""

    kind = forms.ChoiceField(choices=[(kind.value, kind.label) for kind in SAFETY])


class EmptyForm(RefusableForm):
    """A deed that needs no more than its button."""


class MarkForm(RefusableForm):
    """What the operator saw of a stage."""

    stage = forms.CharField(max_length=60)
    outcome = forms.ChoiceField(choices=StageMark.Outcome.choices)


class RemarkForm(RefusableForm):
    """A remark."""

    text = forms.CharField(label="Remark", widget=forms.Textarea(attrs={"rows": 3}), max_length=4000)


class PhotoForm(RefusableForm):
    """A photograph."""

    file = forms.FileField(label="Photograph", help_text="JPEG, PNG or WebP, at most 20 MB.")
    caption = forms.CharField(max_length=200, required=False)


class ReasonForm(RefusableForm):
    """A deed with its reason."""

    reason = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), max_length=2000)


class SignForm(StepUpForm, RefusableForm):
    """A signature: the digest that was shown, and the password again."""

    digest = forms.CharField(widget=forms.HiddenInput, max_length=64)


class DispositionForm(RefusableForm):
    """What becomes of a unit that does not conform."""

    disposition = forms.ChoiceField(
        choices=[choice for choice in Nonconformance.Disposition.choices if choice[0]], widget=forms.RadioSelect
    )
    reason = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}), max_length=2000, help_text="What was found, and who agreed."
    )


class OverlayForm(forms.Form):
    """Which runs are laid over one."""

    def __init__(self, *args: Any, runs: Iterable[Run], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.runs = {str(run.pk): run for run in runs}
        self.fields["with"] = forms.MultipleChoiceField(
            label="Runs to lay over it",
            help_text="One to three.",
            choices=[(key, run_words(run)) for key, run in self.runs.items()],
            widget=forms.CheckboxSelectMultiple,
            error_messages={"invalid_choice": "This run cannot be laid over this one; choose among those listed."},
            validators=[MaxLengthValidator(MOST_LAYERS - 1, "Choose three at most, so that the lines can be told.")],
        )

    @property
    def chosen(self) -> list[Run]:
        """Return the runs chosen, in the order of the list."""
        return [run for key, run in self.runs.items() if key in self.cleaned_data["with"]]


def run_words(run: Run) -> str:
    """Return a run in one line, as it is chosen among others."""
    unit = run.step.plan.unit
    day = timezone.localtime(run.started_at)
    verdict = run.get_verdict_display() if run.verdict else "not judged yet"
    return f"{run.number}: {unit.serial}, {run.arrangement.name}, {day.day} {day:%b %Y}, {verdict.lower()}"


def window_of(asked: Mapping[str, Any]) -> tuple[float, float] | None:
    """Return the times [s] that `from` and `to` name, or None where they are no two times in order."""
    try:
        first, last = float(asked["from"]), float(asked["to"])
    except (KeyError, ValueError):
        return None
    return (first, last) if first < last and math.isfinite(first) and math.isfinite(last) else None


class MappingForm(RefusableForm):
    """Which column is which, with its unit."""

    def __init__(
        self, *args: Any, preview: Mapping[str, Any], needed: Any, run: Run, viewer: Any, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.preview, self.needed = preview, tuple(needed)
        heads = [column["head"] for column in preview.get("columns", ())]
        for channel in self.needed:
            self._add(channel, heads)
        self.fields["remember_for"] = forms.ModelChoiceField(
            label="Remember this for",
            queryset=choices.instruments_of(run, viewer),
            required=False,
            empty_label="this file only",
            help_text="The next file of that instrument is then read without asking.",
        )

    def _add(self, channel: str, heads: list[str]) -> None:
        words = CHANNEL_WORDS.get(channel, channel)
        columns = [("", "Choose a column"), *((head, head) for head in heads)]
        found = next((row for row in self.preview.get("columns", ()) if row["channel"] == channel), None)
        units = [(unit, unit) for unit in spellings_of(channel)[:_UNITS_OFFERED]]
        units += [(clock, f"{clock}, as 1:30") for clock in (MINUTES, HOURS)] if channel == "time_s" else []
        self.fields[channel] = forms.ChoiceField(
            label=f"{words} is in column", choices=columns, initial=found["head"] if found else None
        )
        self.fields[f"{channel}_unit"] = forms.ChoiceField(
            label=f"Unit of the {words.lower()}", choices=[("", "as the head says"), *units], required=False
        )

    @property
    def column_map(self) -> dict[str, Any]:
        """Return what was chosen as COLUMNS.json has it."""
        chosen = {}
        for channel in self.needed:
            column, unit = self.cleaned_data.get(channel), self.cleaned_data.get(f"{channel}_unit")
            if column:
                chosen[channel] = {"column": column, "unit": unit} if unit else column
        return chosen
