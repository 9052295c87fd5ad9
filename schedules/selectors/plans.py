"""A plan as a page shows it: steps with stages, criteria, bases and arrangements."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from equipment.metrology.conformity import DECISION_RULES
from schedules.models import Arrangement, Plan, Step
from schedules.rules import FIELDS_BY_NAME, STEP_KINDS, TEST_CLASSES
from schedules.rules.units import unit_of

DECISIONS = {
    "simple_acceptance": "simple acceptance",
    "guard_band": "guard band",
    **{
        name: f"guard band of {DECISION_RULES[name].guard_factor:g} U"
        for name in ("iso_14253", "three_sigma", "six_sigma")
    },
    "non_critical": "non-critical",
    "customer_defined": "the customer's own",
}
ACCEPTANCES = {
    "three": "three impulses, none with a disruptive discharge",
    "three_plus_nine": "three impulses without a disruptive discharge; after exactly one, nine more without any",
    "fifteen": "fifteen impulses with at most two disruptive discharges in self-restoring insulation",
    "fifteen_five_clear": "fifteen impulses with at most two disruptive discharges in self-restoring insulation and "
    "the last five clear, else more, to at most twenty-five",
}
"""When a series of impulses of one polarity passes, in words."""

JUDGED = {"unit": "the unit", "test": "the test"}

Places = frozenset[tuple[str, str]]
NOWHERE: Places = frozenset()


def kinds_in_words(kinds: Iterable[str]) -> list[str]:
    """Return the names of kinds of test as a reader sees them."""
    return [STEP_KINDS.get(kind, kind) for kind in kinds]


@dataclass(frozen=True)
class CriterionLine:
    """One limit in words: what, in which stage, between which bounds, by which rule, and who fails outside it."""

    quantity: str
    stage: str
    bounds: str
    decision: str
    judges: str


@dataclass(frozen=True)
class BasisLine:
    """One figure's reason: what it is for, its value with unit, and where it comes from."""

    of: str
    value: str
    source: dict[str, Any]
    is_unconfirmed: bool = False


@dataclass(frozen=True)
class StepSheet:
    """One step as a page shows it; `step` and `rows` are there once the plan is adopted."""

    position: int
    kind: str
    title: str
    test_class: str
    because: str
    point: str
    stages: list[dict[str, Any]]
    criteria: list[CriterionLine]
    setup_checks: list[CriterionLine]
    bases: list[BasisLine]
    arrangements: list[dict[str, Any]]
    retest: list[dict[str, Any]]
    must_be_equal: list[str]
    choice: dict[str, Any] | None
    air: dict[str, Any] | None
    altitude: dict[str, Any] | None
    compared_with: dict[str, Any] | None
    acceptance: str
    step: Step | None = None
    rows: list[Arrangement] = field(default_factory=list)

    @property
    def is_raised(self) -> bool:
        """Say whether the altitude of the site raises the set points."""
        return self.altitude is not None and self.altitude["use"] == "applied"

    @property
    def is_held(self) -> bool:
        """Say whether a hold point still stands in the way."""
        return self.step is not None and self.point == Step.Point.HOLD and self.step.released_at is None


def sheets_of_plan(plan: Plan, unconfirmed: Places = NOWHERE) -> list[StepSheet]:
    """Return the steps of an adopted plan; what rests on `unconfirmed` rows is marked."""
    return [sheet_of(step.position, step.document, step, unconfirmed) for step in plan.steps.all()]


def sheets_of_document(document: dict[str, Any], unconfirmed: Places = NOWHERE) -> list[StepSheet]:
    """Return the steps of a plan that was only proposed."""
    return [sheet_of(place, step, None, unconfirmed) for place, step in enumerate(document["steps"], start=1)]


