"""Pages that import a list of instruments, and print labels."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from equipment.models import InstrumentImport
from equipment.selectors import instrument_board
from equipment.selectors.labels import labels as labels_of
from equipment.services import imports
from equipment.services.rights import RIGHTS
from equipment.web.deeds import carried_out
from equipment.web.forms import BoardForm
from equipment.web.upkeep_forms import ImportForm, ListForm
from labsite.people.access import roles_required
from labsite.people.roles import LABORATORY_ROLES

importers_only = roles_required(*RIGHTS["import_instruments"])
SHOWN_ROWS, MOST_LABELS = 200, 240


@importers_only
def read_list(request: HttpRequest) -> HttpResponse:
    """Read a list for the preview."""
    form = ListForm(request.POST or None, request.FILES or None)

    def read() -> InstrumentImport:
        file = form.cleaned_data["file"]
        return imports.read_list(given_name=file.name, content=file.read(), by=request.user)

    made = carried_out(form, read)
    if made is not None:
        return redirect("equipment:import-list", made.pk)
    context = {"form": form, "title": "Import a list of instruments", "button": "Read the list"}
    return render(request, "equipment/form.html", context, status=422 if form.errors else 200)


@importers_only
def listed(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a list would bring and what stands against it; import it whole."""
    row = get_object_or_404(InstrumentImport.objects.visible_to(request.user), pk=pk)
    form = ImportForm(request.POST if request.method == "POST" else None)
    made = carried_out(form, lambda: imports.import_list(listed=row, by=request.user))
    if made is not None:
        messages.success(request, f"{len(made)} instruments are imported.")
        return redirect("equipment:instruments")
    names = [name for name in (row.rows[0] if row.rows else {}) if name != "row"]
    context: dict[str, Any] = {
        "listed": row,
        "form": form,
        "heads": [name.replace("_", " ") for name in names],
        "rows": [(said["row"], [said.get(name, "") for name in names]) for said in row.rows[:SHOWN_ROWS]],
        "more": max(len(row.rows) - SHOWN_ROWS, 0),
    }
    return render(request, "equipment/import.html", context, status=422 if form.errors else 200)


@require_GET
@roles_required(*LABORATORY_ROLES)
def labels(request: HttpRequest) -> HttpResponse:
    """Show a sheet of labels with QR codes, narrowed as the board is."""
    wanted = BoardForm(request.GET).wanted()
    narrowed = {name: wanted[name] for name in ("board", "quantity", "text")}
    rows = instrument_board(request.user, timezone.localdate(), **narrowed).rows[:MOST_LABELS]
    made = labels_of(rows, lambda item: request.build_absolute_uri(reverse("equipment:detail", args=[item.pk])))
    return render(request, "equipment/labels.html", {"labels": made, "most": MOST_LABELS})
