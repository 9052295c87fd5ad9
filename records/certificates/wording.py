"""Names, numbers and times as a certificate prints them."""

from __future__ import annotations

from datetime import date, datetime

from equipment.metrology.rounding import rounded

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
}


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


def figure(value: float | None, expanded_uncertainty: float | None) -> str:
    """Return a value rounded to its uncertainty, with that; a value without one keeps four significant digits."""
    if value is None:
        return "not determined"
    if not expanded_uncertainty:
        return plain_number(value, 4)
    shown = rounded(value, expanded_uncertainty)
    return f"{shown.value_text} ± {shown.uncertainty_text}".replace("-", "−")


def limit_words(minimum: float | None, maximum: float | None, unit: str) -> str:
    """Return limits in words, so that no sign can be misread."""
    if minimum is not None and maximum is not None:
        return f"{plain_number(minimum, 4)} to {plain_number(maximum, 4)} {unit}".strip()
    if minimum is not None:
        return f"at least {plain_number(minimum)} {unit}".strip()
    return f"at most {plain_number(maximum)} {unit}".strip() if maximum is not None else "reported only"


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
