"""The password again, shortly before a signature."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

ATTEMPTS = 5
WINDOW_S = 300
SESSION_KEY = "stepped_up"
WRONG = "This is not your password. Nothing was done; try again."
TOO_MANY = "The password was wrong too often. Nothing was done; wait five minutes, then try again."


def has_stepped_up(request: HttpRequest) -> bool:
    """Say whether this person gave the password in this session within the last STEP_UP_SECONDS."""
    noted = request.session.get(SESSION_KEY) or {}
    age_s = time.time() - noted.get("at", 0)
    return noted.get("user") == request.user.pk and 0 <= age_s <= settings.STEP_UP_SECONDS


def step_up(request: HttpRequest, password: str) -> bool:
    """Check the password and note the step-up in the session; return whether it was right."""
    if not confirm_password(request, password):
        return False
    request.session[SESSION_KEY] = {"user": request.user.pk, "at": time.time()}
    return True


def confirm_password(request: HttpRequest, password: str) -> bool:
    """Say whether this is the signed-in person's password; every wrong try counts, and after five all are refused."""
    user: Any = request.user
    if not user.is_active or not _take_attempt(user.pk):
        return False
    if not user.check_password(password):
        return False
    cache.delete_many(_attempt_keys(user.pk))
    return True


def is_locked(user: Any) -> bool:
    """Say whether this person has used up the attempts."""
    return len(cache.get_many(_attempt_keys(user.pk))) == ATTEMPTS


def _attempt_keys(user_id: int) -> list[str]:
    return [f"step-up:{user_id}:{number}" for number in range(ATTEMPTS)]


def _take_attempt(user_id: int) -> bool:
    """Use up one attempt; `add` is atomic in Redis and in the table, where a counter would lose some."""
    return any(cache.add(key, 1, WINDOW_S) for key in _attempt_keys(user_id))


class StepUpForm(forms.Form):
    """A form, or a mixin of one, that asks for the password again; needs `request`."""

    password = forms.CharField(
        label="Your password",
        help_text="Asked again because this is your signature.",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, request: HttpRequest, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request

    def clean_password(self) -> str:
        """Refuse a wrong password in words, and every password after five wrong ones."""
        password: str = self.cleaned_data["password"]
        if is_locked(self.request.user):
            raise forms.ValidationError(TOO_MANY)
        if not step_up(self.request, password):
            raise forms.ValidationError(TOO_MANY if is_locked(self.request.user) else WRONG)
        return password


def step_up_required(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Let a view run only soon after a step-up; else ask for the password and come back to the same page."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if has_stepped_up(request):
            return view(request, *args, **kwargs)
        address = f"{reverse('people:step-up')}?{urlencode({'next': request.get_full_path()})}"
        return HttpResponseRedirect(address)

    return guarded
