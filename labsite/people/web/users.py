"""Pages of accounts."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from labsite.ledger.selectors import history_of
from labsite.people.access import roles_required
from labsite.people.models import AccessToken, User
from labsite.people.roles import LABORATORY_ROLES, Role
from labsite.people.services import create_user, revoke_token, set_roles, switch_off_user, switch_on_user
from labsite.people.web.forms import NewUserForm, RolesForm, SwitchForm

PAGE_SIZE = 50
administrator_only = roles_required(Role.ADMINISTRATOR)


@roles_required(Role.ADMINISTRATOR, *LABORATORY_ROLES)
def people(request: HttpRequest) -> HttpResponse:
    """List the people, with a search."""
    sought = request.GET.get("q", "").strip()
    found = User.objects.visible_to(request.user).matching(sought).for_list()
    page = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "people/people.html", {"page_obj": page, "sought": sought})


@administrator_only
def create(request: HttpRequest) -> HttpResponse:
    """Open an account."""
    form = NewUserForm(request.POST or None, viewer=request.user)
    if form.is_valid():
        try:
            user = create_user(**form.cleaned_data, by=request.user)
        except ValidationError as error:
            form.add_error(None, _at_fields(error))
        else:
            messages.success(request, f"{user.name} can sign in now.")
            return redirect("people:detail", user.pk)
    return render(request, "people/create.html", {"form": form})


@administrator_only
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    """Show an account with its tokens and its history."""
    person = get_object_or_404(User.objects.visible_to(request.user).for_list(), pk=pk)
    context = {
        "person": person,
        "tokens": AccessToken.objects.visible_to(request.user).of(person),
        "switch_form": SwitchForm(),
        "entries": history_of("people.user", person.pk, request.user),
    }
    return render(request, "people/detail.html", context)


@administrator_only
def edit_roles(request: HttpRequest, pk: int) -> HttpResponse:
    """Give and take roles."""
    person = get_object_or_404(User.objects.visible_to(request.user).for_list(), pk=pk)
    form = RolesForm(request.POST) if request.method == "POST" else RolesForm.of(person)
    if form.is_valid():
        try:
            set_roles(user=person, **form.cleaned_data, by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"The roles of {person.name} are stored.")
            return redirect("people:detail", person.pk)
    return render(request, "people/roles.html", {"form": form, "person": person})


@require_POST
@administrator_only
def switch(request: HttpRequest, pk: int) -> HttpResponse:
    """Switch an account off, or on again."""
    person = get_object_or_404(User.objects.visible_to(request.user).for_list(), pk=pk)
    service = switch_off_user if person.is_active else switch_on_user
    try:
        service(user=person, reason=request.POST.get("reason", ""), by=request.user)
    except ValidationError as error:
        messages.error(request, f"Nothing was changed. {' '.join(error.messages)}")
    return redirect("people:detail", person.pk)


@require_POST
@administrator_only
def revoke(request: HttpRequest, pk: int, token_pk: int) -> HttpResponse:
    """Revoke a token."""
    person = get_object_or_404(User.objects.visible_to(request.user), pk=pk)
    token = get_object_or_404(AccessToken.objects.visible_to(request.user).of(person), pk=token_pk)
    revoke_token(token=token, by=request.user)
    messages.success(request, f"The token {token.label} is revoked; programs that use it are refused from now on.")
    return redirect("people:detail", person.pk)


def _at_fields(error: ValidationError) -> ValidationError:
    """Put what the password rules refuse, which name no field, at the password."""
    return error if hasattr(error, "error_dict") else ValidationError({"password": error.messages})
