"""One way for a page with one form that does one deed to an instrument: ask, do, or say what stands against it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from equipment.models import Instrument


def the_instrument(request: HttpRequest, pk: int) -> Instrument:
    """Return the instrument that this person may see, else 404."""
    return get_object_or_404(Instrument.objects.visible_to(request.user), pk=pk)


def carried_out(form: forms.Form, deed: Callable[[], Any]) -> Any:
    """Return what the deed gave; where the form or the deed refuses, None, with the words at the fields."""
    if not form.is_valid():
        return None
    try:
        return deed()
    except ValidationError as error:
        parts = error.error_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: [error]}
        for name, found in parts.items():
            form.add_error(name if name in form.fields else None, found)
    return None


def deed_page(
    request: HttpRequest,
    form: forms.Form,
    deed: Callable[[], Any],
    *,
    title: str,
    said: str,
    done: tuple[Any, ...],
    button: str = "Store",
    help_text: str = "",
    **context: Any,
) -> HttpResponse:
    """Show the form of a deed, or carry it out and lead to the page `done` (a view's name and what it takes)."""
    if request.method == "POST" and carried_out(form, lambda: (deed(), True)):
        messages.success(request, said)
        return redirect(*done)
    context |= {"form": form, "title": title, "button": button, "help_text": help_text}
    return render(request, "equipment/form.html", context, status=422 if form.errors else 200)
