"""What people type about certificates."""

from __future__ import annotations

from typing import Any

from django import forms

from labsite.people.step_up import StepUpForm
from records.services.verification import LARGEST_BYTES, cleaned_digest, digest_of_chunks


class IssueForm(StepUpForm):
    """The approver's signature: the digest that was shown, and the password again."""

    digest = forms.CharField(widget=forms.HiddenInput, max_length=64)


class AmendForm(forms.Form):
    """Why an issued certificate is replaced."""

    reason = forms.CharField(
        label="What changes, and why",
        help_text="Printed on the amendment, which gets a new number.",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class WithdrawForm(forms.Form):
    """Why a certificate is no longer valid."""

    reason = forms.CharField(
        label="Why it is withdrawn",
        help_text="Kept with the certificate for good.",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class NumberForm(forms.Form):
    """The number on a certificate in somebody's hands."""

    number = forms.CharField(label="Number of the certificate", max_length=60)


class CompareForm(forms.Form):
    """A file or a digest to compare."""

    file = forms.FileField(label="The PDF you hold", required=False, help_text="It is compared and not kept.")
    digest = forms.CharField(
        label="Or the digest printed on it",
        required=False,
        max_length=200,
        help_text="64 digits and letters a to f; blanks do not matter.",
    )

    def clean(self) -> dict[str, Any]:
        """Find the digest of what was given, or say what is needed."""
        cleaned = super().clean() or {}
        file, text = cleaned.get("file"), cleaned.get("digest", "")
        if file and file.size > LARGEST_BYTES:
            raise forms.ValidationError("This file is larger than any certificate of ours. Nothing was compared.")
        if file:
            cleaned["found"] = digest_of_chunks(file.chunks())
        elif text:
            cleaned["found"] = cleaned_digest(text)
            if cleaned["found"] is None:
                raise forms.ValidationError("A digest has 64 digits and letters a to f. Nothing was compared.")
        elif not self.errors:
            raise forms.ValidationError("Choose the PDF, or paste the digest printed on its first page.")
        return cleaned
