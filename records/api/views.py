"""Runs, records and certificates for programs: the same visibility and the same services as the pages."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db.models import QuerySet
from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.viewsets import ReadOnlyModelViewSet

from records.api.refusals import TooLarge, refusals_as_answers
from records.api.serializers import (
    CertificateSerializer,
    FindingSerializer,
    RecordSerializer,
    RunDetailSerializer,
    RunSerializer,
    UploadedSerializer,
    UploadSerializer,
    findings_of,
)
from records.models import Certificate, Record, Run
from records.selectors.certificates import find_certificates
from records.selectors.programs import find_runs
from records.services.delivery import certificate_file, record_file
from records.services.uploads import store_record

MARGIN_BYTES = 2**16  # of the multipart form around the file
KEY = OpenApiParameter(
    "Idempotency-Key", OpenApiTypes.STR, OpenApiParameter.HEADER, required=True,
    description="Any text of your own, new for each file; the same one again gives the first answer again.",
)  # fmt: skip


class RunViewSet(ReadOnlyModelViewSet):
    """Runs: list (`?unit=`, `?state=`), read, findings, and upload of a record."""

    queryset = Run.objects.none()

    def get_queryset(self) -> QuerySet[Run]:
        """Return the runs that the asking person may see."""
        wanted = self.request.GET
        found = find_runs(self.request.user, unit=wanted.get("unit", ""), state=wanted.get("state", ""))
        return found.for_list() if self.action == "list" else found.for_detail()

    def get_serializer_class(self) -> type[BaseSerializer]:
        """Return the short form for lists, the whole one for one run."""
        return RunSerializer if self.action == "list" else RunDetailSerializer

    @extend_schema(responses=FindingSerializer(many=True))
    @action(detail=True)
    def findings(self, request: Request, pk: str) -> Response:
        """Return the findings of the evaluation that counts."""
        return Response(findings_of(self.get_object()))

    @extend_schema(
        parameters=[KEY],
        request={"multipart/form-data": UploadSerializer},
        responses={201: UploadedSerializer, 200: UploadedSerializer},
    )
    @action(detail=True, methods=["post"], parser_classes=[MultiPartParser])
    def records(self, request: Request, pk: str) -> Response:
        """Store a record for the run; it is read and judged in the background."""
        run = self.get_object()
        require_key(request)
        require_size(request)
        sent = UploadSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        file, part = sent.validated_data["file"], sent.validated_data["part"]
        with refusals_as_answers():
            upload = store_record(run=run, stream=file, given_name=file.name, part=part, by=request.user)
        code = status.HTTP_201_CREATED if upload.is_new else status.HTTP_200_OK
        return Response(UploadedSerializer(upload).data, status=code)


def require_key(request: Request) -> None:
    """Refuse an upload without its once-key: a repetition could not be told from a second file."""
    if not request.headers.get("Idempotency-Key", "").strip():
        raise ValidationError(
            {"detail": "Send the header Idempotency-Key with a text of your own for this file. Nothing was stored."}
        )


def require_size(request: Request) -> None:
    """Refuse by the announced length, before a byte is read."""
    limit = settings.UPLOAD_LIMIT_BYTES
    if int(request.META.get("CONTENT_LENGTH") or 0) > limit + MARGIN_BYTES:
        raise TooLarge(
            {"detail": f"One record may have {limit / 2**20:g} MB. Nothing was stored; send a shorter part."}
        )


class RecordViewSet(ReadOnlyModelViewSet):
    """Records: list, read, and the file as it was uploaded."""

    queryset = Record.objects.none()
    serializer_class = RecordSerializer

    def get_queryset(self) -> QuerySet[Record]:
        """Return the records that the asking person may see, the newest first."""
        return Record.objects.visible_to(self.request.user).order_by("-pk")

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    @action(detail=True)
    def file(self, request: Request, pk: str) -> FileResponse:
        """Return the file byte for byte."""
        return record_file(self.get_object())


class CertificateViewSet(ReadOnlyModelViewSet):
    """Certificates: list (`?q=`), read, and the PDF of an issued one."""

    queryset = Certificate.objects.none()
    serializer_class = CertificateSerializer

    def get_queryset(self) -> QuerySet[Certificate]:
        """Return the certificates that the asking person may see."""
        return find_certificates(self.request.user, self.request.GET.get("q", ""))

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    @action(detail=True)
    def file(self, request: Request, pk: str) -> FileResponse:
        """Return the PDF."""
        return certificate_file(self.get_object())


router_entries: list[tuple[str, Any]] = [
    ("runs", RunViewSet),
    ("records", RecordViewSet),
    ("certificates", CertificateViewSet),
]
