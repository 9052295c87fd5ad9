"""Ratings that contradict each other: levels, a tuned order that L and C do not give, an output that they do not."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from schedules.rules.errors import BadRatings
from schedules.rules.nameplate import (
    capacitance_uf,
    capacitive_reactance_ohm,
    inductance_mh,
    tuned_order,
    voltage_rise,
)

# Bounds of what can be meant at all, far beyond every tolerance: common practice, no source.
_ORDER_PCT = 5.0
_OUTPUT_PCT = 15.0
_OTHER_VOLTAGE = 2.5  # an output stated at another voltage of the branch may differ by so much, not by more
_AIR_KV_PER_M = 3000.0  # crest that air between even plates holds, about 30 kV/cm: textbooks, from memory


def refuse_contradictions(ratings: Mapping[str, Any]) -> None:
    """Refuse ratings of which one does not follow from the others.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        Read ratings with ``frequency_hz`` and ``phases``; what is not stated is not compared.

    Raises
    ------
    BadRatings
        It names the rating, what the others give, and what would fit.

    Notes
    -----
    A tuned order may differ from what L and C give by the tuning tolerance, or by 5 % where that is wider; an output by
    15 %, which is more than capacitors are permitted. A filter's output may be stated at another voltage; beyond 2.5
    times, up or down, no voltage of a filter explains it.

    References
    ----------
    Algebra; the widths are common practice, no source. Air between even surfaces holds about 3 kV/mm (crest): from
    memory.

    Examples
    --------
    >>> branch = {"inductance_mh": 0.4889, "capacitance_uf": 575.7, "frequency_hz": 60}
    >>> refuse_contradictions(branch | {"tuned_order": 5.0})
    """
    _refuse_levels(ratings)
    _refuse_filters_output(ratings)
    _refuse_order(ratings)
    kind = ratings.get("equipment")
    if kind == "series_reactor" and _has(ratings, "rated_mvar", "rated_current_a", "inductance_mh"):
        _refuse_series_output(ratings)
    if kind == "capacitor_unit" and _has(ratings, "rated_mvar", "rated_voltage_kv", "capacitance_uf"):
        reactance = capacitive_reactance_ohm(ratings["rated_voltage_kv"], ratings["rated_mvar"])
        fitting = capacitance_uf(reactance, ratings["frequency_hz"])
        _refuse_output(ratings, ratings["capacitance_uf"] / fitting, f"{fitting:.4g} µF would fit")
    if (
        kind == "shunt_reactor"
        and ratings["phases"] == 3
        and _has(ratings, "rated_mvar", "rated_voltage_kv", "inductance_mh")
    ):
        reactance = ratings["rated_voltage_kv"] ** 2 / ratings["rated_mvar"]
        fitting = inductance_mh(reactance, ratings["frequency_hz"])
        _refuse_output(ratings, fitting / ratings["inductance_mh"], f"{fitting:.4g} mH would fit")


def doubts(ratings: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what looks inconsistent without being certain to be.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        Read ratings with ``frequency_hz``.

    Returns
    -------
    tuple[str, ...]
        A sentence where a filter's output is neither that of its capacitors nor that of the branch, and where a source
        of the induced test is slower than the network.

    References
    ----------
    Algebra; the width of 15 % is common practice, no source.
    """
    source = ratings.get("source_frequency_hz")
    if source is not None and source < ratings["frequency_hz"]:
        return (
            f"The source of the induced test runs at {source:g} Hz, below the rated {ratings['frequency_hz']:g} Hz: at "
            "twice the rated voltage the core saturates. Check the frequency of the source.",
        )
    if ratings.get("equipment") != "tuned_filter" or not _has(ratings, *_OF_A_FILTERS_OUTPUT):
        return ()
    alone, branch = _filters_output(ratings)
    stated = ratings["rated_mvar"]
    if alone * (1 - _OUTPUT_PCT / 100) <= stated <= branch * (1 + _OUTPUT_PCT / 100):
        return ()
    return (
        f"{stated:g} Mvar is stated; {ratings['capacitance_uf']:g} µF at {ratings['rated_voltage_kv']:g} kV give "
        f"{alone:.4g} Mvar, with the reactor {branch:.4g} Mvar. Check at which voltage the output is stated.",
    )


_OF_A_FILTERS_OUTPUT = ("rated_mvar", "rated_voltage_kv", "capacitance_uf", "tuned_order")


def _filters_output(ratings: Mapping[str, Any]) -> tuple[float, float]:
    """Return what the capacitors give alone and what the branch gives with its reactor [Mvar]."""
    alone = 2e-6 * math.pi * ratings["frequency_hz"] * ratings["capacitance_uf"] * ratings["rated_voltage_kv"] ** 2
    return alone, alone * voltage_rise(ratings["tuned_order"])


