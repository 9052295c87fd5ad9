"""Addresses of the portal."""

from __future__ import annotations

from django.urls import path

from records.portal import views, witness

app_name = "portal"
urlpatterns = [
    path("", views.home, name="home"),
    path("orders/<int:pk>/", views.order, name="order"),
    path("units/<int:pk>/", views.unit, name="unit"),
    path("certificates/<int:pk>/file/", views.certificate_pdf, name="certificate-file"),
    path("records/<int:pk>/file/", views.record_original, name="record-file"),
    path("invitations/<int:pk>/", witness.invitation, name="invitation"),
    path("witness/<str:token>/", witness.by_link, name="witness"),
]
