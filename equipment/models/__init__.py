"""What the laboratory measures with."""

from equipment.models.calibration import Calibration, CalibrationPoint
from equipment.models.instrument import Instrument
from equipment.models.measuring_system import MeasuringSystem, SystemComponent

__all__ = ["Calibration", "CalibrationPoint", "Instrument", "MeasuringSystem", "SystemComponent"]
