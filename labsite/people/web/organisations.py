"""Pages of organisations."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from labsite.ledger.selectors import history_of
from labsite.people.access import roles_required
from labsite.people.models import Organisation
from labsite.people.roles import Role
from labsite.people.services import create_organisation, edit_organisation
from labsite.people.web.forms import OrganisationForm

administrator_only = roles_required(Role.ADMINISTRATOR)


@administrator_only
def organisations(request: HttpRequest) -> HttpResponse:
    """List the organisations."""
    found = Organisation.objects.visible_to(request.user).for_list()
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    return render(request, "people/organisations.html", {"page_obj": page})


@administrator_only
def create(request: HttpRequest) -> HttpResponse:
    """Enter an organisation."""
    form = OrganisationForm(request.POST or None)
    if form.is_valid():
        values = {name: form.cleaned_data[name] for name in ("name", "address")}
        try:
            made = create_organisation(**values, by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"{made.name} is entered. Open accounts for its people next.")
            return redirect("people:organisations")
    return render(request, "people/organisation.html", {"form": form})


@administrator_only
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct an organisation."""
    organisation = get_object_or_404(Organisation.objects.visible_to(request.user), pk=pk)
    form = OrganisationForm(request.POST or None, instance=organisation, initial={"version": organisation.version})
    if form.is_valid():
        try:
            edit_organisation(organisation=organisation, **form.cleaned_data, by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "The organisation is stored.")
            return redirect("people:organisations")
    entries = history_of("people.organisation", organisation.pk, request.user)
    return render(request, "people/organisation.html", {"form": form, "organisation": organisation, "entries": entries})
