"""Addresses of instruments and measuring systems."""

from django.urls import path

from equipment.web import changes, keeping, readings, systems, views

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
    path("<int:pk>/log/", keeping.log, name="log"),
    path("<int:pk>/hand-over/", keeping.hand_over, name="hand-over"),
    path("<int:pk>/ranges/new/", keeping.enter_range, name="enter-range"),
    path("<int:pk>/ranges/<int:range_pk>/end/", keeping.end_range, name="end-range"),
    path("<int:pk>/files/new/", keeping.add_file, name="add-file"),
    path("<int:pk>/files/<int:file_pk>/", keeping.file, name="file"),
    path("<int:pk>/read/", readings.read, name="read"),
    path("<int:pk>/drafts/<int:draft_pk>/", readings.draft, name="draft"),
    path("<int:pk>/drafts/<int:draft_pk>/set-aside/", readings.set_aside, name="set-aside"),
    path("<int:pk>/state/", changes.change_instrument_state, name="change-state"),
]
