"""Forms of accounts, organisations and the laboratory."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from labsite.people.models import Laboratory, Organisation, User
from labsite.people.roles import Role
from labsite.people.services.numbering import SERIES, check_pattern
from labsite.people.step_up import StepUpForm

ROLE_HELP = "Laboratory roles for the laboratory's own people; customer and witness for everybody else."


class RolesForm(forms.Form):
    """Which roles a person holds, and which were held when the form was opened."""

    roles = forms.MultipleChoiceField(choices=Role.choices, widget=forms.CheckboxSelectMultiple, help_text=ROLE_HELP)
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean_seen(self) -> list[str]:
        """Return the roles as a list."""
        return [role for role in self.cleaned_data["seen"].split(",") if role]

    @classmethod
    def of(cls, user: User) -> RolesForm:
        """Return the form as it stands for this person."""
        held = sorted(user.role_names)
        return cls(initial={"roles": held, "seen": ",".join(held)})


class NewUserForm(forms.Form):
    """A new account."""

    email = forms.EmailField(label="E-mail address", help_text="The person signs in with it.", max_length=254)
    name = forms.CharField(max_length=120, help_text="As certificates and signatures print it.")
    organisation = forms.ModelChoiceField(queryset=None)
    roles = forms.MultipleChoiceField(choices=Role.choices, widget=forms.CheckboxSelectMultiple, help_text=ROLE_HELP)
    password = forms.CharField(
        label="First password",
        required=False,
        strip=False,
        help_text="15 characters or more. Left empty, the person sets one by “Forgotten password”.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, viewer: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["organisation"].queryset = Organisation.objects.visible_to(viewer)

    def clean_password(self) -> str | None:
        """Return None where no password was given."""
        return self.cleaned_data["password"] or None


class TokenForm(StepUpForm):
    """Which program gets a token, and the password again."""

    label = forms.CharField(label="Program", max_length=80, help_text="What will use it, and on which computer.")
    field_order = ("label", "password")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].help_text = "Asked again because a token acts in your name."


class SwitchForm(forms.Form):
    """Why an account is switched off or on."""

    reason = forms.CharField(max_length=500, help_text="It stays in the history of this account.")


class OrganisationForm(forms.ModelForm):
    """A company."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Organisation
        fields = ("name", "address")

    def validate_unique(self) -> None:
        """Leave it to the service, which compares without case."""


class LaboratoryForm(forms.ModelForm):
    """What certificates and numbers say of the laboratory."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    logo = forms.ImageField(required=False, help_text="PNG or JPEG; printed at the head of certificates.")

    class Meta:
        model = Laboratory
        fields = ("name", "address", "logo", *(f"{series}_pattern" for series in SERIES))
        help_texts = {"order_pattern": "{year} and {n} are filled in; {n:04d} writes four digits: O-2026-0001."}

    def clean(self) -> dict[str, Any]:
        """Refuse patterns that make no numbers, each at its field."""
        cleaned = super().clean() or {}
        for series in SERIES:
            name = f"{series}_pattern"
            try:
                check_pattern(cleaned.get(name, "{n}"))
            except ValidationError as error:
                self.add_error(name, error)
        return cleaned

    def changes(self) -> dict[str, Any]:
        """Return what the service may change; a logo only when a new one was chosen."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if name != "version" and (name != "logo" or "logo" in self.changed_data)
        }
