"""Names, numbers and times as a certificate prints them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from equipment.metrology.conformity import DECISION_RULES
from equipment.metrology.rounding import rounded
from records.evaluation import figures
from records.models.procedure import WORDS

SUFFIXES = {
    "kv": "kV",
    "v": "V",
    "pc": "pC",
    "s": "s",
    "us": "µs",
    "min": "min",
    "hz": "Hz",
    "khz": "kHz",
    "mh": "mH",
    "uf": "µF",
    "mvar": "Mvar",
    "kva": "kVA",
    "mva": "MVA",
    "a": "A",
    "ka": "kA",
    "ohm": "Ω",
    "mohm": "MΩ",
    "k": "K",
    "c": "°C",
    "kpa": "kPa",
    "m": "m",
    "pct": "%",
}
NAMES = {
    **WORDS,
    "held_s": "Time held",
    "held_voltage_kv": "Voltage held",
    "lightning_impulse_kv": "Lightning impulse level (BIL)",
    "power_frequency_kv": "Power-frequency withstand level",
    "disruptive_discharges": "Disruptive discharges",
}
CONFIDENCES = {
    "published": "published",
    "memory": "from memory",
    "common practice": "common practice, no source",
}
DECISIONS = {
    "simple_acceptance": (
        "Simple acceptance (ILAC-G8, w = 0): a value inside its limit conforms; the uncertainty is stated beside it."
    ),
    "guard_band": (
        "Guard band (ILAC-G8, w = U): a value conforms when it lies inside its limit by at least its expanded "
        "uncertainty."
    ),
    "iso_14253": (
        "Guard band (ISO 14253-1, w = {guard_factor:g} U): a value conforms when it lies inside its limit by at least "
        "{guard_factor:g} of its expanded uncertainty."
    ),
    "three_sigma": (
        "Guard band (ILAC-G8, w = {guard_factor:g} U): a value conforms when it lies inside its limit by at least "
        "{guard_factor:g} times its expanded uncertainty."
    ),
    "six_sigma": (
        "Guard band (ILAC-G8, w = {guard_factor:g} U): a value conforms when it lies inside its limit by at least "
        "{guard_factor:g} times its expanded uncertainty."
    ),
    "non_critical": (
        "Non-critical (ILAC-G8, w = -U): a value conforms unless it lies beyond its limit by more than its expanded "
        "uncertainty."
    ),
    "customer_defined": "The customer's own guard band, w = {guard_factor:g} U.",
}


def decision_words(agreed: Mapping[str, Any]) -> str:
    """Return the agreed decision rule, with its factor and its statements, in a sentence or two."""
    rule = agreed["decision_rule"]
    stated = agreed.get("guard_factor")
    tabulated = DECISION_RULES[rule].guard_factor if rule in DECISION_RULES else None
    factor = next((one for one in (stated, tabulated) if one is not None), 0.0)
    words = DECISIONS.get(rule, rule.replace("_", " ")).format(guard_factor=factor)
    if agreed.get("statements") != "four_states":
        return words
    return (
        f"{words} Statements have four states: inside the limit by the guard band, pass; inside by less, conditional "
        "pass; beyond by at most the guard band, conditional fail; beyond by more, fail."
    )


def split_name(name: str) -> tuple[str, str]:
    """Return the words and the unit of a name like `hold_voltage_kv`."""
    stem, _, suffix = name.rpartition("_")
    unit = SUFFIXES.get(suffix, "") if stem else ""
    words = NAMES.get(name) or (stem if unit else name).replace("_", " ")
    return words[:1].upper() + words[1:], unit


def plain_number(value: float | None, digits: int = 6) -> str:
    """Return a number as it was set: no exponent, no trailing zeros, at most `digits` significant digits."""
    if value is None:
        return "–"
    text = rounded(float(value), None, digits_alone=digits).value_text
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace("-", "−")


def figure(finding: dict[str, Any]) -> str:
    """Return a finding's value rounded to its uncertainty, with that; counts are whole numbers."""
    if finding["value"] is None:
        return "not determined"
    return _figure(finding).with_uncertainty


def figure_unit(finding: dict[str, Any]) -> str:
    """Return the unit that a finding's figure is in."""
    return _figure(finding).unit


def _figure(finding: dict[str, Any]) -> figures.Figure:
    return figures.figure_of(
        finding["quantity"], finding["value"], finding["expanded_uncertainty"], finding.get("unit") or ""
    )


def limit_words(minimum: float | None, maximum: float | None, unit: str) -> str:
    """Return limits in words, so that no sign can be misread."""
    bounds = [abs(bound) for bound in (minimum, maximum) if bound is not None]
    if not bounds:
        return "reported only"
    factor, symbol = figures.scale_of(unit, max(bounds))
    low, high = (None if bound is None else plain_number(bound / factor) for bound in (minimum, maximum))
    if minimum is not None and maximum is not None:
        return f"{plain_number(minimum / factor, 4)} to {plain_number(maximum / factor, 4)} {symbol}".strip()
    return f"at most {high} {symbol}".strip() if low is None else f"at least {low} {symbol}".strip()


def day_words(value: str | date | None) -> str:
    """Return 3 March 2026 for an ISO date or time."""
    if not value:
        return "not recorded"
    day = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    return f"{day.day} {day:%B %Y}"


def moment_words(value: str) -> str:
    """Return 3 March 2026, 14:05:09 UTC for an ISO time in UTC."""
    if not value:
        return "not recorded"
    moment = datetime.fromisoformat(value.replace("Z", "+00:00"))
    return f"{moment.day} {moment:%B %Y, %H:%M:%S} UTC"


def grouped(digest: str) -> str:
    """Return a digest in groups of eight, which a reader can compare by eye."""
    return " ".join(digest[start : start + 8] for start in range(0, len(digest), 8))
