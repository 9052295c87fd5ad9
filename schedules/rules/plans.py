"""A plan: the ordered steps for one unit, each with its procedure and the reason for every figure in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from schedules.rules.place import Air, Altitude
from schedules.rules.workings import Working


@dataclass(frozen=True, slots=True)
class Basis:
    """Where one figure of a step comes from; ``of`` is its place in the procedure, ``row`` the row of the pack."""

    of: str
    document: str
    edition: str
    clause: str
    formula: str
    inputs: Mapping[str, float]
    result: float | None
    unit: str
    confidence: str
    pack: str = ""
    row: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the basis in the shape of the shell contract."""
        shape = {
            "of": self.of,
            "document": self.document,
            "edition": self.edition,
            "clause": self.clause,
            "formula": self.formula,
            "inputs": dict(self.inputs),
            "result": self.result,
            "unit": self.unit,
            "confidence": self.confidence,
        }
        return shape | ({"pack": self.pack, "row": self.row} if self.row else {})


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage: the planned level [kV], what the floor sets [kV], the exact value [kV], hold [s], tolerance [%].

    Where the altitude of the site raises it, ``level_kv`` is the document's and ``altitude_factor`` what raises it.
    """

    name: str
    voltage_kv: float
    tolerance_pct: float
    exact_kv: float
    set_point_kv: float
    hold_s: float | None = None
    polarity: str = ""
    wave: str = ""
    level_kv: float | None = None
    altitude_factor: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the stage in the shape of the shell contract."""
        shape: dict[str, Any] = {"name": self.name, "voltage_kv": self.voltage_kv}
        if self.hold_s is not None:
            shape["hold_s"] = self.hold_s
        shape["tolerance_pct"] = self.tolerance_pct
        if self.polarity:
            shape["polarity"] = self.polarity
        if self.wave:
            shape["wave"] = self.wave
        if self.altitude_factor is not None:
            shape |= {"level_kv": self.level_kv, "altitude_factor": self.altitude_factor}
        return shape | {"exact_kv": self.exact_kv, "set_point_kv": self.set_point_kv}


@dataclass(frozen=True, slots=True)
class Criterion:
    """One limit on one quantity; ``judges`` says whether a value outside it is the unit's fault or the test's."""

    quantity: str
    judges: str
    decision: str
    stage: str = ""
    minimum: float | None = None
    maximum: float | None = None
    nominal: float | None = None
    tolerance_pct: float | None = None
    guard_factor: float | None = None
    branch: int | None = None
    has_four_states: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return the criterion in the shape of the shell contract; bounds that it does not have are left out."""
        shape: dict[str, Any] = {"quantity": self.quantity}
        if self.stage:
            shape["stage"] = self.stage
        if self.branch:
            shape["branch"] = str(self.branch)  # a name, which the evaluation matches by its tuned order
        bounds = (
            ("min", self.minimum),
            ("max", self.maximum),
            ("nominal", self.nominal),
            ("tolerance_pct", self.tolerance_pct),
            ("guard_factor", self.guard_factor),
        )
        shape |= {name: bound for name, bound in bounds if bound is not None}
        if self.has_four_states:
            shape["statement"] = "four_states"
        return shape | {"decision": self.decision, "judges": self.judges}


@dataclass(frozen=True, slots=True)
class Earlier:
    """The step of the plan whose result a later one is compared with: place from 1, title, name of its procedure."""

    position: int
    title: str
    procedure: str

    def as_dict(self) -> dict[str, Any]:
        """Return the step in the shape of the shell contract."""
        return {"position": self.position, "title": self.title, "procedure": self.procedure}


@dataclass(frozen=True, slots=True)
class Procedure:
    """What is done and how it is judged: stages, criteria, and checks of the set-up before anything is energised."""

    name: str
    stages: tuple[Stage, ...]
    criteria: tuple[Criterion, ...]
    setup_checks: tuple[Criterion, ...]
    report: tuple[str, ...]
    threshold_pc: float | None = None
    frequency_hz: float | None = None
    reference_temperature_c: float | None = None
    temperature_constant_c: float | None = None
    air: Air | None = None
    acceptance: str = ""
    compared_with: Earlier | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the procedure in the shape of the shell contract."""
        shape: dict[str, Any] = {"name": self.name}
        if self.stages:
            shape["stages"] = [stage.as_dict() for stage in self.stages]
        for name in ("threshold_pc", "frequency_hz", "reference_temperature_c", "temperature_constant_c"):
            if getattr(self, name) is not None:
                shape[name] = getattr(self, name)
        if self.acceptance:
            shape["acceptance"] = self.acceptance
        if self.compared_with is not None:
            shape["compared_with"] = self.compared_with.as_dict()
        if self.air is not None:
            shape["air"] = self.air.as_dict()
        return shape | {
            "criteria": [criterion.as_dict() for criterion in self.criteria],
            "setup_checks": [check.as_dict() for check in self.setup_checks],
            "report": list(self.report),
        }


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Which terminals are energised and which earthed in one performance of a step."""

    name: str
    energised: tuple[str, ...]
    earthed: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the arrangement in the shape of the shell contract."""
        return {"name": self.name, "energised": list(self.energised), "earthed": list(self.earthed)}


@dataclass(frozen=True, slots=True)
class Retest:
    """When the test is made again, at how much of the level [%], and by which rule."""

    cause: str
    level_pct: float
    words: str
    document: str
    clause: str
    confidence: str

    def as_dict(self) -> dict[str, Any]:
        """Return the rule in the shape of the shell contract."""
        return {
            "cause": self.cause,
            "level_pct": self.level_pct,
            "words": self.words,
            "document": self.document,
            "clause": self.clause,
            "confidence": self.confidence,
        }


