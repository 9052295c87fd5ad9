"""Addresses of instruments and measuring systems."""

from django.urls import path

from equipment.web import boards, changes, imports, keeping, readings, reminders, systems, upkeep, views

app_name = "equipment"
urlpatterns = [
    path("", boards.instruments, name="instruments"),
    path("export/<str:form>/", boards.export, name="export"),
    path("new/", changes.create, name="create"),
    path("systems/", systems.systems, name="systems"),
    path("systems/new/", systems.create, name="create-system"),
    path("systems/<int:pk>/", systems.detail, name="system"),
    path("systems/<int:pk>/next/", systems.reassign, name="reassign-system"),
    path("systems/<int:pk>/check/", systems.check, name="check-system"),
    path("systems/<int:pk>/budget/", systems.budget, name="make-budget"),
    path("intervals/", upkeep.intervals, name="intervals"),
    path("checks/", upkeep.standards, name="standards"),
    path("checks/new/", upkeep.create_standard, name="create-standard"),
    path("checks/<int:pk>/", upkeep.standard, name="standard"),
    path("checks/<int:pk>/alarms/<int:alarm_pk>/", upkeep.acknowledge, name="acknowledge"),
    path("reminders/", reminders.reminders, name="reminders"),
    path("reminders/digests/<int:digest_pk>/send/", reminders.send_again, name="send-digest"),
    path("reminders/digests/<int:digest_pk>/arrived/", reminders.arrived, name="close-digest"),
    path("reminders/calendar/", reminders.renew, name="renew-calendar"),
    path("reminders/calendar/end/", reminders.end, name="end-calendar"),
    path("calendar/<str:secret>/", reminders.calendar, name="calendar"),
    path("import/", imports.read_list, name="import"),
    path("import/<int:pk>/", imports.listed, name="import-list"),
    path("labels/", imports.labels, name="labels"),
    path("<int:pk>/interval/", upkeep.interval, name="interval"),
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
    path(
        "<int:pk>/calibrations/<int:calibration_pk>/corrections/",
        readings.decide_corrections,
        name="decide-corrections",
    ),
    path("<int:pk>/state/", changes.change_instrument_state, name="change-state"),
]
