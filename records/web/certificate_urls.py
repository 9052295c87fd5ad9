"""Addresses of certificates, within the namespace of the records."""

from __future__ import annotations

from django.urls import path

from records.web import certificates as pages
from records.web import verification

urlpatterns = [
    path("certificates/", pages.certificates, name="certificates"),
    path("certificates/<int:pk>/", pages.certificate, name="certificate"),
    path("certificates/<int:pk>/file/", pages.certificate_pdf, name="certificate-file"),
    path("certificates/<int:pk>/draft/", pages.certificate_draft, name="certificate-draft"),
    path("certificates/<int:pk>/issue/", pages.certificate_issue, name="certificate-issue"),
    path("certificates/<int:pk>/amend/", pages.certificate_amend, name="certificate-amend"),
    path("certificates/<int:pk>/withdraw/", pages.certificate_withdraw, name="certificate-withdraw"),
    path("units/<int:pk>/certificate/", pages.certificate_request, name="certificate-request"),
    path("verify/", verification.verify_start, name="verify-start"),
    path("verify/<path:number>/", verification.verify, name="verify"),
]