@dataclass(frozen=True, slots=True)
class Choice:
    """Which alternative of a document was taken, whether the order stated it, and what it stands in place of."""

    rating: str
    chosen: str
    is_stated: bool
    instead_of: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the choice in the shape of the shell contract."""
        return {
            "rating": self.rating,
            "chosen": self.chosen,
            "is_stated": self.is_stated,
            "instead_of": list(self.instead_of),
        }


@dataclass(frozen=True, slots=True)
class StepAltitude:
    """What the altitude of the site does to the set points of a step: ``applied`` or only ``stated``, and why."""

    use: str
    factor: float
    reference: str
    document: str
    words: str
    clause: str
    confidence: str

    def as_dict(self) -> dict[str, Any]:
        """Return the altitude in the shape of the shell contract."""
        return {
            "use": self.use,
            "factor": self.factor,
            "reference": self.reference,
            "document": self.document,
            "words": self.words,
            "clause": self.clause,
            "confidence": self.confidence,
        }


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One test of the plan; ``point`` is ``hold``, ``witness`` or None, ``document`` whose procedure it is."""

    kind: str
    title: str
    test_class: str
    point: str | None
    because: str
    procedure: Procedure
    arrangements: tuple[Arrangement, ...]
    basis: tuple[Basis, ...]
    retest: tuple[Retest, ...] = ()
    must_be_equal: tuple[str, ...] = ()
    choice: Choice | None = None
    pattern: str = ""
    altitude: StepAltitude | None = None
    document: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the step in the shape of the shell contract."""
        shape: dict[str, Any] = {
            "kind": self.kind,
            "title": self.title,
            "class": self.test_class,
            "point": self.point,
            "because": self.because,
            "procedure": self.procedure.as_dict(),
            "pattern": self.pattern,
            "arrangements": [arrangement.as_dict() for arrangement in self.arrangements],
            "basis": [basis.as_dict() for basis in self.basis],
            "retest": [rule.as_dict() for rule in self.retest],
        }
        if self.altitude is not None:
            shape["altitude"] = self.altitude.as_dict()
        if self.must_be_equal:
            shape["evidence"] = {"must_be_equal": ["design", *self.must_be_equal]}
        return shape | ({"choice": self.choice.as_dict()} if self.choice is not None else {})


@dataclass(frozen=True, slots=True)
class UsedPack:
    """A pack that the plan drew on, with the digest of its file."""

    name: str
    document: str
    edition: str
    sha256: str

    def as_dict(self) -> dict[str, Any]:
        """Return the pack in the shape of the shell contract."""
        return {"name": self.name, "document": self.document, "edition": self.edition, "sha256": self.sha256}


@dataclass(frozen=True, slots=True)
class OtherTest:
    """A test that the packs know and the plan does not hold: not asked for, or `asks_for` a rating not stated."""

    kind: str
    title: str
    test_class: str
    document: str
    asks_for: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the test in the shape of the shell contract."""
        shape = {"kind": self.kind, "title": self.title, "class": self.test_class, "document": self.document}
        return shape | ({"asks_for": self.asks_for} if self.asks_for else {})


@dataclass(frozen=True, slots=True)
class UnplannedTest:
    """A test that a document in use asks for and for which there is no kind of step: nobody plans it here."""

    test: str
    document: str
    edition: str
    clause: str
    confidence: str

    def as_dict(self) -> dict[str, Any]:
        """Return the test in the shape of the shell contract."""
        return {
            "test": self.test,
            "document": self.document,
            "edition": self.edition,
            "clause": self.clause,
            "confidence": self.confidence,
        }


@dataclass(frozen=True, slots=True)
class FilledIn:
    """One rating that nobody stated: its value, and where it was taken from."""

    name: str
    value: Any
    because: str

    def as_dict(self) -> dict[str, Any]:
        """Return the rating in the shape of the shell contract."""
        return {"name": self.name, "value": plain(self.value), "because": self.because}


@dataclass(frozen=True, slots=True)
class Plan:
    """Ratings completed from the packs, the steps in their order, and what a reader must be told."""

    ratings: Mapping[str, Any]
    steps: tuple[PlannedStep, ...]
    packs: tuple[UsedPack, ...]
    other_tests: tuple[OtherTest, ...]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    workings: tuple[Working, ...] = ()
    filled_in: tuple[FilledIn, ...] = ()
    altitude: Altitude | None = None
    not_planned: tuple[UnplannedTest, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the plan in the shape of the shell contract, ready for JSON."""
        shape: dict[str, Any] = {
            "ratings": {key: plain(value) for key, value in self.ratings.items()},
            "steps": [step.as_dict() for step in self.steps],
            "packs": [pack.as_dict() for pack in self.packs],
            "other_tests": [test.as_dict() for test in self.other_tests],
            "notes": list(self.notes),
            "warnings": list(self.warnings),
            "workings": [working.as_dict() for working in self.workings],
            "filled_in": [one.as_dict() for one in self.filled_in],
            "not_planned": [one.as_dict() for one in self.not_planned],
        }
        return shape | ({"altitude": self.altitude.as_dict()} if self.altitude is not None else {})


def plain(value: Any) -> Any:
    """Return a rating as JSON holds it: tuples as lists, mappings as objects."""
    if isinstance(value, tuple):
        return [plain(one) for one in value]
    return dict(value) if isinstance(value, Mapping) else value
