"""Forms of orders, units, plans, authorisations and bays; the rules stand in the services."""

from __future__ import annotations

from typing import Any

from django import forms

from labsite.people.models import Organisation, User
from labsite.people.roles import LABORATORY_ROLES
from schedules.models import Authorisation, Bay, Order, RevisionReview, Unit
from schedules.rules import EQUIPMENT_KINDS, STEP_KINDS, load_packs
from schedules.selectors import nameplate_fields
from schedules.selectors.nameplates import nameplate_parts
from schedules.services.refusals import ScheduleRefused
from schedules.web.fields import DayField, LinesField, NumberField, rating_form_field

REASON_HELP = "It stays in the history."


class RefusableForm(forms.Form):
    """A form that shows what a service refused, each sentence by its field."""

    def refuse(self, refused: ScheduleRefused) -> None:
        """Put every refusal at its field, or above the form where it has none."""
        for refusal in refused.refusals:
            self.add_error(refusal.field if refusal.field in self.fields else None, refusal.words)


class OrderForm(RefusableForm):
    """What was agreed with the customer."""

    customer = forms.ModelChoiceField(queryset=None)
    purchase_reference = forms.CharField(max_length=120, help_text="The customer's own number of the purchase.")
    standards = LinesField(required=False, help_text="One document on each line; empty: the usual one for the unit.")
    decision_rule = forms.ChoiceField(
        choices=Order.DecisionRule.choices, help_text="Agreed with the customer before any test (ISO/IEC 17025 7.1.3)."
    )
    guard_factor = NumberField(
        label="Guard factor r", required=False, help_text="Only for the customer's own rule: r of w = r·U."
    )
    statements = forms.ChoiceField(
        choices=Order.Statements.choices,
        required=False,
        initial=Order.Statements.TWO,
        help_text="Four states need a rule with a guard band.",
    )
    discharge_procedure = forms.ChoiceField(
        choices=Order.DischargeProcedure.choices,
        required=False,
        initial=Order.DischargeProcedure.AGREED_PRACTICE,
        help_text="A unit whose documents do not have it takes its own document's.",
    )
    hold_kinds = forms.MultipleChoiceField(
        label="Hold points",
        choices=list(STEP_KINDS.items()),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="These tests wait for a release by an approver.",
    )
    witness_kinds = forms.MultipleChoiceField(
        label="Witness points",
        choices=list(STEP_KINDS.items()),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="To these tests the witness is invited in time.",
    )
    wanted_on = DayField(label="Wanted on", required=False)
    remarks = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, viewer: User, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["customer"].queryset = Organisation.objects.visible_to(viewer).customers()  # type: ignore[attr-defined]
        known = ", ".join(sorted({pack.document for pack in load_packs()}))
        self.fields["standards"].help_text += f" Known: {known}."

    def clean_statements(self) -> str:
        """Return the kind of statement; two states where nothing was sent."""
        return str(self.cleaned_data["statements"] or Order.Statements.TWO)


class OrderEditForm(OrderForm):
    """The same, for an order that stands."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label="Why it changes", required=False, max_length=500, help_text="Needed once the contract was reviewed."
    )

    @classmethod
    def of(cls, order: Order, sent: Any, viewer: User) -> OrderEditForm:
        """Return the form as it stands for this order."""
        names = [name for name in cls.base_fields if name not in ("version", "reason")]
        initial = {name: getattr(order, name) for name in names} | {"version": order.version}
        return cls(sent, initial=initial, viewer=viewer)

    def edit(self) -> dict[str, Any]:
        """Return version, changes and reason for the service."""
        return edited(self)


class VersionForm(forms.Form):
    """What the person saw when pressing a button."""

    version = forms.IntegerField(widget=forms.HiddenInput)


class NameplateForm(RefusableForm):
    """Ratings of one kind of equipment, with what is known of the unit itself."""

    design = forms.CharField(
        required=False, max_length=80, help_text="Units of one design share their type tests; the maker's drawing."
    )
    received_on = DayField(label="Received on", required=False)
    condition = forms.CharField(label="Condition on arrival", required=False, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, equipment: str, **options: Any) -> None:
        super().__init__(*args, **options)
        self.equipment = equipment
        self.plate = nameplate_fields(equipment)
        for field in self.plate:
            self.fields[field.name] = rating_form_field(field)

    def parts(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Return the fields in parts: the unit itself, then those of its nameplate."""
        plate = nameplate_parts(self.equipment)
        taken = {name for _, names in plate for name in names}
        own = [field for field in self.visible_fields() if field.name not in taken and field.name != "reason"]
        parts = [("The unit", own), *((title, [self[name] for name in names]) for title, names in plate)]
        return [*parts, ("Why", [self["reason"]])] if "reason" in self.fields else parts

    def ratings(self) -> dict[str, Any]:
        """Return what the nameplate states."""
        stated = {field.name: self.cleaned_data[field.name] for field in self.plate}
        return {name: value for name, value in stated.items() if value not in (None, "", [])}

    def plate_values(self) -> dict[str, Any]:
        """Return what the services ask for."""
        own = {name: self.cleaned_data[name] for name in ("design", "received_on", "condition")}
        return own | {"equipment": self.equipment, "ratings": self.ratings()}


class UnitsForm(NameplateForm):
    """Several alike units at once."""

    serials = LinesField(label="Serial numbers", help_text="One on each line; all get the same nameplate.")
    field_order = ("serials",)


