"""Forms of the files that a run is judged over, and of the values that no file holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from records.evaluation.asked import Asked
from records.evaluation.parts import PARTS, usual_part
from records.models import Record, Run
from records.web.forms import ReasonForm, RefusableForm, run_words
from schedules.web.fields import NumberField


def part_choices(kind: str) -> list[tuple[str, str]]:
    """Return the parts that a file of a kind of step can play, the usual one first."""
    parts = sorted(PARTS[kind], key=lambda part: not part.is_usual)
    return [(part.name, part.words) for part in parts]


class RecordForm(RefusableForm):
    """A file for a run, and the part that it plays where there are several."""

    part = forms.ChoiceField(label="What this file is", required=False)
    file = forms.FileField(label="Record", allow_empty_file=True, max_length=255)

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = part_choices(kind)
        self.fields["part"].choices = choices
        self.fields["part"].initial = usual_part(kind).name
        if len(choices) == 1:
            del self.fields["part"]

    @property
    def part_field(self) -> Any:
        """Return the field of the part, or None where there is nothing to choose."""
        return self["part"] if "part" in self.fields else None


class PartForm(RefusableForm):
    """Another part for a file that is there."""

    part = forms.ChoiceField(label="What this file is")

    def __init__(self, *args: Any, record: Record, **kwargs: Any) -> None:
        kind = record.run.step.kind
        initial = {"part": record.part or usual_part(kind).name}
        super().__init__(*args, initial=initial, prefix=f"part-{record.pk}", **kwargs)
        self.fields["part"].choices = part_choices(kind)


class AsideForm(ReasonForm):
    """Why a file is set aside."""

    def __init__(self, *args: Any, record: Record, **kwargs: Any) -> None:
        super().__init__(*args, prefix=f"aside-{record.pk}", **kwargs)
        self.fields["reason"].label = "Why it is set aside"


class LendForm(RefusableForm):
    """A run whose file plays a part in this one."""

    part = forms.ChoiceField(label="As")
    lender = forms.ChoiceField(label="File of run")

    def __init__(self, *args: Any, kind: str, runs: Iterable[Run], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.runs = {str(run.pk): run for run in runs}
        self.fields["part"].choices = [(part.name, part.words) for part in PARTS[kind] if part.is_lendable]
        self.fields["lender"].choices = [
            ("", "Choose a run"),
            *((key, run_words(run)) for key, run in self.runs.items()),
        ]

    def clean_lender(self) -> Run:
        """Return the run chosen."""
        return self.runs[self.cleaned_data["lender"]]


class ValuesForm(RefusableForm):
    """The values of a test that its record does not hold, as the table of the kind asks them."""

    def __init__(self, *args: Any, asked: Iterable[Asked], stated: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for one in asked:
            self.fields[one.name] = _field_of(one)
            self.fields[one.name].initial = stated.get(one.name)

    @property
    def values(self) -> dict[str, Any]:
        """Return what was stated, by name."""
        return {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}


def _field_of(one: Asked) -> forms.Field:
    shared: dict[str, Any] = {
        "label": f"{one.words}, {one.unit}" if one.unit else one.words,
        "help_text": one.hint,
        "required": False,
    }
    if one.is_flag:
        options = [("", "Not stated"), ("yes", "yes"), ("no", "no")]
        return forms.TypedChoiceField(choices=options, coerce=lambda text: text == "yes", empty_value=None, **shared)
    if one.choices:
        return forms.ChoiceField(choices=[("", "Not stated"), *one.choices], **shared)
    if one.is_text:
        return forms.CharField(max_length=200, **shared)
    return NumberField(**shared)
