"""The instruments of the demonstration; makers and numbers are invented."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Device:
    """One invented instrument; `months_ago` is its latest calibration; months and per cent."""

    identifier: str
    description: str
    quantity: str
    range_text: str
    uncertainty: float
    months_ago: int
    interval: int = 12


DEVICES = (
    Device("D-50", "Capacitive voltage divider 50 kV", "voltage", "1 to 50 kV", 1.0, 5),
    Device("D-100", "Capacitive voltage divider 100 kV", "voltage", "2 to 100 kV", 1.0, 8),
    Device("D-150", "Capacitive voltage divider 150 kV", "voltage", "5 to 150 kV", 1.2, 10),
    Device("V-11", "Peak voltmeter, bay 1", "voltage", "100 V secondary", 0.5, 4),
    Device("V-12", "Peak voltmeter, bay 2", "voltage", "100 V secondary", 0.5, 13),
    Device("V-13", "Peak voltmeter, bay 3", "voltage", "100 V secondary", 0.5, 7),
    Device("Q-21", "Discharge detector, bay 1", "charge", "1 pC to 10 nC", 5.0, 6),
    Device("Q-22", "Discharge detector, bay 2", "charge", "1 pC to 10 nC", 5.0, 9),
    Device("Q-23", "Discharge detector, spare", "charge", "1 pC to 10 nC", 6.0, 14),
    Device("K-31", "Charge calibrator 5 to 500 pC", "charge", "5 to 500 pC", 3.0, 3),
    Device("K-32", "Charge calibrator 1 to 100 pC", "charge", "1 to 100 pC", 3.0, 11),
    Device("R-41", "Reference divider 100 kV", "voltage", "1 to 100 kV", 0.3, 15, 24),
    Device("R-42", "Reference voltmeter", "voltage", "1 to 1000 V", 0.1, 6),
    Device("B-51", "Barometer", "pressure", "80 to 110 kPa", 0.1, 9, 24),
    Device("H-52", "Thermo-hygrometer, hall", "humidity", "10 to 95 %", 4.0, 5),
    Device("T-53", "Thermometer, hall", "temperature", "0 to 50 °C", 0.5, 5),
    Device("T-54", "Thermocouple logger", "temperature", "-20 to 250 °C", 0.8, 12),
    Device("S-61", "Stopwatch, bay 1", "time", "0 to 24 h", 0.1, 18, 24),
    Device("S-62", "Stopwatch, bay 2", "time", "0 to 24 h", 0.1, 18, 24),
    Device("W-71", "Winding resistance bridge", "resistance", "1 mΩ to 2 kΩ", 0.2, 2),
    Device("W-72", "Insulation tester 10 kV", "resistance", "1 MΩ to 10 TΩ", 5.0, 4),
    Device("Z-81", "Impedance analyser", "impedance", "20 Hz to 1 MHz", 0.5, 10),
    Device("Z-82", "Capacitance and loss bridge", "impedance", "10 pF to 100 µF", 0.1, 7),
    Device("I-91", "Impulse recorder", "impulse", "1.6 kV inputs", 1.0, 8),
    Device("I-92", "Impulse divider 200 kV", "impulse", "10 to 200 kV", 1.5, 8),
)


@dataclass(frozen=True)
class Course:
    """How an instrument's error runs: where it is calibrated, what is required of it, and its drift."""

    unit: str
    nominals: tuple[float, ...]
    accuracy_pct: float
    error_pct: float
    drift_pct_per_year: float
    uncertainty_pct: float


COURSES = {
    "V-11": Course("V", (10.0, 50.0, 100.0), 1.0, 0.05, 0.12, 0.2),
    "V-12": Course("V", (10.0, 50.0, 100.0), 1.0, -0.10, -0.08, 0.2),
    "V-13": Course("V", (10.0, 50.0, 100.0), 1.0, 0.10, 0.03, 0.2),
    "D-100": Course("kV", (10.0, 50.0, 100.0), 2.0, 0.20, 0.05, 0.5),
    "Q-21": Course("pC", (10.0, 100.0, 1000.0), 10.0, 1.0, 0.8, 3.0),
    "K-31": Course("pC", (5.0, 50.0, 500.0), 5.0, -0.5, -0.3, 2.0),
}
# The daily check of a voltmeter against a reference voltage: name, instrument, unit, reference, its expanded
# uncertainty, that of one reading, and what was read on the last days (invented).
CHECK = ("Voltmeter of bay 1 at 50 V", "V-11", "V", 50.0, 0.05, 0.15)
CHECK_READINGS = (50.12, 50.15, 50.10, 50.14, 50.13, 50.11, 50.16, 50.12, 50.14, 50.13, 50.15, 50.12, 50.14, 50.17)
QUARANTINED = "Q-23"
AWAY = "T-54"
# What a bay's measuring systems are made of: name, quantity, expanded uncertainty in per cent, instruments.
SYSTEMS = (
    ("Voltage, bay 1", "voltage", 2.0, ("D-100", "V-11")),
    ("Voltage, bay 2", "voltage", 2.0, ("D-50", "V-12")),
    ("Charge, bay 1", "charge", 10.0, ("Q-21", "K-31")),
    ("Charge, bay 2", "charge", 10.0, ("Q-22", "K-32")),
)
# What measures in the kinds of test that need no high alternating voltage.
DEVICES_OF = {
    "lightning_impulse": ("I-91", "I-92"),
    "frequency_response": ("Z-81",),
    "winding_resistance": ("W-71",),
    "insulation_resistance": ("W-72",),
    "dissipation_factor": ("Z-82",),
    "capacitance": ("Z-82",),
    "inductance": ("Z-82",),
    "temperature_rise": ("W-71",),
}
BAYS = (("Bay 1", 100.0, 50.0, 60.0, 3.0), ("Bay 2", 50.0, 20.0, 60.0, 4.0), ("Bay 3", 150.0, 100.0, 50.0, 8.0))
