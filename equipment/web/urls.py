"""Addresses of instruments and measuring systems."""

from django.urls import path

from equipment.web import changes, systems, views

app_name = "equipment"
urlpatterns = [
    path("", views.instruments, name="instruments"),
    path("new/", changes.create, name="create"),
    path("systems/", systems.systems, name="systems"),
    path("systems/new/", systems.create, name="create-system"),
    path("systems/<int:pk>/", systems.detail, name="system"),
    path("<int:pk>/", views.detail, name="detail"),
    path("<int:pk>/history/", views.history, name="history"),
    path("<int:pk>/edit/", changes.edit, name="edit"),
    path("<int:pk>/calibrate/", changes.calibrate, name="calibrate"),
    path("<int:pk>/state/", changes.change_instrument_state, name="change-state"),
]
