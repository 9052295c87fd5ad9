"""Addresses of the site: each app brings its own."""

from django.urls import include, path

from labsite.people.web.home import home

urlpatterns = [
    path("", home, name="home"),
    path("account/", include("allauth.urls")),
    path("people/", include("labsite.people.web.urls")),
    path("jobs/", include("labsite.jobs.web.urls")),
    path("", include("labsite.ui.web.urls")),
    path("instruments/", include("equipment.web.urls")),
    path("", include("schedules.web.urls")),
    path("", include("records.web.urls")),
    path("portal/", include("records.portal.urls")),
    path("api/", include("records.api.urls")),
]

handler400 = "labsite.ui.web.errors.bad_request"
handler403 = "labsite.ui.web.errors.forbidden"
handler404 = "labsite.ui.web.errors.not_found"
handler500 = "labsite.ui.web.errors.server_error"
