"""What the laboratory measures with."""

from equipment.models.calibration import Calibration, CalibrationPoint
from equipment.models.drafts import CalibrationDraft
from equipment.models.imports import InstrumentImport
from equipment.models.instrument import Instrument
from equipment.models.life import InstrumentFile, LogEntry, StateChange
from equipment.models.measuring_system import MeasuringSystem, SystemComponent
from equipment.models.ranges import InstrumentRange
from equipment.models.reminders import CalendarFeed, Reminder, ReminderDigest, ReminderSetting
from equipment.models.upkeep import (
    CheckAlarm,
    CheckReading,
    CheckStandard,
    IntervalDecision,
    PerformanceCheck,
    SystemBudget,
)

__all__ = [
    "CalendarFeed",
    "Calibration",
    "CalibrationDraft",
    "CalibrationPoint",
    "CheckAlarm",
    "CheckReading",
    "CheckStandard",
    "Instrument",
    "InstrumentFile",
    "InstrumentImport",
    "InstrumentRange",
    "IntervalDecision",
    "LogEntry",
    "MeasuringSystem",
    "PerformanceCheck",
    "Reminder",
    "ReminderDigest",
    "ReminderSetting",
    "StateChange",
    "SystemBudget",
    "SystemComponent",
]
