"""A run beside the earlier runs of its unit and the runs of its sisters: told to the approver, never a verdict."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from records.charts import Layer, Pattern, aligned_of, level_of, pattern_of, picture_of
from records.evaluation.comparing import Beside, beside_sisters, change_since
from records.evaluation.figures import figure_of
from records.evaluation.sweep.likeness import Likeness, NotComparable, compare_traces
from records.models import Evaluation, Finding, Run
from records.models.procedure import quantity_words, stage_words
from records.models.verdicts import Verdict
from records.selectors.digests import current_evaluation
from records.selectors.matters import Matter

_COMPARED = (
    "inception_voltage_kv",
    "extinction_voltage_kv",
    "apparent_charge_pc",
    "resonance_hz",
    "tuned_order",
    "resistance_at_reference_ohm",
    "capacitance_uf",
    "inductance_mh",
    "dissipation_factor",
    "temperature_rise_k",
)
_MOST_CHOICES = 50
# Kinds whose record is a voltage over time, which can be drawn on one time axis.
OVER_TIME = frozenset({"power_frequency_withstand", "partial_discharge"})
SWEPT = "frequency_response"
# Where the axis of an overlay begins; kinds that are not named have no picture, and their findings are compared.
_ON_ONE_AXIS: Mapping[str, str] = defaultdict(
    lambda: "side by side",
    {
        **dict.fromkeys(OVER_TIME, "on one time axis, which begins where each reached its first stage"),
        "lightning_impulse": "on one time axis, which begins at each one's virtual origin",
        SWEPT: "on one axis of frequency",
        "insulation_resistance": "on one time axis, which begins when the voltage was applied",
        "temperature_rise": "on one time axis, which begins at shutdown",
    },
)
DRAWN = frozenset(_ON_ONE_AXIS)
Key = tuple[str, str, float | None, float | None]


def comparable_runs(run: Run, viewer: Any) -> QuerySet[Run]:
    """Return the judged runs of the same kind, of this unit or its sisters, that the viewer may see; newest first."""
    unit = run.step.plan.unit
    same = Q(step__plan__unit=unit.pk)
    if unit.design:
        same |= Q(step__plan__unit__design=unit.design)
    runs = Run.objects.visible_to(viewer).for_list().prefetch_related("evaluations__findings", "evaluations__record")
    runs = runs.filter(same, step__kind=run.step.kind)
    return runs.filter(evaluations__isnull=False).exclude(pk=run.pk).distinct()[:_MOST_CHOICES]


@dataclass(frozen=True)
class SideBySide:
    """The findings of several runs in one table, and in words what is laid over what."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: str


def layers_of(run: Run, others: Sequence[Run]) -> list[Layer]:
    """Return what is drawn of a run and of others: those whose record shows a voltage over time."""
    layers = []
    for one in (run, *others):
        evaluation = current_evaluation(one)
        picture = picture_of(evaluation) if evaluation is not None else None
        if evaluation is not None and picture is not None:
            layers.append(Layer(f"{one.number}, {one.step.plan.unit.serial}", picture, aligned_of(evaluation)))
    return layers


def named_evaluations(run: Run, others: Sequence[Run]) -> list[tuple[str, Evaluation]]:
    """Return a run and others with the evaluations that count, by the names that an overlay gives them."""
    return [
        (f"{one.number}, {one.step.plan.unit.serial}", evaluation)
        for one in (run, *others)
        if (evaluation := current_evaluation(one)) is not None
    ]


def side_by_side(run: Run, others: Sequence[Run]) -> SideBySide:
    """Return what was found in a run and in others, a row a quantity; those of the run first in their order."""
    runs = (run, *others)
    found = [_figures(one) for one in runs]
    names = list(dict.fromkeys(name for figures in found for name in figures))
    rows = tuple((name, *(figures.get(name, "–") for figures in found)) for name in names)
    words = f"{', '.join(f'{one.number} ({one.step.plan.unit.serial})' for one in runs)} {_ON_ONE_AXIS[run.step.kind]}."
    return SideBySide(("Quantity", *(one.number for one in runs)), rows, words)


def patterns_of(run: Run, others: Sequence[Run]) -> list[tuple[str, Pattern]]:
    """Return the patterns of those runs that list pulses with their phase, by name."""
    named = named_evaluations(run, others)
    return [(name, pattern) for name, evaluation in named if (pattern := pattern_of(evaluation)) is not None]


def patterns_in_words(run: Run, others: Sequence[Run]) -> str:
    """Return what patterns over each other show; empty where fewer than two runs have one."""
    patterns = patterns_of(run, others) if others else []
    if len(patterns) < 2:
        return ""
    (name, first), *rest = patterns
    return (
        f"{name}: {first.words} Over it the greatest charge at each phase of {', '.join(other for other, _ in rest)}."
    )


