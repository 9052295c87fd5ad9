"""What a witness types to sign."""

from __future__ import annotations

from django import forms

from labsite.people.step_up import StepUpForm


class SignatureForm(forms.Form):
    """The name as it shall be printed, and the digest that was shown."""

    printed_name = forms.CharField(
        label="Your name, as it shall be printed",
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    digest = forms.CharField(max_length=64, widget=forms.HiddenInput)


class CodeForm(SignatureForm):
    """The signature of a witness without an account: the code takes the place of the password."""

    code = forms.CharField(
        label="The code that the laboratory gave you",
        help_text="Eight digits. After five wrong ones the invitation is revoked.",
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "numeric"}),
    )


class PasswordForm(StepUpForm, SignatureForm):
    """The signature of a witness with an account."""

    field_order = ("printed_name", "password", "digest")
