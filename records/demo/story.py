"""Two years of the demonstration laboratory's work: orders, units, runs and certificates, in order of time."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from records.demo.cast import FENNMARK, HOLLIN, OXBOW, SALTMARSH

REACTOR_TYPE = {
    "highest_voltage_kv": 15.5,
    "lightning_impulse_kv": 110,
    "phases": 1,
    "frequency_hz": 60,
    "inductance_mh": 4.2,
    "inductance_tolerance_pct": 3,
    "rated_current_a": 300,
    "rated_voltage_kv": 13.8,
    "winding_material": "aluminium",
    "temperature_rise_limit_k": 80,
    "tests": ["routine", "type"],
}
FILTER = {
    "highest_voltage_kv": 15.5,
    "lightning_impulse_kv": 110,
    "phases": 1,
    "frequency_hz": 60,
    "branches": [
        {"tuned_order": 4.7, "inductance_mh": 6.37, "capacitance_uf": 50},
        {"tuned_order": 6.8, "inductance_mh": 3.04, "capacitance_uf": 50},
    ],
    "capacitance_tolerance_pct": 5,
    "inductance_tolerance_pct": 3,
    "tuning_tolerance_pct": 2,
}
CAPACITOR = {
    "rated_voltage_kv": 7.2,
    "highest_voltage_kv": 12,
    "terminal_to_case_kv": 28,
    "capacitance_uf": 20,
    "dissipation_factor_limit": 0.001,
    "phases": 1,
    "frequency_hz": 60,
}
TRANSFORMER = {
    "highest_voltage_kv": 17.5,
    "lightning_impulse_kv": 95,
    "rated_voltage_kv": 11,
    "phases": 3,
    "frequency_hz": 50,
    "winding_material": "copper",
    "tests": ["routine", "special"],
}
REACTOR = {"highest_voltage_kv": 15.5, "lightning_impulse_kv": 110, "phases": 1, "frequency_hz": 60}
ENCLOSED_15 = {"highest_voltage_kv": 15.5, "lightning_impulse_kv": 110, "phases": 3, "frequency_hz": 60}
ENCLOSED_27 = {"highest_voltage_kv": 27, "lightning_impulse_kv": 125, "phases": 3, "frequency_hz": 60}
CLAD_15 = {"highest_voltage_kv": 15, "lightning_impulse_kv": 95, "phases": 3, "frequency_hz": 60}


@dataclass(frozen=True)
class UnitStory:
    """What happens to one unit.

    `faults` maps the place of a run (from 0) to what goes wrong in it: `fails` (the unit discharges too long) or
    `short` (the hold is too short: not a valid test). `stops` says where the story stands: `certificate`,
    `approved`, `signed`, `energised`, `setup`, `planned`, `entered`. `runs` stops after so many runs.
    """

    serial: str
    faults: dict[int, str] = field(default_factory=dict)
    stops: str = "certificate"
    runs: int | None = None
    disposition: str = "retest"


@dataclass(frozen=True)
class OrderStory:
    """One order with its units, begun so many days ago."""

    days_ago: int
    customer: str
    reference: str
    equipment: str
    ratings: dict[str, Any]
    units: tuple[UnitStory, ...]
    standards: tuple[str, ...] = ()
    design: str = ""
    bay: str = "Bay 1"
    is_reviewed: bool = True
    witness_kinds: tuple[str, ...] = ()
    hold_kinds: tuple[str, ...] = ()


STORIES = (
    OrderStory(
        728,
        SALTMARSH,
        "SW-1182",
        "series_reactor",
        REACTOR,
        (UnitStory("SR-0871"), UnitStory("SR-0872")),
        design="SR-15",
    ),
    OrderStory(
        566,
        OXBOW,
        "OT-40-77",
        "metal_enclosed_switchgear",
        ENCLOSED_15,
        (UnitStory("ME-1503"),),
        ("IEEE C37.20.3",),
        "ME-15",
    ),
    OrderStory(
        331,
        FENNMARK,
        "FP-2291",
        "series_reactor",
        REACTOR,
        (UnitStory("SR-0920"), UnitStory("SR-0921", {1: "fails"})),
        design="SR-15",
    ),
    OrderStory(
        148,
        HOLLIN,
        "HQ-15",
        "metal_clad_switchgear",
        CLAD_15,
        (UnitStory("MC-0402", {3: "short"}),),
        ("IEEE C37.20.2",),
        "MC-15",
    ),
    OrderStory(
        66,
        OXBOW,
        "OT-40-93",
        "series_reactor",
        REACTOR_TYPE,
        (UnitStory("SR-0955"),),
        ("IEEE C57.16",),
        "SR-15T",
    ),
    OrderStory(
        47,
        HOLLIN,
        "HQ-17",
        "tuned_filter",
        FILTER,
        (UnitStory("TF-0311"), UnitStory("TF-0312", stops="approved", runs=5)),
        design="TF-4768",
    ),
    OrderStory(
        33,
        FENNMARK,
        "FP-2402",
        "capacitor_unit",
        CAPACITOR,
        (UnitStory("CU-5107", stops="approved"),),
        ("IEEE 18",),
        "CU-20",
    ),
    OrderStory(
        24,
        SALTMARSH,
        "SW-1420",
        "series_reactor",
        REACTOR,
        (UnitStory("SR-0977"), UnitStory("SR-0978", stops="approved")),
        design="SR-15",
        bay="Bay 2",
    ),
    OrderStory(
        12,
        OXBOW,
        "OT-41-00",
        "dry_type_transformer",
        TRANSFORMER,
        (UnitStory("DT-0064", stops="approved", runs=4),),
        ("IEC 60076-11",),
        "DT-11",
        bay="Bay 2",
    ),
    OrderStory(
        4,
        FENNMARK,
        "FP-2440",
        "metal_enclosed_switchgear",
        ENCLOSED_27,
        (
            UnitStory("ME-2701", stops="signed", runs=4),
            UnitStory("ME-2702", stops="energised", runs=2),
            UnitStory("ME-2703", stops="planned"),
        ),
        ("IEEE C37.20.3",),
        "ME-27",
        witness_kinds=("partial_discharge",),
    ),
    OrderStory(
        2,
        OXBOW,
        "OT-41-02",
        "series_reactor",
        REACTOR,
        (UnitStory("SR-1001", {1: "fails"}, stops="approved", disposition=""),),
        design="SR-15",
    ),
    OrderStory(
        1,
        HOLLIN,
        "HQ-19",
        "metal_clad_switchgear",
        CLAD_15,
        (UnitStory("MC-0410", stops="entered"),),
        is_reviewed=False,
    ),
)
