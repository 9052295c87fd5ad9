"""The board of due dates: as table and timeline, for today or any other day, and as files."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from equipment.charts import due_bar, due_timeline
from equipment.models.instrument import Quantity
from equipment.selectors import instrument_board
from equipment.selectors.board import Board
from equipment.selectors.reminders import digests_in_doubt
from equipment.services.exports import csv_of, pdf_of, xlsx_of
from equipment.services.rights import has_right
from equipment.web.forms import BoardForm
from labsite.people.access import roles_required
from labsite.people.roles import LABORATORY_ROLES

PAGE_SIZE = 50
laboratory_only = roles_required(*LABORATORY_ROLES)


def _board(request: HttpRequest) -> tuple[Board, dict[str, Any]]:
    wanted = BoardForm(request.GET).wanted()
    on = wanted["on"] or timezone.localdate()
    narrowed = {name: wanted[name] for name in ("board", "quantity", "text")}
    return instrument_board(request.user, on, wanted["horizon"], **narrowed), wanted


@require_GET
@laboratory_only
def instruments(request: HttpRequest) -> HttpResponse:
    """Show the board: overdue, due soon, fine, out of service."""
    board, wanted = _board(request)
    page = Paginator(board.rows, PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "board": board,
        "is_today": board.on == timezone.localdate(),
        "page_obj": page,
        "lines": [(row, due_bar(row.performed_on, row.status.due_on, board.on)) for row in page],
        "timeline": due_timeline(_timeline_rows(page), board.on) if wanted["view"] == "timeline" else None,
        "wanted": wanted,
        "quantities": Quantity.choices,
        "may_enter": has_right("enter_instrument", request.user),
        "in_doubt": digests_in_doubt() if has_right("settle_reminders", request.user) else (),
    }
    return render(request, "equipment/instruments.html", context)


def _timeline_rows(rows: Any) -> list[Any]:
    return [
        (row.instrument.pk, row.instrument.identifier, row.status.reason, row.tone, row.performed_on, row.status.due_on)
        for row in rows
    ]


@require_GET
@laboratory_only
def export(request: HttpRequest, form: str) -> HttpResponse:
    """Hand the board out as CSV, XLSX or PDF, narrowed as on the page."""
    board, _ = _board(request)
    made = {
        "csv": ("text/csv; charset=utf-8", lambda: csv_of(board)),
        "xlsx": (
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            lambda: xlsx_of(board),
        ),
        "pdf": ("application/pdf", lambda: pdf_of(board, request.user)),
    }
    if form not in made:
        raise Http404("The board is given out as csv, xlsx or pdf.")
    content_type, make = made[form]
    answer = HttpResponse(make(), content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="instruments-{board.on}.{form}"'
    return answer