class UnitEditForm(NameplateForm):
    """One unit that stands."""

    serial = forms.CharField(label="Serial number", max_length=80)
    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label="Why it changes", required=False, max_length=500, help_text="Needed for ratings under a plan."
    )
    field_order = ("serial",)

    @classmethod
    def of(cls, unit: Unit, sent: Any, equipment: str) -> UnitEditForm:
        """Return the form as it stands for this unit."""
        own = ("serial", "design", "received_on", "condition", "version")
        initial = unit.ratings | {name: getattr(unit, name) for name in own}
        return cls(sent, initial=initial, equipment=equipment)

    def edit(self) -> dict[str, Any]:
        """Return version, changes and reason for the service."""
        changes = self.plate_values() | {"serial": self.cleaned_data["serial"]}
        return {"version": self.cleaned_data["version"], "reason": self.cleaned_data["reason"], "changes": changes}


class EquipmentForm(forms.Form):
    """Which nameplate to show."""

    equipment = forms.ChoiceField(choices=list(EQUIPMENT_KINDS.items()), label="Kind of equipment")


class PhotoForm(RefusableForm):
    """A photograph of a unit."""

    image = forms.FileField(
        label="Photograph",
        help_text="JPEG, PNG or WebP, up to 20 MB; kept byte for byte.",
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        allow_empty_file=True,
    )
    caption = forms.CharField(required=False, max_length=200, help_text="What it shows.")


class AdoptForm(RefusableForm):
    """The plan that was read, and why a new revision is made."""

    expected_digest = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    reason = forms.CharField(label="Why a new revision", required=False, max_length=500, help_text=REASON_HELP)


class ReasonForm(RefusableForm):
    """Why a hold point is released."""

    reason = forms.CharField(label="Why it may be passed", max_length=1000, help_text=REASON_HELP)


class ReviewForm(RefusableForm):
    """Whether what was done by the revision before stands, and why."""

    decision = forms.ChoiceField(choices=RevisionReview.Decision.choices)
    reason = forms.CharField(label="Why", max_length=1000, help_text=REASON_HELP)


class AuthorisationForm(RefusableForm):
    """Who may do which kind of test, from when until when."""

    user = forms.ModelChoiceField(label="Person", queryset=None)
    kind = forms.ChoiceField(label="Kind of test", choices=list(STEP_KINDS.items()))
    activity = forms.ChoiceField(choices=Authorisation.Activity.choices)
    valid_from = DayField(label="From")
    valid_until = DayField(label="Until", help_text="The last day on which it holds.")

    def __init__(self, *args: Any, viewer: User, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["user"].queryset = User.objects.visible_to(viewer).holding(*LABORATORY_ROLES)  # type: ignore[attr-defined]


class EndingForm(RefusableForm):
    """When and why an authorisation ends."""

    last_day = DayField(label="Last day", help_text="The last day on which it holds; yesterday at the earliest.")
    reason = forms.CharField(label="Why it ends", max_length=500, help_text=REASON_HELP)


class BayForm(RefusableForm):
    """A bay and its source."""

    name = forms.CharField(max_length=60)
    source_kv = NumberField(label="Highest voltage of the source, kV")
    source_kva = NumberField(label="Power of the source, kVA")
    frequency_hz = NumberField(label="Frequency, Hz", initial=50)
    residual_discharge_pc = NumberField(
        label="Own discharges, pC", initial=5, help_text="The greatest charge read with nothing connected."
    )
    generator_kv = NumberField(
        label="Impulse generator, kV", required=False, help_text="Charging voltage summed over the stages."
    )
    generator_kj = NumberField(
        label="Impulse generator, kJ", required=False, help_text="Stored energy at that voltage."
    )
    direct_kv = NumberField(
        label="Direct-voltage source, kV", required=False, help_text="Empty where the bay has none."
    )
    direct_ma = NumberField(
        label="Direct-voltage source, mA", required=False, help_text="What it charges with, continuously."
    )


class BayEditForm(BayForm):
    """A bay that stands."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label="Why it changes", max_length=500, help_text=REASON_HELP)

    @classmethod
    def of(cls, bay: Bay, sent: Any) -> BayEditForm:
        """Return the form as it stands for this bay."""
        names = [name for name in cls.base_fields if name != "reason"]
        return cls(sent, initial={name: getattr(bay, name) for name in names})

    def edit(self) -> dict[str, Any]:
        """Return version, changes and reason for the service."""
        return edited(self)


class AuthorisationEditForm(RefusableForm):
    """An authorisation that was entered wrongly."""

    kind = forms.ChoiceField(label="Kind of test", choices=list(STEP_KINDS.items()))
    activity = forms.ChoiceField(label="May", choices=Authorisation.Activity.choices)
    valid_from = DayField(label="From")
    valid_until = DayField(label="Until", help_text="The last day on which it holds.")
    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label="What was wrong", max_length=500, help_text=REASON_HELP)

    @classmethod
    def of(cls, authorisation: Authorisation, sent: Any) -> AuthorisationEditForm:
        """Return the form as it stands for this authorisation."""
        names = [name for name in cls.base_fields if name != "reason"]
        return cls(sent, initial={name: getattr(authorisation, name) for name in names})

    def edit(self) -> dict[str, Any]:
        """Return version, changes and reason for the service."""
        return edited(self)


def edited(form: forms.Form) -> dict[str, Any]:
    """Return version, changes and reason of a form for the service that it goes to."""
    changes = dict(form.cleaned_data)
    return {"version": changes.pop("version"), "reason": changes.pop("reason"), "changes": changes}
