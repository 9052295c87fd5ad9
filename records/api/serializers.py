"""What programs read of runs, records, findings and certificates."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from records.models import Certificate, Finding, Record, Run
from records.selectors.certificates import certificate_row
from records.selectors.digests import current_evaluation


class FindingSerializer(serializers.ModelSerializer):
    """One quantity against one criterion."""

    min = serializers.FloatField(source="minimum", allow_null=True)
    max = serializers.FloatField(source="maximum", allow_null=True)

    class Meta:
        model = Finding
        fields = (
            "quantity",
            "stage",
            "value",
            "unit",
            "expanded_uncertainty",
            "coverage_factor",
            "min",
            "max",
            "decision",
            "probability_of_conformity",
            "judges",
            "verdict",
            "reason",
        )


class RecordSerializer(serializers.ModelSerializer):
    """One uploaded file, what was read from it, and its digest."""

    class Meta:
        model = Record
        fields = ("id", "run", "given_name", "part", "sha256", "size_bytes", "state", "words", "summary", "uploaded_at")


class UploadSerializer(serializers.Serializer):
    """A file for a run, and the part that it plays beside others; the usual one where it is left out."""

    file = serializers.FileField(allow_empty_file=True)
    part = serializers.CharField(required=False, default="", allow_blank=True, max_length=20)


class UploadedSerializer(serializers.Serializer):
    """The record, whether it is new, and that in words."""

    record = RecordSerializer()
    is_new = serializers.BooleanField()
    words = serializers.CharField()


class RunSerializer(serializers.ModelSerializer):
    """One performance of one step."""

    unit = serializers.IntegerField(source="step.plan.unit_id", read_only=True)
    serial = serializers.CharField(source="step.plan.unit.serial", read_only=True)
    kind = serializers.CharField(source="step.kind", read_only=True)
    title = serializers.CharField(source="step.title", read_only=True)
    arrangement = serializers.CharField(source="arrangement.name", read_only=True)
    bay = serializers.CharField(source="bay.name", read_only=True)
    operator = serializers.CharField(source="operator.name", read_only=True)

    class Meta:
        model = Run
        fields: tuple[str, ...] = (
            "id",
            "number",
            "unit",
            "serial",
            "step",
            "kind",
            "title",
            "arrangement",
            "bay",
            "state",
            "verdict",
            "operator",
            "started_at",
        )


class RunDetailSerializer(RunSerializer):
    """One run with conditions, records and the findings that count."""

    records = serializers.SerializerMethodField()
    findings = serializers.SerializerMethodField()

    class Meta(RunSerializer.Meta):
        fields = (
            *RunSerializer.Meta.fields,
            "temperature_c",
            "pressure_kpa",
            "relative_humidity_pct",
            "records",
            "findings",
        )

    @extend_schema_field(RecordSerializer(many=True))
    def get_records(self, run: Run) -> list[dict[str, Any]]:
        """Return the files of the run that the asking person may see."""
        shown = run.records.visible_to(self.context["request"].user)  # type: ignore[attr-defined]
        return list(RecordSerializer(shown, many=True).data)

    @extend_schema_field(FindingSerializer(many=True))
    def get_findings(self, run: Run) -> list[dict[str, Any]]:
        """Return the findings of the evaluation that counts."""
        return findings_of(run)


def findings_of(run: Run) -> list[dict[str, Any]]:
    """Return the findings of the evaluation that counts, none where nothing was judged."""
    evaluation = current_evaluation(run)
    if evaluation is None:
        return []
    return list(FindingSerializer(evaluation.findings.all(), many=True).data)


class CertificateSerializer(serializers.ModelSerializer):
    """One certificate: state, digests and what it replaces; the words say whether it may be relied on."""

    serial = serializers.CharField(source="unit.serial", read_only=True)
    replaces = serializers.CharField(source="replaces.number", default=None, read_only=True)
    is_valid = serializers.SerializerMethodField()
    words = serializers.SerializerMethodField()

    class Meta:
        model = Certificate
        fields = (
            "id",
            "number",
            "unit",
            "serial",
            "state",
            "is_valid",
            "words",
            "document_digest",
            "sha256",
            "replaces",
            "issued_at",
            "withdrawn_at",
        )

    def get_is_valid(self, certificate: Certificate) -> bool:
        """Say whether it is issued, not replaced and not withdrawn."""
        return certificate_row(certificate).is_valid

    def get_words(self, certificate: Certificate) -> str:
        """Return the state in words."""
        return certificate_row(certificate).words
