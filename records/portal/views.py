"""Pages of the customer: own orders, units, certificates and records; and the list of a witness's invitations."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from labsite.people.access import roles_required
from labsite.people.roles import Role
from records.models import Certificate, Record
from records.selectors.portal import approved_runs, customer_orders, order_lines, unit_line
from records.selectors.witnessing import own_invitations
from records.services.delivery import certificate_file, record_file
from schedules.models import Order, Unit

PAGE_SIZE = 50
customer_only = roles_required(Role.CUSTOMER)
visitor_only = roles_required(Role.CUSTOMER, Role.WITNESS)


@visitor_only
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Show a customer's orders and a witness's invitations."""
    page = Paginator(customer_orders(request.user), PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "page_obj": page,
        "invitations": own_invitations(request.user),
        "is_customer": request.user.has_role(Role.CUSTOMER),  # type: ignore[union-attr]
    }
    return render(request, "portal/home.html", context)


@customer_only
@require_safe
def order(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one order with its units."""
    shown = get_object_or_404(Order.objects.visible_to(request.user), pk=pk)
    return render(request, "portal/order.html", {"order": shown, "lines": order_lines(shown, request.user)})


@customer_only
@require_safe
def unit(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one unit: status, certificates, records."""
    shown = get_object_or_404(Unit.objects.visible_to(request.user).for_list(), pk=pk)
    context = {"line": unit_line(shown, request.user), "runs": approved_runs(shown, request.user)}
    return render(request, "portal/unit.html", context)


@customer_only
@require_safe
def certificate_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out a certificate that was issued to the customer."""
    return certificate_file(get_object_or_404(Certificate.objects.visible_to(request.user), pk=pk))


@customer_only
@require_safe
def record_original(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out the record of an approved run, byte for byte."""
    return record_file(get_object_or_404(Record.objects.visible_to(request.user), pk=pk))
