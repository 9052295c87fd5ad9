"""Addresses for the tests of the look: some rooms stand, others do not."""

from django.http import HttpRequest, HttpResponse
from django.urls import include, path

from labsite.ui.web import errors


def room(request: HttpRequest, **_: str) -> HttpResponse:
    """Answer a room that is of no matter here."""
    return HttpResponse("a room")


def broken(request: HttpRequest) -> HttpResponse:
    """Fail as a fault of ours would."""
    raise ZeroDivisionError("a fault of ours")


urlpatterns = [
    path("", include("labsite.ui.web.urls")),
    path("search/", room, name="search"),
    path("sign-out/", room, name="account_logout"),
    path("sign-in/", room, name="account_login"),
    path("broken/", broken),
    path("today/", include(([path("", room, name="today")], "records"))),
    path("orders/", include(([path("", room, name="orders")], "schedules"))),
    path("orders/units/", include(([path("", room, name="units")], "schedules_units"))),
    path("people/", include(([path("", room, name="people")], "people"))),
    path("portal/", include(([path("", room, name="home")], "portal"))),
]
handler400 = errors.bad_request
handler403 = errors.forbidden
handler404 = errors.not_found
handler500 = errors.server_error
