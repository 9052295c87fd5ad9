"""The library's sign-in form in this site's words."""

from __future__ import annotations

from typing import Any

from allauth.account.forms import LoginForm


class SignInForm(LoginForm):
    """E-mail address and password."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["login"].label = "E-mail address"
        self.fields["login"].widget.attrs.pop("placeholder", None)
        self.fields["password"].widget.attrs.pop("placeholder", None)
        if "remember" in self.fields:
            self.fields["remember"].label = "Stay signed in on this device"
