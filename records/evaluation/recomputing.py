"""What the findings of a run become, had an instrument been wrong by what its calibration found."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Literal

from equipment.metrology.accuracy import ErrorCurve
from equipment.metrology.conformity import DECISION_RULES, decide
from equipment.metrology.corrections import CorrectionCurve, CorrectionLine
from records.evaluation.findings import Finding, Verdict
from records.evaluation.judging import combine

Effect = Literal["flips", "doubtful", "stands", "untouched"]
_WORST_FIRST: tuple[Effect, ...] = ("flips", "doubtful", "stands", "untouched")
# Rules whose guard factor the plan states: those that have none of their own, and the general one.
OWN_RULES = frozenset({"guard_band", *(name for name, rule in DECISION_RULES.items() if rule.guard_factor is None)})
_TABLE = Path(__file__).with_name("dependence.toml")


@dataclass(frozen=True)
class WrongInstrument:
    """An instrument that was found wrong.

    Attributes
    ----------
    quantity : str
        What it measures in the unit of the points, a row of ``dependence.toml``.
    found : ErrorCurve
        Errors as found, over the reading, in one unit.
    left : ErrorCurve or None
        Errors that the last good calibration left; None where it reports none: they count as 0.
    """

    quantity: str
    found: ErrorCurve
    left: ErrorCurve | None = None

    def error_at(self, reading: float, part: float) -> float:
        """Return the error of a reading when a part (0 to 1) of the way from good to found wrong has passed [unit]."""
        start = self.left.at(reading) if self.left is not None else 0.0
        return start + part * (self.found.at(reading) - start)


@dataclass(frozen=True)
class Known:
    """What was known of an instrument's error when a run used it, and was taken out of its readings then, by unit.

    A correction that was applied is an error that was known, with its sign turned; beyond the range of its validity
    nothing was applied. Through a measuring system it is what the instrument was wrong by when the scale factor was
    assigned.
    """

    curves: Mapping[str, ErrorCurve | CorrectionCurve | CorrectionLine] = field(default_factory=dict)

    def at(self, unit: str, reading: float) -> float:
        """Return the known error of a reading [unit]; 0 where nothing was known."""
        curve = self.curves.get(unit)
        if curve is None:
            return 0.0
        if isinstance(curve, ErrorCurve):
            return curve.at(reading)
        return -curve.apply(reading).correction if curve.is_valid_at(reading) else 0.0

    def reading_of(self, unit: str, value: float) -> float:
        """Return the reading from which a value came [unit]."""
        curve = self.curves.get(unit)
        if isinstance(curve, CorrectionCurve | CorrectionLine):
            reading = curve.reading_of(value)
            return reading if abs(reading - self.at(unit, reading) - value) < 1e-6 * max(abs(value), 1e-30) else value
        reading = value
        for _ in range(3):  # errors are small, so this settles at once
            reading = value + self.at(unit, reading)
        return reading


NOTHING_KNOWN = Known()
GuardFactors = Mapping[tuple[str, str | None], float]


@dataclass(frozen=True)
class Recomputed:
    """One finding under one assumption: error and corrected value [unit of the finding], verdict, effect, reason."""

    finding: Finding
    error: float | None
    value: float | None
    verdict: Verdict
    effect: Effect
    reason: str


@dataclass(frozen=True)
class RecomputedRun:
    """All findings of a run under one assumption, the verdict before and after, and the worst effect."""

    before: Verdict
    verdict: Verdict
    effect: Effect
    findings: tuple[Recomputed, ...]


@cache
def dependences() -> Mapping[str, Mapping[str, tuple[str, ...]]]:
    """Return for each quantity of an instrument the quantities of findings that are its own or hang on them."""
    table = tomllib.loads(_TABLE.read_text(encoding="utf-8"))
    return {
        name: {way: tuple(listed) for way, listed in row.items()}
        for name, row in table.items()
        if name != "factors_to_the_finding"
    }


@cache
def _factors() -> Mapping[str, float]:
    found: Mapping[str, float] = tomllib.loads(_TABLE.read_text(encoding="utf-8"))["factors_to_the_finding"]
    return found


def part_of_the_way(*, good_ordinal: int | None, found_ordinal: int, run_ordinal: int) -> float:
    """Return which part of the drift had happened on the day of a run, 0 to 1; 1 where no good day is known.

    Examples
    --------
    >>> part_of_the_way(good_ordinal=100, found_ordinal=300, run_ordinal=150)
    0.25
    """
    if good_ordinal is None or found_ordinal <= good_ordinal:
        return 1.0
    return min(max((run_ordinal - good_ordinal) / (found_ordinal - good_ordinal), 0.0), 1.0)


def recompute(
    findings: Sequence[Finding],
    wrong: Sequence[WrongInstrument],
    part: float,
    *,
    known: Known = NOTHING_KNOWN,
    guard_factors: GuardFactors | None = None,
) -> RecomputedRun:
    """Recompute the findings of one run with the error of one instrument taken out.

    A value that the instrument read becomes value − (error − what was known of it then); its limits, uncertainty and
    decision rule stay. A verdict that changes ``flips``; one that stays but whose value ± U reaches over a limit is
    ``doubtful``, and so is every finding that hangs on such a value, of the same stage, or on a reading that no limit
    judges: only the record, judged anew, can tell it.

    Parameters
    ----------
    findings : sequence of Finding, shape (n,)
        As they were stored.
    wrong : sequence of WrongInstrument, shape (m,)
        What was found, one for each unit of the points. A finding is recomputed by the points in its own unit, else by
        those that convert to it, else by the relative error of whichever does the most to it.
    part : float
        1 for the constant assumption, `part_of_the_way` for the linear one.
    known : Known, optional
        What was taken out of the readings when they were judged.
    guard_factors : mapping of (quantity, stage) to float, optional
        r of w = r·U of a customer's own rule, as the plan states it, dimensionless.

    Returns
    -------
    RecomputedRun
        The verdict of the run is combined as in the evaluation, before and after, from the single findings.

    Notes
    -----
    The value of a time in a voltage band cannot be told without the record, so it never flips here.

    References
    ----------
    ISO/IEC 17025:2017, 7.10 (from memory); the two assumptions: common practice, no source.
    """
    factors = guard_factors or {}
    single = [_raw(finding, factors) for finding in findings]
    rows = [_worst(finding, wrong, part, known, factors) for finding in single]
    rows = [_following(row, rows, wrong) for row in rows]
    before, _ = combine(single)
    after, _ = combine([replace(row.finding, verdict=row.verdict) for row in rows])
    effects = [row.effect for row in rows]
    worst = next((effect for effect in _WORST_FIRST if effect in effects), _WORST_FIRST[-1])
    effect: Effect = "flips" if before != after else "doubtful" if worst == "flips" else worst
    return RecomputedRun(before, after, effect, tuple(rows))


def _raw(finding: Finding, factors: GuardFactors) -> Finding:
    """Return the finding with its own verdict: what a fault of the test covered up is judged by itself again."""
    verdict = _decided(finding, finding.value, factors)
    return finding if verdict is None else replace(finding, verdict=verdict)


def _decided(finding: Finding, value: float | None, factors: GuardFactors) -> Verdict | None:
    if value is None or not _has_limit(finding):
        return None
    try:
        decision = decide(
            value=value,
            expanded_uncertainty=finding.expanded_uncertainty,
            coverage_factor=finding.coverage_factor or 2.0,
            minimum=finding.minimum,
            maximum=finding.maximum,
            rule=finding.decision or "simple_acceptance",
            guard_factor=factors.get((finding.quantity, finding.stage or None))
            if finding.decision in OWN_RULES
            else None,
        )
    except ValueError:  # a customer's own rule whose factor the plan does not tell
        return None
    is_test = finding.judges == "test" and decision.verdict == "does_not_conform"
    return "not_valid" if is_test else decision.verdict


def _has_limit(finding: Finding) -> bool:
    return finding.minimum is not None or finding.maximum is not None


def _table(wrong: WrongInstrument) -> Mapping[str, tuple[str, ...]]:
    return dependences().get(wrong.quantity, {"direct": (), "follows": ()})


def _worst(
    finding: Finding, wrong: Sequence[WrongInstrument], part: float, known: Known, factors: GuardFactors
) -> Recomputed:
    """Return a finding recomputed by the points that are nearest to it; of several, by what does the most to it."""
    direct = [one for one in wrong if finding.quantity in _table(one)["direct"]]
    if not direct or finding.value is None:
        why = "The instrument does not read it."
        return Recomputed(finding, None, finding.value, finding.verdict, "untouched", why)
    own = [one for one in direct if one.found.unit == finding.unit]
    alike = [one for one in direct if f"{one.found.unit} {finding.unit}" in _factors()]
    made = [_recomputed(finding, one, part, known, factors) for one in own or alike or direct]
    return min(made, key=lambda row: (_WORST_FIRST.index(row.effect), -abs(row.error or 0.0)))


def _recomputed(
    finding: Finding, wrong: WrongInstrument, part: float, known: Known, factors: GuardFactors
) -> Recomputed:
    before = finding.value or 0.0
    error = _error(finding, wrong, part, known)
    value = before - error
    unit = finding.unit
    taken = "error beyond what was known then," if _is_known(wrong, known) else "error"
    told = f"{before:.6g} {unit} less the {taken} {error:+.4g} {unit} is {value:.6g} {unit}"
    if not _has_limit(finding):
        why = f"{told}; no limit judges it."
        return Recomputed(finding, error, value, finding.verdict, "stands", why)
    verdict = _decided(finding, value, factors)
    if verdict is None:
        why = f"{told}; its rule must be applied by hand."
        return Recomputed(finding, error, value, finding.verdict, "doubtful", why)
    asked = _words(finding)
    if verdict != finding.verdict:
        return Recomputed(finding, error, value, verdict, "flips", f"{told}: {asked}.")
    if _is_close(finding, value):
        return Recomputed(finding, error, value, verdict, "doubtful", f"{told}, within U of a limit: {asked}.")
    return Recomputed(finding, error, value, verdict, "stands", f"{told}: {asked}.")


def _is_known(wrong: WrongInstrument, known: Known) -> bool:
    unit = wrong.found.unit
    return any(known.at(unit, reading) for reading in wrong.found.readings)


def _error(finding: Finding, wrong: WrongInstrument, part: float, known: Known) -> float:
    """Return the error of a value beyond what was known of it [unit of the finding]."""
    value, unit = finding.value or 0.0, wrong.found.unit
    factor = 1.0 if unit == finding.unit else _factors().get(f"{unit} {finding.unit}")
    if factor is not None:
        return _unknown(wrong, part, known, value / factor) * factor
    relative = _relative(wrong, part, known)
    return value * relative / (1 + relative)


def _unknown(wrong: WrongInstrument, part: float, known: Known, value: float) -> float:
    unit = wrong.found.unit
    reading = known.reading_of(unit, value)
    return wrong.error_at(reading, part) - known.at(unit, reading)


def _relative(wrong: WrongInstrument, part: float, known: Known) -> float:
    """Return the mean relative error of the points, for a finding in a unit that the points do not have."""
    found = wrong.found
    pairs = [
        (reading - known.at(found.unit, reading), wrong.error_at(reading, part) - known.at(found.unit, reading))
        for reading in found.readings
        if reading
    ]
    return sum(error / (value - error) for value, error in pairs if value != error) / max(len(pairs), 1)


def _is_close(finding: Finding, value: float) -> bool:
    spread = finding.expanded_uncertainty or 0.0
    limits = [limit for limit in (finding.minimum, finding.maximum) if limit is not None]
    return any(abs(value - limit) < spread for limit in limits)


def _words(finding: Finding) -> str:
    parts = []
    if finding.minimum is not None:
        parts.append(f"at least {finding.minimum:.6g} {finding.unit}")
    if finding.maximum is not None:
        parts.append(f"at most {finding.maximum:.6g} {finding.unit}")
    return "asked are " + " and ".join(parts)


def _following(row: Recomputed, rows: Sequence[Recomputed], wrong: Sequence[WrongInstrument]) -> Recomputed:
    """Return a finding that hangs on others: doubtful with them, standing where they clearly stand."""
    leading = [one for one in wrong if row.finding.quantity in _table(one)["follows"]]
    if row.effect != "untouched" or not leading:
        return row
    stage = row.finding.stage
    direct = {quantity for one in leading for quantity in _table(one)["direct"]}
    judged = [
        other
        for other in rows
        if other.finding.quantity in direct
        and _has_limit(other.finding)
        and (not stage or not other.finding.stage or other.finding.stage == stage)
    ]
    if not judged:
        why = "It hangs on a reading that no limit judges; judge the record anew to tell it."
        return replace(row, effect="doubtful", reason=why)
    if any(other.effect in ("flips", "doubtful") for other in judged):
        why = "It hangs on a value that is no longer sure; judge the record anew to tell it."
        return replace(row, effect="doubtful", reason=why)
    return replace(row, effect="stands", reason="It hangs on values that stand clear of their limits.")