def likeness_rows(run: Run, others: Sequence[Run]) -> tuple[tuple[str, ...], ...]:
    """Return how alike the sweep of a run is to each of the others: for information, never a verdict.

    A line a measure: its name, and its value for each of the others. Empty for other kinds.
    """
    if run.step.kind != SWEPT or not others:
        return ()
    evaluation = current_evaluation(run)
    own = level_of(evaluation) if evaluation else None
    found = [_likeness(own, current_evaluation(other)) for other in others]
    bands = dict.fromkeys(name for one in found if one for name in one.factors)
    lines: list[tuple[str, list[str]]] = [
        ("Correlation of the traces", [f"{one.correlation:.5g}" if one else "–" for one in found]),
        ("Mean difference of the traces", [f"{one.log_error_db:.3g} dB" if one else "–" for one in found]),
    ]
    for band in bands:
        told = [f"{one.factors[band]:.2f}" if one and band in one.factors else "–" for one in found]
        lines.append((f"Relative factor, {band} band (DL/T 911)", told))
    return tuple((name, *told) for name, told in lines) if any(found) else ()


def _likeness(own: tuple[Any, Any] | None, other: Evaluation | None) -> Likeness | None:
    beside = level_of(other) if other else None
    if own is None or beside is None:
        return None
    try:
        return compare_traces(own, beside)
    except NotComparable:
        return None


def _figures(run: Run) -> dict[str, str]:
    evaluation = current_evaluation(run)
    if evaluation is None:
        return {}
    figures: dict[str, str] = {}
    for row in evaluation.findings.all():
        shown = figure_of(row.quantity, row.value, row.expanded_uncertainty, row.unit)
        figures.setdefault(_named(row).rstrip(","), f"{shown.with_uncertainty} {shown.unit}".strip())
    return figures


def beside_others(run: Run, evaluation: Evaluation) -> list[Matter]:
    """Say where a value is unlike those of the sisters, and where it changed since the unit's run before."""
    own = {_key(row): row for row in evaluation.findings.all() if row.quantity in _COMPARED and row.value is not None}
    if not own:
        return []
    return [*_unlike_sisters(run, own), *_changed(run, own)]


def _key(row: Finding) -> Key:
    """Return what makes two findings comparable: quantity, stage and limits, which tell the branches of a filter."""
    return row.quantity, row.stage, row.minimum, row.maximum


def _values(findings: Iterable[Finding]) -> dict[Key, list[Finding]]:
    """Return by what is comparable one finding a run: that of its latest evaluation, in the order given."""
    grouped: dict[Key, dict[int, Finding]] = {}
    for row in findings:
        of_runs = grouped.setdefault(_key(row), {})
        known = of_runs.get(row.evaluation.run_id)
        if known is None or known.evaluation_id < row.evaluation_id:
            of_runs[row.evaluation.run_id] = row
    return {key: list(of_runs.values()) for key, of_runs in grouped.items()}


def _approved(run: Run) -> QuerySet[Finding]:
    rows = Finding.objects.select_related("evaluation").filter(quantity__in=_COMPARED, value__isnull=False)
    return rows.filter(evaluation__run__state=Run.State.APPROVED, evaluation__run__step__kind=run.step.kind)


def _unlike_sisters(run: Run, own: dict[Key, Finding]) -> list[Matter]:
    unit = run.step.plan.unit
    if not unit.design:
        return []
    rows = _approved(run).filter(evaluation__run__step__plan__unit__design=unit.design)
    others = _values(rows.exclude(evaluation__run__step__plan__unit=unit))
    matters = []
    for key, row in own.items():
        values = [other.value for other in others.get(key, ()) if other.value is not None]
        found = beside_sisters(row.value or 0.0, values, row.expanded_uncertainty)
        if found is not None and found.is_outlier:
            has_passed = run.verdict == Verdict.CONFORMS and row.verdict == Verdict.CONFORMS
            matters.append(Matter("info", _unlike(row, found, has_passed=has_passed)))
    return matters


def _unlike(row: Finding, found: Beside, *, has_passed: bool) -> str:
    side = "above" if found.score > 0 else "below"
    passed = "Passed, but unlike its sisters: " if has_passed else ""
    return (
        f"{passed}{_named(row)} of {_shown(row, row.value)} is unlike that of {found.count} runs of sister units: "
        f"it lies far {side} their median of {_shown(row, found.median)}, by the spread that they have among them."
    )


def _changed(run: Run, own: dict[Key, Finding]) -> list[Matter]:
    """Compare with the run of the same arrangement before this one, where both uncertainties are known."""
    rows = _approved(run).filter(
        evaluation__run__step__plan__unit=run.step.plan.unit_id,
        evaluation__run__arrangement__name=run.arrangement.name,
        evaluation__run__started_at__lt=run.started_at,
    )
    before = _values(rows.select_related("evaluation__run").order_by("evaluation__run__started_at", "evaluation__pk"))
    matters = []
    for key, row in own.items():
        if key not in before or row.value is None:
            continue
        last = before[key][-1]
        change = change_since(row.value, last.value or 0.0, row.expanded_uncertainty, last.expanded_uncertainty)
        if change.is_beyond_uncertainty and change.relative_pct is not None:
            matters.append(
                Matter(
                    "info",
                    f"{_named(row)} changed by {change.relative_pct:+.2g} % since run {last.evaluation.run.number}, "
                    f"where it was {_shown(last, last.value)}: more than both uncertainties.",
                )
            )
    return matters


def _named(row: Finding) -> str:
    words = quantity_words(row.quantity)
    return f"{words}, {stage_words(row.stage).lower()}," if row.stage else words


def _shown(row: Finding, value: float | None) -> str:
    figure = figure_of(row.quantity, value, row.expanded_uncertainty, row.unit)
    return f"{figure.value} {figure.unit}".strip()
