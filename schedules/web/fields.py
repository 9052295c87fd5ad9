"""Form fields of this app: numbers as engineers type them, lists on lines, days, and nameplates."""

from __future__ import annotations

import math
import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from schedules.rules import TEST_CLASSES, RatingField
from schedules.rules.vocabulary import BRANCH_RATINGS

_PLAIN_COMMA = re.compile(r"[+-]?\d+,\d{1,2}|[+-]?0,\d+")


class NumberField(forms.FloatField):
    """A number; a comma as decimal mark is understood where it can mean nothing else, else refused in words."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(**options)

    def to_python(self, value: Any) -> float | None:
        """Return the number that was typed."""
        typed = str(value).strip() if value is not None else ""
        if _PLAIN_COMMA.fullmatch(typed):
            typed = typed.replace(",", ".")
        refused = ValidationError(
            f"“{typed[:40]}” is not a number. Write a point before the decimals and nothing between thousands."
        )
        try:
            number = super().to_python(typed)
        except ValidationError:
            raise refused from None
        if number is not None and not math.isfinite(number):
            raise refused
        return number


class LinesField(forms.CharField):
    """A list of texts, one on each line."""

    widget = forms.Textarea(attrs={"rows": 4})

    def to_python(self, value: Any) -> list[str]:  # type: ignore[override]
        """Return the lines that say something."""
        text = super().to_python(value) or ""
        return [line.strip() for line in text.splitlines() if line.strip()]

    def prepare_value(self, value: Any) -> Any:
        """Return a list as lines."""
        return "\n".join(value) if isinstance(value, list | tuple) else value


class BranchesField(LinesField):
    """The branches of a bank, one on each line, as names and numbers: tuned_order 4.7, capacitance_uf 50."""

    def to_python(self, value: Any) -> list[dict[str, float]]:  # type: ignore[override]
        """Return the ratings of each branch."""
        return [self._branch(line, place) for place, line in enumerate(super().to_python(value), start=1)]  # type: ignore[arg-type]

    def _branch(self, line: str, place: int) -> dict[str, float]:
        found: dict[str, float] = {}
        for part in line.split(","):
            name, _, number = part.strip().replace("=", " ").partition(" ")
            if name not in BRANCH_RATINGS:
                known = ", ".join(BRANCH_RATINGS)
                raise ValidationError(f"Line {place}: “{name[:40]}” is no rating of a branch; write {known}.")
            try:
                found[name] = float(number)
            except ValueError:
                raise ValidationError(f"Line {place}: “{number[:40]}” after {name} is not a number.") from None
        return found

    def prepare_value(self, value: Any) -> Any:
        """Return branches as lines."""
        if isinstance(value, list | tuple) and all(isinstance(one, dict) for one in value):
            return "\n".join(", ".join(f"{name} {number:g}" for name, number in one.items()) for one in value)
        return super().prepare_value(value)


class DayField(forms.DateField):
    """A day, picked or typed."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        super().__init__(**options)


def rating_form_field(field: RatingField) -> forms.Field:
    """Return the form field of one line of a nameplate; its unit stands in the label."""
    label = f"{field.label}, {field.unit}" if field.unit else field.label
    shared: dict[str, Any] = {"label": label, "help_text": field.help, "required": False}
    if field.form == "number":
        return NumberField(**shared)
    if field.form == "whole":
        choices = [("", "Not stated"), ("1", "1"), ("3", "3")]
        return forms.TypedChoiceField(choices=choices, coerce=int, empty_value=None, **shared)
    if field.form == "choice":
        options = [(choice, choice.replace("_", " ")) for choice in field.choices]
        return forms.ChoiceField(choices=[("", "Not stated"), *options], **shared)
    if field.form == "branches":
        return BranchesField(**shared)
    if field.form == "choices":
        named = [(choice, TEST_CLASSES.get(choice, choice)) for choice in field.choices]
        return forms.MultipleChoiceField(choices=named, widget=forms.CheckboxSelectMultiple, **shared)
    return forms.CharField(max_length=200, **shared)
