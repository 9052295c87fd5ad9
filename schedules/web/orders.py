"""Pages of orders."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from labsite.ledger.selectors import history_of
from schedules.models import Order
from schedules.selectors import order_detail, orders_matching
from schedules.services.orders import edit_order, enter_order, review_contract
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import deeds_of
from schedules.web.access import laboratory_only, sent
from schedules.web.forms import OrderEditForm, OrderForm, VersionForm

PAGE_SIZE = 25


@laboratory_only
def orders(request: HttpRequest) -> HttpResponse:
    """List the orders, with a search and a filter."""
    sought, review = request.GET.get("q", "").strip(), request.GET.get("review", "")
    found = orders_matching(request.user, words=sought, review=review)
    page = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "schedules/orders.html", {"page_obj": page, "sought": sought, "review": review})


@laboratory_only
def order(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one order with its units and what to do next."""
    found = get_object_or_404(Order.objects.visible_to(request.user).for_detail(), pk=pk)
    context = {
        "detail": order_detail(request.user, found),
        "order": found,
        "rights": deeds_of(request.user),
        "review_form": VersionForm(initial={"version": found.version}),
    }
    return render(request, "schedules/order.html", context)


@laboratory_only
def create(request: HttpRequest) -> HttpResponse:
    """Enter an order."""
    form = OrderForm(sent(request), viewer=request.user)
    if form.is_valid():
        try:
            made = enter_order(**form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{made.number} is entered. An approver reviews the contract next.")
            return redirect("schedules:order", made.pk)
    return render(request, "schedules/order_form.html", {"form": form})


@laboratory_only
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change an order."""
    found = get_object_or_404(Order.objects.visible_to(request.user).for_detail(), pk=pk)
    form = OrderEditForm.of(found, sent(request), request.user)
    if form.is_valid():
        try:
            edit_order(order=found, **form.edit(), by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{found.number} is stored.")
            return redirect("schedules:order", found.pk)
    return render(request, "schedules/order_form.html", {"form": form, "order": found})


@require_POST
@laboratory_only
def review(request: HttpRequest, pk: int) -> HttpResponse:
    """Put down the contract review."""
    found = get_object_or_404(Order.objects.visible_to(request.user), pk=pk)
    form = VersionForm(request.POST)
    try:
        review_contract(order=found, version=form.cleaned_data["version"] if form.is_valid() else 0, by=request.user)
    except ScheduleRefused as refused:
        messages.error(request, f"Nothing was changed. {refused.words}")
    else:
        messages.success(request, f"The contract of {found.number} is reviewed. Units and plans come next.")
    return redirect("schedules:order", found.pk)


@laboratory_only
def history(request: HttpRequest, pk: int) -> HttpResponse:
    """Show all that was done to an order."""
    found = get_object_or_404(Order.objects.visible_to(request.user), pk=pk)
    context = {"order": found, "entries": history_of("schedules.order", found.pk, request.user)}
    return render(request, "schedules/history.html", context)
