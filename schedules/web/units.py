"""Pages of units."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from schedules.models import Order, Unit, UnitPhoto
from schedules.rules import EQUIPMENT_KINDS
from schedules.selectors import unit_detail, unit_history, unit_overview, unit_rows, units_matching
from schedules.services.photographs import add_photo
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import deeds_of
from schedules.services.units import edit_unit, enter_units
from schedules.web.access import laboratory_only, sent
from schedules.web.forms import EquipmentForm, PhotoForm, UnitEditForm, UnitsForm

PAGE_SIZE = 50
PICTURE_TYPES = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


@laboratory_only
def units(request: HttpRequest) -> HttpResponse:
    """List the units, with a search and a filter."""
    sought, equipment = request.GET.get("q", "").strip(), request.GET.get("equipment", "")
    found = unit_overview(units_matching(request.user, words=sought, equipment=equipment))
    page = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "page_obj": page,
        "rows": unit_rows(page.object_list),
        "sought": sought,
        "equipment": equipment,
        "kinds": EQUIPMENT_KINDS,
    }
    return render(request, "schedules/units.html", context)


@laboratory_only
def unit(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one unit with its nameplate, photographs and plan."""
    found = get_object_or_404(Unit.objects.visible_to(request.user).for_detail(), pk=pk)
    context = {"detail": unit_detail(found), "unit": found, "rights": deeds_of(request.user)}
    return render(request, "schedules/unit.html", context)


@laboratory_only
def create(request: HttpRequest, order_pk: int) -> HttpResponse:
    """Enter units under an order: the kind of equipment first, then its nameplate."""
    order = get_object_or_404(Order.objects.visible_to(request.user).for_detail(), pk=order_pk)
    chosen = EquipmentForm(request.GET or None)
    if not chosen.is_valid():
        return render(request, "schedules/unit_kind.html", {"order": order, "kinds": EQUIPMENT_KINDS})
    equipment = chosen.cleaned_data["equipment"]
    form = UnitsForm(sent(request), equipment=equipment)
    if form.is_valid():
        try:
            made = enter_units(
                order=order, serials=form.cleaned_data["serials"], **form.plate_values(), by=request.user
            )
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Entered: {', '.join(unit.serial for unit in made)}.")
            return redirect("schedules:unit", made[0].pk) if len(made) == 1 else redirect("schedules:order", order.pk)
    context = {"form": form, "order": order, "equipment": EQUIPMENT_KINDS[equipment]}
    return render(request, "schedules/unit_form.html", context)


@laboratory_only
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a unit; `?equipment=` changes its kind."""
    found = get_object_or_404(Unit.objects.visible_to(request.user).for_detail(), pk=pk)
    chosen = EquipmentForm({"equipment": request.GET.get("equipment", found.equipment)})
    equipment = chosen.cleaned_data["equipment"] if chosen.is_valid() else found.equipment
    form = UnitEditForm.of(found, sent(request), equipment)
    if form.is_valid():
        try:
            edit_unit(unit=found, **form.edit(), by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{found.number} is stored.")
            return redirect("schedules:unit", found.pk)
    context = {"form": form, "unit": found, "order": found.order, "equipment": EQUIPMENT_KINDS.get(equipment)}
    return render(request, "schedules/unit_form.html", context)


@laboratory_only
def photo(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a photograph."""
    found = get_object_or_404(Unit.objects.visible_to(request.user), pk=pk)
    form = PhotoForm(sent(request), request.FILES)
    if form.is_valid():
        try:
            add_photo(
                unit=found, file=form.cleaned_data["image"], caption=form.cleaned_data["caption"], by=request.user
            )
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "The photograph is kept.")
            return redirect("schedules:unit", found.pk)
    return render(request, "schedules/photo_form.html", {"form": form, "unit": found})


@laboratory_only
def photo_file(request: HttpRequest, pk: int) -> FileResponse:
    """Send a photograph as it was taken."""
    found = get_object_or_404(UnitPhoto.objects.visible_to(request.user), pk=pk)
    kind = PICTURE_TYPES.get(found.image.name.rpartition(".")[2], "application/octet-stream")
    return FileResponse(found.image.open("rb"), content_type=kind)


@laboratory_only
def history(request: HttpRequest, pk: int) -> HttpResponse:
    """Show all that was done to a unit, its plans, steps and photographs."""
    found = get_object_or_404(Unit.objects.visible_to(request.user).for_detail(), pk=pk)
    return render(request, "schedules/history.html", {"unit": found, "entries": unit_history(request.user, found)})
