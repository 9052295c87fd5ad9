"""Addresses of nonconforming work, the auditor's page and scale factors, within the namespace of the records."""

from __future__ import annotations

from django.urls import path

from records.web import audit
from records.web import impact as pages

urlpatterns = [
    path("audit/", audit.audit, name="audit"),
    path("bays/<int:pk>/scale-factors/", audit.scales, name="scales"),
    path("nonconforming-work/", pages.impacts, name="impacts"),
    path("nonconforming-work/<int:pk>/", pages.work, name="impact"),
    path("nonconforming-work/<int:pk>/runs/<int:affected_pk>/", pages.affected_run, name="impact-run"),
    path("nonconforming-work/<int:pk>/all-stand/", pages.all_stand, name="impact-all-stand"),
    path("nonconforming-work/<int:pk>/close/", pages.close, name="impact-close"),
    path("nonconforming-work/<int:pk>/compose/", pages.compose, name="impact-compose"),
    path("nonconforming-work/<int:pk>/document/", pages.document, name="impact-document"),
    path("nonconforming-work/<int:pk>/letters/<int:letter_pk>/", pages.letter, name="impact-letter"),
    path("nonconforming-work/<int:pk>/letters/<int:letter_pk>/sent/", pages.letter_sent, name="impact-letter-sent"),
    path("calibrations/<int:pk>/nonconforming-work/", pages.of_calibration, name="impact-of-calibration"),
]
