"""The page of the laboratory itself."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from labsite.ledger.selectors import history_of
from labsite.people.access import roles_required
from labsite.people.roles import Role
from labsite.people.selectors import get_laboratory
from labsite.people.services import edit_laboratory
from labsite.people.web.forms import LaboratoryForm

PICTURE_TYPES = {"png": "image/png", "jpg": "image/jpeg", "jpeg": "image/jpeg"}


@roles_required(Role.ADMINISTRATOR)
def laboratory(request: HttpRequest) -> HttpResponse:
    """Show and edit what certificates and numbers say of the laboratory."""
    row = get_laboratory()
    initial = {"version": row.version}
    form = LaboratoryForm(request.POST or None, request.FILES or None, instance=row, initial=initial)
    if form.is_valid():
        try:
            edit_laboratory(version=form.cleaned_data["version"], changes=form.changes(), by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "The laboratory's data are stored; new certificates and numbers use them.")
            return redirect("people:laboratory")
    entries = history_of("people.laboratory", 1, request.user)
    return render(request, "people/laboratory.html", {"form": form, "laboratory": row, "entries": entries})


@roles_required(Role.ADMINISTRATOR)
def logo(request: HttpRequest) -> FileResponse:
    """Send the logo as certificates print it."""
    image = get_laboratory().logo
    kind = PICTURE_TYPES.get(image.name.rpartition(".")[2].lower()) if image else None
    if kind is None:
        raise Http404
    return FileResponse(image.open("rb"), content_type=kind)
