"""Addresses of runs, reviews, records, results, nonconformances, certificates and the search."""

from django.urls import include, path

from records.web import comparisons, evidence, invitations, lists, reviews, sets, sheet, uploads

patterns = [
    path("today/", lists.today, name="today"),
    path("runs/new/", sheet.create, name="run-create"),
    path("runs/<int:pk>/", sheet.run, name="run"),
    path("runs/<int:pk>/conditions/", sheet.conditions, name="conditions"),
    path("runs/<int:pk>/systems/", sheet.use_system, name="use-system"),
    path("runs/<int:pk>/instruments/", sheet.use_instrument, name="use-instrument"),
    path("runs/<int:pk>/instruments/take-out/", sheet.take_out, name="take-out"),
    path("runs/<int:pk>/instruments/override/", sheet.override, name="override"),
    path("runs/<int:pk>/charge-calibration/", sheet.charge_calibration, name="charge-calibration"),
    path("runs/<int:pk>/background-noise/", sheet.background_noise, name="background-noise"),
    path("runs/<int:pk>/voltage-scale/", sheet.voltage_scale, name="voltage-scale"),
    path("runs/<int:pk>/safety/", sheet.safety, name="safety"),
    path("runs/<int:pk>/calibrator-off/", sheet.calibrator_off, name="calibrator-off"),
    path("runs/<int:pk>/open/", sheet.open_stages, name="open-stages"),
    path("runs/<int:pk>/marks/", sheet.mark_stage, name="mark-stage"),
    path("runs/<int:pk>/remarks/", sheet.remark, name="remark"),
    path("runs/<int:pk>/photographs/", sheet.photo, name="photo"),
    path("runs/<int:pk>/photographs/<int:photo_pk>/", uploads.photo_file, name="photo-file"),
    path("runs/<int:pk>/records/", uploads.upload, name="upload"),
    path("runs/<int:pk>/records/lend/", sets.lend, name="lend"),
    path("runs/<int:pk>/values/", sets.values, name="values"),
    path("runs/<int:pk>/figure/", uploads.run_figure, name="figure"),
    path("runs/<int:pk>/pattern/", comparisons.pattern, name="pattern"),
    path("runs/<int:pk>/compare/", comparisons.compare, name="compare"),
    path("runs/<int:pk>/compare/figure/", comparisons.compare_figure, name="compare-figure"),
    path("runs/<int:pk>/compare/pattern/", comparisons.compare_pattern, name="compare-pattern"),
    path("runs/<int:pk>/sign/", sheet.sign, name="sign"),
    path("runs/<int:pk>/abandon/", sheet.abandon, name="abandon"),
    path("runs/<int:pk>/review/", reviews.review, name="review"),
    path("runs/<int:pk>/approve/", reviews.approve, name="approve"),
    path("runs/<int:pk>/repeat/", reviews.repeat, name="repeat"),
    path("runs/<int:pk>/history/", reviews.history, name="run-history"),
    path("runs/<int:pk>/witnesses/", invitations.witnesses, name="witnesses"),
    path("invitations/<int:pk>/end/", invitations.revoke, name="witness-revoke"),
    path("records/<int:pk>/columns/", uploads.mapping, name="mapping"),
    path("records/<int:pk>/part/", sets.part, name="part"),
    path("records/<int:pk>/set-aside/", sets.set_aside, name="set-aside"),
    path("records/<int:pk>/take-back/", sets.take_back, name="take-back"),
    path("records/<int:pk>/file/", uploads.record_file, name="record-file"),
    path("steps/<int:pk>/evidence/", evidence.evidence, name="evidence"),
    path("evidence/<int:pk>/drop/", evidence.drop, name="evidence-drop"),
    path("units/<int:pk>/results/", lists.unit_results, name="unit-results"),
    path("nonconformances/", lists.nonconformances, name="nonconformances"),
    path("nonconformances/<int:pk>/", lists.nonconformance, name="nonconformance"),
    path("instruments/<int:pk>/uses/", lists.instrument_uses, name="instrument-uses"),
    path("overrides/", lists.overrides, name="overrides"),
    path("", include("records.web.certificate_urls")),
    path("", include("records.web.impact_urls")),
]

# The search stands outside the room's own names: every page's head asks for it.
urlpatterns = [path("search/", lists.search, name="search"), path("", include((patterns, "records")))]