def sheet_of(
    position: int, document: dict[str, Any], step: Step | None = None, unconfirmed: Places = NOWHERE
) -> StepSheet:
    """Return one step as a page shows it."""
    procedure = document["procedure"]
    return StepSheet(
        position=position,
        kind=STEP_KINDS.get(document["kind"], document["kind"]),
        title=document["title"],
        test_class=TEST_CLASSES.get(document["class"], document["class"]),
        because=document["because"],
        point=document["point"] or "",
        stages=procedure.get("stages", []),
        criteria=[criterion_line(criterion) for criterion in procedure["criteria"]],
        setup_checks=[criterion_line(check) for check in procedure.get("setup_checks", [])],
        bases=[basis_line(basis, unconfirmed) for basis in document["basis"]],
        arrangements=document["arrangements"],
        retest=document.get("retest", []),
        must_be_equal=[label_of(name) for name in document.get("evidence", {}).get("must_be_equal", [])],
        choice=document.get("choice"),
        air=procedure.get("air"),
        altitude=document.get("altitude"),
        compared_with=procedure.get("compared_with"),
        acceptance=ACCEPTANCES.get(procedure.get("acceptance", ""), ""),
        step=step,
        rows=list(step.arrangements.all()) if step is not None else [],
    )


def label_of(name: str) -> str:
    """Return the label of a rating as forms show it."""
    return FIELDS_BY_NAME[name].label if name in FIELDS_BY_NAME else name.replace("_", " ").capitalize()


def criterion_line(criterion: dict[str, Any]) -> CriterionLine:
    """Return a criterion in words."""
    return CriterionLine(
        quantity=quantity_in_words(criterion["quantity"]) + _of_branch(criterion),
        stage=criterion.get("stage", ""),
        bounds=bounds_in_words(criterion),
        decision=decision_in_words(criterion),
        judges=JUDGED.get(criterion["judges"], criterion["judges"]),
    )


def decision_in_words(criterion: dict[str, Any]) -> str:
    """Return the decision rule of a criterion, with the customer's factor and the four states where they are asked."""
    words = DECISIONS.get(criterion["decision"], criterion["decision"].replace("_", " "))
    if criterion.get("guard_factor") is not None:
        words += f", r = {criterion['guard_factor']:g}"
    return f"{words}, stated in four states" if criterion.get("statement") == "four_states" else words


def _of_branch(criterion: dict[str, Any]) -> str:
    branch = criterion.get("branch")
    return f" (branch {branch})" if branch else ""


def basis_line(basis: dict[str, Any], unconfirmed: Places = NOWHERE) -> BasisLine:
    """Return a basis with its value written out."""
    is_unconfirmed = (basis.get("pack", ""), basis.get("row", "")) in unconfirmed
    value = "" if basis["result"] is None else f"{basis['result']:.10g} {basis['unit']}".strip()
    return BasisLine(basis["of"].replace(".", " · ").replace("_", " "), value, basis, is_unconfirmed)


def quantity_in_words(quantity: str) -> str:
    """Return a quantity's name without its unit: `held_voltage_kv` is "Held voltage"."""
    if quantity == "held_s":  # what is held is the time
        return "Hold time"
    stem = quantity.rpartition("_")[0] if unit_of(quantity) else quantity
    return stem.replace("_", " ").capitalize()


def bounds_in_words(criterion: dict[str, Any]) -> str:
    """Return the bounds of a criterion with their unit."""
    unit = unit_of(criterion["quantity"])
    least, most, nominal = (criterion.get(name) for name in ("min", "max", "nominal"))
    if nominal is not None and criterion.get("tolerance_pct") is not None:
        words = f"{nominal:.10g} {unit} ± {criterion['tolerance_pct']:.10g} %"
    elif least is not None and most is not None:
        words = f"{least:.10g} to {most:.10g} {unit}"
    elif least is not None:
        words = f"at least {least:.10g} {unit}"
    elif most is not None:
        words = f"at most {most:.10g} {unit}"
    else:
        words = "stated only"
    return " ".join(words.split())
