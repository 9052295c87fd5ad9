"""What the findings of a run become, had an instrument been wrong by what its calibration found."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Literal

from equipment.metrology.accuracy import ErrorCurve
from equipment.metrology.conformity import decide
from records.evaluation.findings import Finding, Verdict
from records.evaluation.judging import combine

Effect = Literal["flips", "doubtful", "stands", "untouched"]
_WORST_FIRST: tuple[Effect, ...] = ("flips", "doubtful", "stands", "untouched")
_TABLE = Path(__file__).with_name("dependence.toml")


@dataclass(frozen=True)
class WrongInstrument:
    """An instrument that was found wrong.

    Attributes
    ----------
    quantity : str
        What it measures, a row of ``dependence.toml``.
    found : ErrorCurve
        Errors as found, over the reading.
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


def recompute(findings: Sequence[Finding], wrong: WrongInstrument, part: float) -> RecomputedRun:
    """Recompute the findings of one run with the error of one instrument taken out.

    A value that the instrument read becomes value − error; its limits, uncertainty and decision rule stay. A verdict
    that changes ``flips``; one that stays but whose value ± U reaches over a limit is ``doubtful``, and so is every
    finding that hangs on such a value, of the same stage, and that only the record, judged anew, can tell.

    Parameters
    ----------
    findings : sequence of Finding, shape (n,)
        As they were stored.
    wrong : WrongInstrument
        What was found.
    part : float
        1 for the constant assumption, `part_of_the_way` for the linear one.

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
    table = dependences().get(wrong.quantity, {"direct": (), "follows": ()})
    single = [_raw(finding) for finding in findings]
    rows = [_recomputed(finding, wrong, part, table) for finding in single]
    unsure = [row.finding for row in rows if row.effect in ("flips", "doubtful")]
    rows = [_following(row, unsure, table) for row in rows]
    before, _ = combine(single)
    after, _ = combine([replace(row.finding, verdict=row.verdict) for row in rows])
    effects = [row.effect for row in rows]
    worst = next((effect for effect in _WORST_FIRST if effect in effects), _WORST_FIRST[-1])
    effect: Effect = "flips" if before != after else "doubtful" if worst == "flips" else worst
    return RecomputedRun(before, after, effect, tuple(rows))


def _raw(finding: Finding) -> Finding:
    """Return the finding with its own verdict: what a fault of the test covered up is judged by itself again."""
    verdict = _decided(finding, finding.value)
    return finding if verdict is None else replace(finding, verdict=verdict)


def _decided(finding: Finding, value: float | None) -> Verdict | None:
    if value is None or (finding.minimum is None and finding.maximum is None):
        return None
    try:
        decision = decide(
            value=value,
            expanded_uncertainty=finding.expanded_uncertainty,
            coverage_factor=finding.coverage_factor or 2.0,
            minimum=finding.minimum,
            maximum=finding.maximum,
            rule=finding.decision or "simple_acceptance",
        )
    except ValueError:  # a customer's own rule needs its factor, which a finding does not keep
        return None
    is_test = finding.judges == "test" and decision.verdict == "does_not_conform"
    return "not_valid" if is_test else decision.verdict


def _recomputed(
    finding: Finding, wrong: WrongInstrument, part: float, table: Mapping[str, tuple[str, ...]]
) -> Recomputed:
    if finding.quantity not in table["direct"] or finding.value is None:
        why = "The instrument does not read it."
        return Recomputed(finding, None, finding.value, finding.verdict, "untouched", why)
    error = _error(finding, wrong, part)
    value = finding.value - error
    verdict = _decided(finding, value)
    unit = finding.unit
    told = f"{finding.value:.6g} {unit} less the error {error:+.4g} {unit} is {value:.6g} {unit}"
    if verdict is None:
        why = f"{told}; its rule must be applied by hand."
        return Recomputed(finding, error, value, finding.verdict, "doubtful", why)
    asked = _words(finding)
    if verdict != finding.verdict:
        return Recomputed(finding, error, value, verdict, "flips", f"{told}: {asked}.")
    if _is_close(finding, value):
        return Recomputed(finding, error, value, verdict, "doubtful", f"{told}, within U of a limit: {asked}.")
    return Recomputed(finding, error, value, verdict, "stands", f"{told}: {asked}.")


def _error(finding: Finding, wrong: WrongInstrument, part: float) -> float:
    value = finding.value or 0.0
    if wrong.found.unit == finding.unit:
        return wrong.error_at(value, part)
    factor = _factors().get(f"{wrong.found.unit} {finding.unit}")
    if factor is not None:
        return wrong.error_at(value / factor, part) * factor
    relative = _relative(wrong, part)
    return value * relative / (1 + relative)


def _relative(wrong: WrongInstrument, part: float) -> float:
    """Return the mean relative error of the points, for a finding in a unit that the points do not have."""
    found = wrong.found
    pairs = [(reading, wrong.error_at(reading, part)) for reading in found.readings if reading]
    return sum(error / (reading - error) for reading, error in pairs if reading != error) / max(len(pairs), 1)


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


def _following(row: Recomputed, unsure: Sequence[Finding], table: Mapping[str, tuple[str, ...]]) -> Recomputed:
    """Return a finding that hangs on others: doubtful with them, standing where they clearly stand."""
    if row.effect != "untouched" or row.finding.quantity not in table["follows"]:
        return row
    stage = row.finding.stage
    if any(not stage or not other.stage or other.stage == stage for other in unsure):
        why = "It hangs on a value that is no longer sure; judge the record anew to tell it."
        return replace(row, effect="doubtful", reason=why)
    return replace(row, effect="stands", reason="It hangs on values that stand clear of their limits.")
