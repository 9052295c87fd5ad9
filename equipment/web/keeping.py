"""Pages that keep log, custody, ranges and files of an instrument."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone

from equipment import services
from equipment.selectors.files import file_of, instrument_file
from equipment.services.rights import RIGHTS
from equipment.web.deeds import deed_page, the_instrument
from equipment.web.keeping_forms import EndRangeForm, FileForm, HandOverForm, LogForm, RangeForm
from labsite.people.access import roles_required
from labsite.people.roles import LABORATORY_ROLES


@roles_required(*RIGHTS["log_event"])
def log(request: HttpRequest, pk: int) -> HttpResponse:
    """Write into the log of an instrument."""
    item = the_instrument(request, pk)
    form = LogForm(request.POST or None, initial={"on": timezone.localdate()})
    return deed_page(
        request,
        form,
        lambda: services.log_event(instrument=item, **form.cleaned_data, by=request.user),
        title=f"Write into the log of {item.identifier}",
        said="It stands in the log.",
        done=("equipment:detail", pk),
        instrument=item,
    )


@roles_required(*RIGHTS["hand_over"])
def hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    """Give an instrument into someone's hands."""
    item = the_instrument(request, pk)
    known = {"version": item.version, "custodian": item.custodian, "location": item.location}
    form = HandOverForm(request.POST or None, initial={**known, "on": timezone.localdate()})
    return deed_page(
        request,
        form,
        lambda: services.hand_over(instrument=item, **form.cleaned_data, by=request.user),
        title=f"Hand over {item.identifier}",
        said="The hand-over is recorded.",
        done=("equipment:detail", pk),
        instrument=item,
    )


@roles_required(*RIGHTS["enter_range"])
def enter_range(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter a range with the accuracy required there."""
    item = the_instrument(request, pk)
    form = RangeForm(request.POST or None, initial={"quantity": item.quantity})
    return deed_page(
        request,
        form,
        lambda: services.enter_range(instrument=item, **form.cleaned_data, by=request.user),
        title=f"Enter a range of {item.identifier}",
        said="The range is stored; calibrations entered from now on are judged by it.",
        done=("equipment:detail", pk),
        instrument=item,
        help_text="The largest error allowed is the per cent of the value plus the constant; one of the two is enough.",
    )


@roles_required(*RIGHTS["enter_range"])
def end_range(request: HttpRequest, pk: int, range_pk: int) -> HttpResponse:
    """Take away a range that no longer applies."""
    item = the_instrument(request, pk)
    form = EndRangeForm(request.POST or None)
    return deed_page(
        request,
        form,
        lambda: services.end_range(instrument=item, range_id=range_pk, **form.cleaned_data, by=request.user),
        title=f"Take away a range of {item.identifier}",
        said="The range is gone; the history keeps it.",
        done=("equipment:detail", pk),
        instrument=item,
        button="Take away",
    )


@roles_required(*RIGHTS["keep_file"])
def add_file(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a file of an instrument."""
    item = the_instrument(request, pk)
    form = FileForm(request.POST or None, request.FILES or None, calibrations=item.calibrations.all())

    def keep() -> object:
        file = form.cleaned_data["file"]
        about = {"kind": form.cleaned_data["kind"], "calibration": form.cleaned_data["calibration"]}
        return services.keep_file(instrument=item, given_name=file.name, content=file.read(), **about, by=request.user)

    title = f"Keep a file of {item.identifier}"
    done = ("equipment:detail", pk)
    return deed_page(request, form, keep, title=title, said="The file is kept.", done=done, instrument=item)


@roles_required(*LABORATORY_ROLES)
def file(request: HttpRequest, pk: int, file_pk: int) -> HttpResponse:
    """Hand out a file of an instrument as it came."""
    item = the_instrument(request, pk)
    return file_of(get_object_or_404(instrument_file(item), pk=file_pk))
