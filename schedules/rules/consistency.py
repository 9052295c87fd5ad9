"""Ratings that contradict each other: a tuned order that L and C do not give, an output that L or C does not give."""

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

_ORDER_PCT = 5.0
_OUTPUT_PCT = 15.0


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
    15 %, which is more than capacitors are permitted.

    References
    ----------
    Algebra; the widths are common practice, no source.

    Examples
    --------
    >>> branch = {"inductance_mh": 0.4889, "capacitance_uf": 575.7, "frequency_hz": 60}
    >>> refuse_contradictions(branch | {"tuned_order": 5.0})
    """
    _refuse_order(ratings)
    kind = ratings.get("equipment")
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
        A sentence where a filter's output is neither that of its capacitors nor that of the branch.

    References
    ----------
    Algebra; the width of 15 % is common practice, no source.
    """
    if ratings.get("equipment") != "tuned_filter":
        return ()
    if not _has(ratings, "rated_mvar", "rated_voltage_kv", "capacitance_uf", "tuned_order"):
        return ()
    alone = 2e-6 * math.pi * ratings["frequency_hz"] * ratings["capacitance_uf"] * ratings["rated_voltage_kv"] ** 2
    branch = alone * voltage_rise(ratings["tuned_order"])
    stated = ratings["rated_mvar"]
    if alone * (1 - _OUTPUT_PCT / 100) <= stated <= branch * (1 + _OUTPUT_PCT / 100):
        return ()
    return (
        f"{stated:g} Mvar is stated; {ratings['capacitance_uf']:g} µF at {ratings['rated_voltage_kv']:g} kV give "
        f"{alone:.4g} Mvar, with the reactor {branch:.4g} Mvar. Check at which voltage the output is stated.",
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
