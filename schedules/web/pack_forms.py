"""Forms of rule packs: writing, trying, confirming rows, and what unconfirmed rows block."""

from __future__ import annotations

import json
from typing import Any

from django import forms

from schedules.models import PackVersion
from schedules.rules.packs import SHIPPED
from schedules.selectors.packs import RowLine
from schedules.web.forms import REASON_HELP, RefusableForm

SAMPLE = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110}
BEGIN_WITH = "agreed_discharge_practice"
CONTENT_HELP = "TOML. What is wrong is named with its key and the mend; nothing you typed is lost."


class PackForm(RefusableForm):
    """A pack of the laboratory's own as its text."""

    name = forms.CharField(max_length=60, help_text="Small letters, digits and underscores, such as works_reactors.")
    content = forms.CharField(
        label="Text",
        strip=False,
        help_text=CONTENT_HELP,
        widget=forms.Textarea(attrs={"class": "code", "spellcheck": "false"}),
    )

    @classmethod
    def begun_with(cls, pack: PackVersion | None, sent: Any) -> PackForm:
        """Return the form with a text to begin with: the version before, else a short pack that ships."""
        if pack is not None:
            return cls(sent, initial={"name": pack.name, "content": pack.content})
        return cls(sent, initial={"content": (SHIPPED / f"{BEGIN_WITH}.toml").read_text(encoding="utf-8")})


class PackEditForm(RefusableForm):
    """The text of a version that nobody has confirmed yet."""

    content = PackForm.base_fields["content"]
    version = forms.IntegerField(widget=forms.HiddenInput)


class TrialForm(RefusableForm):
    """Sample ratings to try a pack on."""

    sample = forms.CharField(
        label="Sample ratings",
        max_length=20_000,
        initial=json.dumps(SAMPLE, indent=2),
        help_text="JSON, as for the shell command derive. Nothing is stored.",
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
    )

    def clean_sample(self) -> Any:
        """Return the ratings, or say where the text is no JSON."""
        try:
            return json.loads(self.cleaned_data["sample"])
        except json.JSONDecodeError as fault:
            place = f"line {fault.lineno}, column {fault.colno}"
            raise forms.ValidationError(f"Not JSON at {place}: {fault.msg}. Mend the text there.") from None
        except (RecursionError, ValueError):
            raise forms.ValidationError("Nested too deep, or a number too long. Write one flat object.") from None

    def ratings(self) -> Any:
        """Return what was entered."""
        return self.cleaned_data["sample"]


class RowsForm(RefusableForm):
    """Which rows of a shipped pack were compared with which copy."""

    digests = forms.MultipleChoiceField(label="Rows", widget=forms.CheckboxSelectMultiple)
    copy = forms.CharField(
        label="Licensed copy", max_length=200, help_text="Edition, language, and where your copy is kept."
    )

    def __init__(self, *args: Any, lines: list[RowLine], **options: Any) -> None:
        super().__init__(*args, **options)
        open_rows = [line.row for line in lines if line.confirmation is None]
        self.fields["digests"].choices = [(row.digest, row.key) for row in open_rows]  # type: ignore[attr-defined]


class PolicyForm(RefusableForm):
    """Whether unconfirmed rows keep a unit from its certificate."""

    blocks = forms.BooleanField(
        label="Unconfirmed rows block certificates", required=False, help_text="Else they are only marked on the plan."
    )
    reason = forms.CharField(label="Why", max_length=500, help_text=REASON_HELP)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def decision(self) -> dict[str, Any]:
        """Return what the service asks for."""
        given = self.cleaned_data
        return {"blocks_certificates": given["blocks"], "version": given["version"], "reason": given["reason"]}
