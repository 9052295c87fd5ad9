"""What programs read of instruments."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from equipment.models import Calibration, CalibrationPoint, Instrument
from equipment.selectors import instrument_status


class StatusSerializer(serializers.Serializer):
    """Where an instrument stands today."""

    is_valid = serializers.BooleanField()
    code = serializers.CharField()
    reason = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)
    days_left = serializers.IntegerField(allow_null=True)


class InstrumentSerializer(serializers.ModelSerializer):
    """One instrument with its status of today."""

    status = serializers.SerializerMethodField()

    class Meta:
        model = Instrument
        fields: tuple[str, ...] = (
            "id",
            "identifier",
            "description",
            "maker",
            "model",
            "serial",
            "firmware",
            "location",
            "quantity",
            "range_text",
            "state",
            "interval_months",
            "version",
            "status",
        )

    @extend_schema_field(StatusSerializer)
    def get_status(self, instrument: Instrument) -> dict[str, Any]:
        """Return the status of today."""
        return dict(StatusSerializer(asdict(instrument_status(instrument, timezone.localdate()))).data)


class PointSerializer(serializers.ModelSerializer):
    """One point of a calibration."""

    class Meta:
        model = CalibrationPoint
        fields = ("moment", "unit", "reference", "reading", "expanded_uncertainty")


class CalibrationSerializer(serializers.ModelSerializer):
    """One calibration with its points."""

    points = PointSerializer(many=True)

    class Meta:
        model = Calibration
        fields = (
            "id",
            "laboratory",
            "accreditation",
            "certificate_number",
            "calibrated_on",
            "due_on",
            "relative_uncertainty_pct",
            "coverage_factor",
            "verdict",
            "remarks",
            "points",
        )


class InstrumentDetailSerializer(InstrumentSerializer):
    """One instrument with its calibrations."""

    calibrations = CalibrationSerializer(many=True)

    class Meta(InstrumentSerializer.Meta):
        fields = (*InstrumentSerializer.Meta.fields, "calibrations")