def _refuse_levels(ratings: Mapping[str, Any]) -> None:
    level, impulse = ratings.get("power_frequency_kv"), ratings.get("lightning_impulse_kv")
    if level is None:
        return
    if impulse is not None and level >= impulse:
        raise BadRatings(
            "power_frequency_kv",
            f"is {level:g} kV, not below the lightning impulse level of {impulse:g} kV",
            "correct one of the two",
        )
    agreed = ratings.get("discharge_test_voltage_kv")
    if agreed is not None and agreed > level:
        raise BadRatings(
            "discharge_test_voltage_kv",
            f"is {agreed:g} kV, above the {level:g} kV that the insulation has to withstand for a minute",
            "correct it, or leave it out to take the document's",
        )
    path = ratings.get("discharge_path_m")
    if path is not None and level * math.sqrt(2) > _AIR_KV_PER_M * path:
        raise BadRatings(
            "discharge_path_m",
            f"is {path:g} m, over which no air holds {level:g} kV",
            "give the shortest path in metres",
        )


def _refuse_filters_output(ratings: Mapping[str, Any]) -> None:
    if ratings.get("equipment") != "tuned_filter" or not _has(ratings, *_OF_A_FILTERS_OUTPUT):
        return
    _, branch = _filters_output(ratings)
    stated, voltage = ratings["rated_mvar"], ratings["rated_voltage_kv"]
    if not 1 / _OTHER_VOLTAGE <= stated / branch <= _OTHER_VOLTAGE:
        fitting = ratings["capacitance_uf"] * stated / branch
        raise BadRatings(
            "rated_mvar",
            f"is {stated:g} Mvar, but {ratings['capacitance_uf']:g} µF tuned to {ratings['tuned_order']:g} give "
            f"{branch:.4g} Mvar at {voltage:g} kV and {ratings['frequency_hz']:g} Hz",
            f"correct one of them ({fitting:.4g} µF would fit)",
        )


def _refuse_series_output(ratings: Mapping[str, Any]) -> None:
    """Refuse an output that is neither that of three phases nor that of one: Q = n·ω·L·I²."""
    of_one = 2e-9 * math.pi * ratings["frequency_hz"] * ratings["inductance_mh"] * ratings["rated_current_a"] ** 2
    stated = ratings["rated_mvar"]
    if all(abs(stated / (number * of_one) - 1) * 100 > _OUTPUT_PCT for number in (1, 3)):
        fitting = stated / (3 * of_one) * ratings["inductance_mh"]
        raise BadRatings(
            "rated_mvar",
            f"is {stated:g} Mvar, but {ratings['inductance_mh']:g} mH at {ratings['rated_current_a']:g} A and "
            f"{ratings['frequency_hz']:g} Hz give {3 * of_one:.4g} Mvar in three phases",
            f"correct one of them ({fitting:.4g} mH would fit)",
        )


def _has(ratings: Mapping[str, Any], *names: str) -> bool:
    return all(name in ratings for name in names)


def _refuse_order(ratings: Mapping[str, Any]) -> None:
    if not _has(ratings, "tuned_order", "inductance_mh", "capacitance_uf"):
        return
    stated, frequency = ratings["tuned_order"], ratings["frequency_hz"]
    found = tuned_order(ratings["inductance_mh"], ratings["capacitance_uf"], frequency)
    allowed = max(_ORDER_PCT, ratings.get("tuning_tolerance_pct", 0.0))
    away = abs(found / stated - 1) * 100
    if away > allowed:
        fitting = ratings["inductance_mh"] * (found / stated) ** 2
        raise BadRatings(
            "tuned_order",
            f"is {stated:g}, but {ratings['inductance_mh']:g} mH and {ratings['capacitance_uf']:g} µF tune to "
            f"{found:.4g} at {frequency:g} Hz, {away:.3g} % away",
            f"correct one of the three ({fitting:.4g} mH would fit)",
        )


def _refuse_output(ratings: Mapping[str, Any], ratio: float, mend: str) -> None:
    if abs(ratio - 1) * 100 > _OUTPUT_PCT:
        raise BadRatings(
            "rated_mvar",
            f"is {ratings['rated_mvar']:g} Mvar, but the other ratings give {ratings['rated_mvar'] * ratio:.4g} Mvar "
            f"at {ratings['rated_voltage_kv']:g} kV and {ratings['frequency_hz']:g} Hz",
            f"correct one of them ({mend})",
        )
