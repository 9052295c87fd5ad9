"""The words that ratings and packs may use: equipment kinds, step kinds, quantities, and the fields of a nameplate."""

from __future__ import annotations

from dataclasses import dataclass

from equipment.metrology import conformity
from equipment.metrology.conformity import STATEMENTS

EQUIPMENT_KINDS: dict[str, str] = {
    "series_reactor": "Series reactor",
    "shunt_reactor": "Shunt reactor",
    "capacitor_unit": "Capacitor unit",
    "tuned_filter": "Tuned filter",
    "metal_clad_switchgear": "Metal-clad switchgear",
    "metal_enclosed_switchgear": "Metal-enclosed switchgear",
    "instrument_transformer": "Instrument transformer",
    "dry_type_transformer": "Dry-type transformer",
    "bushing": "Bushing",
}
"""What can be tested, with the name that a reader sees."""

STEP_KINDS: dict[str, str] = {
    "power_frequency_withstand": "Power-frequency withstand",
    "partial_discharge": "Partial discharge",
    "lightning_impulse": "Lightning impulse",
    "frequency_response": "Frequency response",
    "winding_resistance": "Winding resistance",
    "insulation_resistance": "Insulation resistance",
    "dissipation_factor": "Dissipation factor",
    "capacitance": "Capacitance",
    "inductance": "Inductance",
    "temperature_rise": "Temperature rise",
}
"""Kinds of test, with the name that a reader sees."""

USUAL_PHASES: dict[str, int] = {
    kind: 1 if kind in ("series_reactor", "capacitor_unit", "instrument_transformer", "bushing") else 3
    for kind in EQUIPMENT_KINDS
}
"""Number of phases where none is stated."""

TEST_CLASSES: dict[str, str] = {"routine": "Routine", "type": "Type (design)", "special": "Special"}
DECISION_RULES = tuple(conformity.DECISION_RULES)
CONFIDENCES = ("published", "memory", "common practice")
DISCHARGE_PROCEDURES = ("agreed_practice", "ieee_guide", "procedure_a", "procedure_b")

_ALL = tuple(EQUIPMENT_KINDS)
_SWITCHGEAR = ("metal_clad_switchgear", "metal_enclosed_switchgear")
_POLYPHASE = (*_SWITCHGEAR, "instrument_transformer", "dry_type_transformer")
_DRY = ("dry_type_transformer",)
_CAPACITORS = ("capacitor_unit", "tuned_filter")
_REACTORS = ("series_reactor", "shunt_reactor")
_WOUND = (*_REACTORS, "dry_type_transformer")
_REACTIVE = ("series_reactor", "shunt_reactor", "capacitor_unit", "tuned_filter")


@dataclass(frozen=True, slots=True)
class RatingField:
    """One field of a nameplate or an order.

    Attributes
    ----------
    name, label, unit, help : str
        Key in the ratings, the word on the form, the unit as written, and one sentence for whoever fills it in.
    kinds : tuple[str, ...]
        Equipment kinds that have the field.
    form : str
        ``number``, ``whole``, ``text``, ``choice``, ``texts`` (a list of words), ``choices`` (a list of choices) or
        ``branches`` (a list of ratings of one branch each).
    least, most : float
        Range of a number, ends included.
    choices : tuple[str, ...]
        What a choice may be.
    """

    name: str
    label: str
    unit: str
    help: str
    kinds: tuple[str, ...] = _ALL
    form: str = "number"
    least: float = 1e-9
    most: float = 1e9
    choices: tuple[str, ...] = ()


def _field(
    name: str, label: str, unit: str, text: str, least: float, most: float, kinds: tuple[str, ...] = _ALL
) -> RatingField:
    return RatingField(name, label, unit, text, kinds, "number", least, most)


