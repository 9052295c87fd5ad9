"""Derives the plan of a unit from its ratings: levels, steps in their order, and the basis of every figure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from schedules.rules.consistency import doubts, refuse_contradictions
from schedules.rules.errors import BadRatings, RatingsMissing
from schedules.rules.levels import FoundLevel, find_level
from schedules.rules.packs import load_packs
from schedules.rules.place import Altitude, air_of, altitude_of
from schedules.rules.plans import Earlier, FilledIn, OtherTest, Plan, PlannedStep, UnplannedTest, UsedPack
from schedules.rules.ratings import read_ratings
from schedules.rules.rulepack import ProcedureRule, RulePack
from schedules.rules.selection import Waiting, choose, choose_procedures, waiting_procedures
from schedules.rules.steps import StepMaker, branches_of
from schedules.rules.vocabulary import EQUIPMENT_KINDS, FIELDS_BY_NAME, USUAL_PHASES
from schedules.rules.workings import completed, workings

NOT_CONFIRMED = "nobody has confirmed these rows against a licensed copy yet."
"""How the warning about a pack ends that nobody has confirmed as a whole."""

_DIELECTRIC = ("power_frequency_withstand", "lightning_impulse", "partial_discharge")


def derive_plan(ratings: object, packs: Sequence[RulePack] | None = None) -> Plan:
    """Return the plan that these ratings call for.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        What is on the nameplate and in the order: ``equipment`` and one voltage at least; see ``RATING_FIELDS``.
    packs : Sequence[RulePack] or None
        The packs to draw on; None for the shipped ones.

    Returns
    -------
    Plan
        Ratings completed by look-up, the steps in their order, and notes and warnings for the reader. The same ratings
        and packs always give an equal plan.

    Raises
    ------
    BadRatings
        The ratings are wrong, contradict a table, or lack something that is asked for by name.
    PackError
        A shipped pack cannot be used.

    References
    ----------
    The packs' own; each step carries document, edition, clause and confidence of every figure.

    Examples
    --------
    >>> plan = derive_plan({"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110})
    >>> [(stage.exact_kv, stage.voltage_kv, stage.set_point_kv) for stage in plan.steps[1].procedure.stages]
    [(25.0, 25.0, 25.0), (10.738715, 10.74, 10.75)]
    """
    return _derive(read_ratings(ratings), load_packs() if packs is None else packs)


def _derive(stated: dict[str, Any], packs: Sequence[RulePack]) -> Plan:
    selection = choose(stated, packs)
    level = find_level(stated, selection.level_packs, selection.fitting)
    ratings, notes, added = _completed(stated, level)
    for branch in branches_of(ratings):
        refuse_contradictions(branch.ratings)
    classes = ratings["tests"]
    procedures, filled_in = choose_procedures(selection, ratings)
    ordered = sorted(procedures, key=lambda pair: (pair[1].order, pair[1].name))
    planned = [(pack, rule) for pack, rule in ordered if rule.test_class in classes]
    site = altitude_of(ratings, level.pack.altitude_reference, level.pack.document)
    made = _made(ratings, stated, level, planned, site)
    steps = tuple(_compared(made, place) for place in range(len(made)))
    if not steps:
        raise BadRatings(
            "tests", f"none of {', '.join(classes)} is in the packs for this unit", "add another class of test"
        )
    waiting = waiting_procedures(selection, ratings, procedures)
    used = list({pack.sha256: pack for pack in (level.pack, *(pack for pack, _ in planned))}.values())
    return Plan(
        ratings=ratings,
        steps=steps,
        packs=tuple(UsedPack(pack.name, pack.document, pack.edition, pack.sha256) for pack in used),
        other_tests=tuple(_other_tests(ordered, classes, waiting)),
        notes=(*selection.notes, *filled_in, *level.notes, *notes, *_air(ratings, steps)),
        warnings=(
            *level.warnings,
            *doubts(ratings),
            *_warnings(ratings, steps, used),
            *_height(ratings, steps, level, site),
            *_missing(waiting, classes),
        ),
        workings=workings(ratings),
        filled_in=added,
        altitude=site,
        not_planned=_not_planned(used),
    )


def _made(
    ratings: dict[str, Any],
    stated: dict[str, Any],
    level: FoundLevel,
    planned: Sequence[tuple[RulePack, ProcedureRule]],
    site: Altitude | None,
) -> list[tuple[ProcedureRule, PlannedStep]]:
    """Return the steps of all procedures; what any of them lacks is asked for at once."""
    made: list[tuple[ProcedureRule, PlannedStep]] = []
    missing: list[RatingsMissing] = []
    for pack, rule in planned:
        try:
            made += [(rule, step) for step in _steps(ratings, stated, level, pack, rule, site)]
        except RatingsMissing as fault:
            missing.append(fault)
    if missing:
        raise RatingsMissing.together(missing)
    return made


def _steps(
    ratings: dict[str, Any],
    stated: dict[str, Any],
    level: FoundLevel,
    pack: RulePack,
    rule: ProcedureRule,
    site: Altitude | None,
) -> Iterator[PlannedStep]:
    """Give the step of a procedure; one for each branch where the procedure is done on each."""
    branches = branches_of(ratings)
    groups = [(branch,) for branch in branches] if rule.branches == "each" else [branches]
    for group in groups:
        yield StepMaker(ratings, stated, level, pack, rule, site, group).step()


def _compared(made: Sequence[tuple[ProcedureRule, PlannedStep]], place: int) -> PlannedStep:
    """Return a step with the earlier one that it is compared with; of a bank that of the same branch."""
    rule, step = made[place]
    if not rule.compared_with:
        return step
    branch = step.title.removeprefix(rule.title)
    found = next(
        (
            Earlier(position, earlier.title, of.name)
            for position, (of, earlier) in enumerate(made[:place], start=1)
            if of.name == rule.compared_with and earlier.title == of.title + branch
        ),
        None,
    )
    return step if found is None else replace(step, procedure=replace(step.procedure, compared_with=found))


def _other_tests(
    ordered: Sequence[tuple[RulePack, ProcedureRule]], classes: Sequence[str], waiting: Sequence[Waiting]
) -> Iterator[OtherTest]:
    for pack, rule in ordered:
        if rule.test_class not in classes:
            yield OtherTest(rule.kind, rule.title, rule.test_class, pack.document)
    for one in waiting:
        rule = one.rule
        yield OtherTest(rule.kind, rule.title, rule.test_class, one.pack.document, one.rating)


def _missing(waiting: Sequence[Waiting], classes: Sequence[str]) -> list[str]:
    found = []
    for one in waiting:
        if one.is_figure and one.rule.test_class in classes:
            field = FIELDS_BY_NAME[one.rating]
            what = f"{field.label.lower()} ({one.rating}{f', {field.unit}' if field.unit else ''})"
            found.append(f"{one.rule.title} is not planned: {one.pack.document} asks for it; state {what}.")
    return found


def _air(ratings: Mapping[str, Any], steps: Sequence[PlannedStep]) -> list[str]:
    """Return why set points of dry external insulation will not be corrected for the air of a run."""
    is_outside = any(air_of(step.kind, step.pattern, step.procedure.frequency_hz, 1.0) for step in steps)
    if not is_outside or "discharge_path_m" in ratings:
        return []
    return [
        "The shortest path through air is not stated: set points of external insulation are not "
        "corrected for the air of the run (Kt, IEC 60060-1)."
    ]


def _height(
    ratings: Mapping[str, Any], steps: Sequence[PlannedStep], level: FoundLevel, site: Altitude | None
) -> list[str]:
    """Return which levels the altitude of the site raises, and which of external insulation it does not."""
    if "altitude_m" not in ratings:
        if "altitude_levels" in ratings:
            raise BadRatings("altitude_m", "is missing", "give it beside altitude_levels, or leave both out")
        return []
    if site is None:
        return [f"{level.pack.document} does not say up to which height its levels hold: no factor is worked out."]
    if site.factor <= 1:
        return []
    found = [f"The site lies at {site.altitude_m:g} m: the factor for external insulation is {site.factor:.5g}."]
    for use, words in (("applied", "It raises the set points of"), ("stated", "It does not raise the set points of")):
        titles = dict.fromkeys(step.title for step in steps if step.altitude is not None and step.altitude.use == use)
        found += [f"{words} {'; '.join(titles)}."] if titles else []
    return [" ".join(found)]


def _not_planned(used: Sequence[RulePack]) -> tuple[UnplannedTest, ...]:
    return tuple(
        UnplannedTest(one.test, pack.document, pack.edition, one.clause, one.confidence)
        for pack in used
        for one in pack.not_planned
    )


def _completed(stated: Mapping[str, Any], level: FoundLevel) -> tuple[dict[str, Any], list[str], tuple[FilledIn, ...]]:
    """Return the ratings with what was looked up or is usual, notes, and each addition with where it comes from."""
    ratings = dict(stated)
    notes, added = [], []
    row, source = level.row, f"{level.pack.document}, {level.table.title}"
    found: dict[str, tuple[Any, str]] = {
        "highest_voltage_kv": (row.highest_voltage_kv, f"row of {source}"),
        "power_frequency_kv": (row.power_frequency_kv, f"row of {source}"),
        "frequency_hz": (level.table.frequency_hz, "usual for this table"),
        "phases": (USUAL_PHASES[ratings["equipment"]], f"usual for {EQUIPMENT_KINDS[ratings['equipment']].lower()}"),
        "tests": (("routine",), "only routine tests unless the order asks for more"),
        "decision_rule": ("simple_acceptance", "unless the order agrees another"),
    }
    if level.lightning_impulse_kv is not None:
        found["lightning_impulse_kv"] = (level.lightning_impulse_kv, f"row of {source}")
    for key, (value, why) in found.items():
        if key not in ratings:
            ratings[key] = value
            added.append(FilledIn(key, value, why))
    for key, value in completed(ratings).items():
        ratings[key] = value
        added.append(FilledIn(key, float(f"{value:.6g}"), "worked out from the other ratings"))
    if "branches" in ratings:
        whole = [
            own | {name: float(f"{value:.6g}") for name, value in completed(branch.ratings).items()}
            for own, branch in zip(ratings["branches"], branches_of(ratings), strict=True)
        ]
        # A sweep shows its branches by rising resonance, so that is their order in the plan too.
        ratings["branches"] = tuple(sorted(whole, key=lambda own: own.get("tuned_order", 0.0)))
    notes += [_told(one) for one in added]
    if ratings["power_frequency_kv"] > row.power_frequency_kv:
        notes.append(f"The order asks {ratings['power_frequency_kv']:g} kV; the row has {row.power_frequency_kv:g} kV.")
    return ratings, notes, tuple(added)


def _told(one: FilledIn) -> str:
    """Return in a sentence what was filled in, by the label of the field and with its unit."""
    field, value = FIELDS_BY_NAME[one.name], one.value
    words = value if isinstance(value, tuple) else (value,) if isinstance(value, str) else (f"{value:g}",)
    shown = ", ".join(word.replace("_", " ") for word in words)
    return f"{field.label} was not stated: {shown} {field.unit}".rstrip() + f" ({one.because})."


def _warnings(ratings: Mapping[str, Any], steps: Sequence[PlannedStep], used: Sequence[RulePack]) -> list[str]:
    found = [f"{pack.document} {pack.edition}: {NOT_CONFIRMED}" for pack in used if not pack.confirmed_by]
    occasion = ratings.get("occasion", "first")
    if occasion != "first":
        found += [
            f"{step.title}: {step.document} says nothing of another level for this occasion; the full one is planned."
            for step in steps
            if step.kind in _DIELECTRIC and occasion not in {rule.cause for rule in step.retest}
        ]
    for step in steps:
        stages = {stage.name: stage.exact_kv for stage in step.procedure.stages}
        if stages.get("measurement", 0.0) > stages.get("prestress", float("inf")):
            found.append(f"{step.title}: the measurement lies above the pre-stress; check the agreed test voltage.")
    return found