RATING_FIELDS: tuple[RatingField, ...] = (
    RatingField("equipment", "Equipment", "", "What kind of unit it is.", form="choice", choices=_ALL),
    _field("highest_voltage_kv", "Highest voltage", "kV", "Rated maximum voltage, between phases, r.m.s.", 0.1, 1200.0),
    _field(
        "rated_voltage_kv", "Rated voltage", "kV", "Voltage of the rating plate, between phases, r.m.s.", 0.1, 1200.0
    ),
    _field(
        "power_frequency_kv",
        "Power-frequency level",
        "kV",
        "Short-duration level, r.m.s.; empty: by the table.",
        0.5,
        1600.0,
    ),
    _field(
        "lightning_impulse_kv", "Lightning impulse level (BIL)", "kV", "Rated impulse withstand, crest.", 1.0, 3000.0
    ),
    RatingField("frequency_hz", "Frequency", "Hz", "Rated frequency of the network.", least=10.0, most=400.0),
    RatingField("phases", "Phases", "", "1 or 3.", form="whole", least=1, most=3),
    RatingField("standards", "Standards", "", "Documents that the order names; empty: the usual ones.", form="texts"),
    RatingField("tests", "Tests", "", "Classes of test to plan.", form="choices", choices=tuple(TEST_CLASSES)),
    RatingField(
        "discharge_procedure",
        "Discharge procedure",
        "",
        "Which of the discharge procedures the order agrees.",
        form="choice",
        choices=DISCHARGE_PROCEDURES,
    ),
    _field(
        "discharge_test_voltage_kv", "Discharge test voltage", "kV", "Only where the order agrees another.", 0.1, 1200.0
    ),
    _field("charge_limit_pc", "Charge limit", "pC", "Only where the order agrees another.", 0.1, 1e6),
    RatingField(
        "decision_rule", "Decision rule", "", "Agreed with the customer.", form="choice", choices=DECISION_RULES
    ),
    RatingField(
        "guard_factor", "Guard factor", "", "r in w = r·U, for the customer's own rule.", least=-3.0, most=10.0
    ),
    RatingField(
        "statements",
        "Statements",
        "",
        "Of two states, or of four where the rule has a guard band.",
        form="choice",
        choices=STATEMENTS,
    ),
    RatingField(
        "hold_points",
        "Hold points",
        "",
        "Steps not passed without a release.",
        form="choices",
        choices=tuple(STEP_KINDS),
    ),
    RatingField(
        "witness_points",
        "Witness points",
        "",
        "Steps that the witness is invited to.",
        form="choices",
        choices=tuple(STEP_KINDS),
    ),
    RatingField(
        "insulation_series",
        "Series of levels",
        "",
        "Which table of the document applies.",
        form="choice",
        choices=("I", "II"),
    ),
    RatingField(
        "neutral_earthing",
        "Neutral of the network",
        "",
        "How the neutral of the network is earthed; isolated stands for every neutral that is not effectively earthed.",
        _POLYPHASE,
        form="choice",
        choices=("effectively_earthed", "isolated"),
    ),
    RatingField(
        "insulation_medium",
        "Insulation",
        "",
        "What the main insulation is made of.",
        ("instrument_transformer", "bushing"),
        form="choice",
        choices=("liquid_or_gas", "solid"),
    ),
    RatingField(
        "transformer_type",
        "Kind of instrument transformer",
        "",
        "Current transformer, or voltage transformer with one terminal earthed or with none.",
        ("instrument_transformer",),
        form="choice",
        choices=("current", "voltage_earthed", "voltage_unearthed"),
    ),
    RatingField(
        "terminal_test",
        "Terminal test with",
        "",
        "Voltage of the test between terminals: alternating or direct.",
        ("capacitor_unit",),
        form="choice",
        choices=("alternating", "direct"),
    ),
    RatingField(
        "withstand_test",
        "Withstand test with",
        "",
        "Voltage of the one-minute withstand of the main circuit: alternating or direct; empty: alternating.",
        _SWITCHGEAR,
        form="choice",
        choices=("alternating", "direct"),
    ),
    _field(
        "direct_withstand_kv",
        "Direct-voltage level",
        "kV",
        "One minute; from your copy or the maker, where the pack has no certain figure.",
        0.5,
        1600.0,
        _SWITCHGEAR,
    ),
    _field("source_frequency_hz", "Frequency of the source", "Hz", "Of the induced test.", 10.0, 1000.0, _DRY),
    _field("terminal_to_case_kv", "Terminal to case", "kV", "Test level, from your copy.", 0.1, 1200.0, _CAPACITORS),
    _field(
        "capacitance_change_limit_pct", "Change of capacitance", "%", "Less than one element.", 1e-3, 50.0, _CAPACITORS
    ),
    _field("capacitance_tolerance_pct", "Capacitance tolerance", "%", "Agreed, either way.", 0.01, 50.0, _REACTIVE),
    _field("dissipation_factor_limit", "Dissipation factor, limit", "", "From your copy or the order.", 1e-6, 1.0),
    _field("quality_factor_tolerance_pct", "Tolerance of quality", "%", "Agreed, either way.", 0.1, 90.0, _REACTIVE),
    _field("temperature_rise_limit_k", "Temperature rise, limit", "K", "Of the winding, by its class.", 1.0, 400.0),
    RatingField(
        "altitude_m",
        "Altitude of the site",
        "m",
        "Height above sea level where it will stand.",
        least=-430.0,
        most=6000.0,
    ),
    RatingField(
        "altitude_levels",
        "Levels for the altitude",
        "",
        "Whether the order agrees levels raised for the altitude of the site; empty: as each document says.",
        form="choice",
        choices=("raised", "as_rated"),
    ),
    _field("rated_current_a", "Rated current", "A", "Continuous current, r.m.s.", 0.001, 1e6),
    _field("rated_mvar", "Rated reactive power", "Mvar", "Three-phase reactive power.", 1e-6, 1e4, _REACTIVE),
    _field("inductance_mh", "Inductance", "mH", "Of one phase, at the rated frequency.", 1e-6, 1e6, _REACTIVE),
    _field("capacitance_uf", "Capacitance", "µF", "Of one phase.", 1e-9, 1e6, _REACTIVE),
    _field("tuned_order", "Tuned order", "", "Tuned frequency over rated frequency.", 1.05, 100.0, _REACTIVE),
    _field("quality_factor", "Quality factor", "", "At the tuned frequency.", 0.1, 1e5, _REACTIVE),
    _field("tuning_tolerance_pct", "Tuning tolerance", "%", "Agreed, of the tuned order.", 0.01, 50.0, _REACTIVE),
    _field("inductance_tolerance_pct", "Inductance tolerance", "%", "Agreed, either way.", 0.01, 50.0, _REACTIVE),
    _field(
        "detuning_pct", "Detuning p", "%", "Reactance of the reactor over that of the capacitor.", 0.1, 90, _REACTIVE
    ),
    _field(
        "capacitor_voltage_kv",
        "Rated voltage of the capacitors",
        "kV",
        "Between phases, where it differs from that of the network.",
        0.1,
        1200.0,
        ("tuned_filter",),
    ),
    RatingField(
        "branches",
        "Branches",
        "",
        "One line for each branch of a bank, as: tuned_order 4.7, capacitance_uf 50, inductance_mh 6.37.",
        ("tuned_filter",),
        form="branches",
    ),
    RatingField(
        "installation",
        "Installation",
        "",
        "Where it will stand.",
        _REACTORS,
        form="choice",
        choices=("indoor", "outdoor"),
    ),
    _field("turn_to_turn_kv", "Turn-to-turn level", "kV", "Crest/√2, from your copy.", 0.1, 1200.0, _REACTORS),
    RatingField(
        "winding_material",
        "Winding",
        "",
        "What the winding is made of; it decides the temperature constant.",
        _WOUND,
        form="choice",
        choices=("copper", "aluminium"),
    ),
    RatingField(
        "reference_temperature_c",
        "Reference temperature",
        "°C",
        "To which resistance and losses are brought; empty: as the document says.",
        _WOUND,
        least=-50.0,
        most=400.0,
    ),
    _field("loss_limit_w", "Losses, limit", "W", "Guaranteed, at the reference temperature.", 0.001, 1e9, _REACTORS),
    RatingField(
        "impulse_polarity",
        "Impulse polarity",
        "",
        "As agreed; empty: negative.",
        _WOUND,
        form="choice",
        choices=("negative", "positive"),
    ),
    _field(
        "inter_turn_kv",
        "Inter-turn voltage",
        "kV",
        "R.m.s. at rated primary current, where below 4.5 kV crest.",
        0.001,
        3.2,
        ("instrument_transformer",),
    ),
    RatingField(
        "discharge_device",
        "Discharge device",
        "",
        "Whether the unit has its own.",
        ("capacitor_unit",),
        form="choice",
        choices=("internal", "none"),
    ),
    _field(
        "main_circuit_resistance_uohm",
        "Resistance of the main circuit",
        "µΩ",
        "Of the type-test unit, one phase.",
        0.001,
        1e6,
        _SWITCHGEAR,
    ),
    RatingField(
        "secondary_wiring",
        "Control and secondary wiring",
        "",
        "Whether the unit has any, to be tested to earth.",
        _SWITCHGEAR,
        form="choice",
        choices=("fitted", "none"),
    ),
    _field("test_capacitance_nf", "Capacitance in the test", "nF", "Of the unit with the circuit.", 1e-6, 1e9),
    _field(
        "discharge_path_m",
        "Shortest path through air",
        "m",
        "Of dry external insulation; with it the levels are corrected for the air of the run.",
        0.001,
        50.0,
    ),
    RatingField(
        "occasion",
        "Occasion",
        "",
        "First test, a repeat on a unit that has passed, or after erection on site.",
        form="choice",
        choices=("first", "repeat", "after_erection"),
    ),
    _field("winding_resistance_ohm", "Winding resistance", "Ω", "Expected of one phase.", 1e-9, 1e9),
    RatingField("serial", "Serial number", "", "As on the plate.", form="text"),
    RatingField("type_designation", "Type", "", "The maker's designation.", form="text"),
    _field("rated_current_ka", "Short-time current", "kA", "Short-time withstand current.", 0.001, 500.0, _SWITCHGEAR),
)
"""Every field that ratings may hold; the web forms are built from it."""

FIELDS_BY_NAME: dict[str, RatingField] = {field.name: field for field in RATING_FIELDS}

BRANCH_RATINGS = (
    "tuned_order",
    "capacitance_uf",
    "inductance_mh",
    "rated_mvar",
    "quality_factor",
    "tuning_tolerance_pct",
    "capacitance_tolerance_pct",
    "inductance_tolerance_pct",
)
"""Numbers that each branch of a bank may state for itself."""

ALTERNATIVES = {"terminal_test": "direct", "withstand_test": "direct"}
"""Choices between alternatives of a document, with the word that asks for another than the usual one."""

LEVELS = ("direct_withstand_kv",)
"""Levels of a pack's values that an order may raise and not lower, as it may not lower those of a table."""

DUTIES = ("tuned_order",)
"""Numbers whose absence says that a unit does not have the duty, so that nothing is missing."""
