"""What the calibrations of an instrument say over time: drift, proposals of its interval, and the whole fleet's."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from equipment.charts import Plot, PlotFrame
from equipment.charts.plot import ends
from equipment.metrology.control import individuals_chart, nelson_rules
from equipment.metrology.intervals import Drift, drift_to_limit, shortening_factor, simple_response
from equipment.metrology.reliability import Reliability, reliability
from equipment.metrology.validity import in_words
from equipment.models import Calibration, Instrument
from equipment.models.instrument import Quantity
from equipment.selectors.accuracy import AS_FOUND, AS_LEFT, required_of

DAYS_A_MONTH = 30.4375
EXTENSION, TARGET = 0.1, 0.95
_IN = (Calibration.AsFound.WITHIN, Calibration.AsFound.DOUBTFUL)


@dataclass(frozen=True)
class DriftPoint:
    """The error at one value in one calibration, as found or as left [unit of the series]."""

    on: date
    moment: str
    error: float
    expanded_uncertainty: float
    certificate: str


@dataclass(frozen=True)
class DriftSeries:
    """The errors at the value that most calibrations share, with the largest error allowed there."""

    reference: float
    unit: str
    allowed: float | None
    points: tuple[DriftPoint, ...]

    @property
    def title(self) -> str:
        """Return what is shown."""
        return f"Error at {self.reference:g} {self.unit}"


@dataclass(frozen=True)
class Proposal:
    """A proposed interval [months] by one method, or why the method cannot say; with the numbers behind it."""

    method: str
    title: str
    months: int | None
    reason: str
    numbers: dict[str, Any]


def drift_series(instrument: Instrument) -> DriftSeries | None:
    """Return the errors over time at the reference value that most calibrations have, from prefetched points."""
    calibrations = sorted(instrument.calibrations.all(), key=lambda row: (row.calibrated_on, row.pk))
    shared = Counter((point.reference, point.unit) for row in calibrations for point in row.points.all())
    if not shared:
        return None
    reference, unit = max(shared, key=lambda key: (shared[key], key[0]))
    points = tuple(
        DriftPoint(
            row.calibrated_on,
            point.moment,
            point.reading - point.reference,
            point.expanded_uncertainty,
            row.certificate_number,
        )
        for row in calibrations
        for point in row.points.all()
        if (point.reference, point.unit) == (reference, unit)
    )
    limits = [rule.at(reference) for rule in required_of(instrument) if rule.covers(reference, unit)]
    return DriftSeries(reference, unit, min(limits, default=None), points)


def drift_plot(series: DriftSeries) -> Plot:
    """Return the picture of the errors over time, spreads as bars and the required accuracy as a region."""
    days = [point.on.toordinal() for point in series.points]
    heights = [point.error + sign * point.expanded_uncertainty for point in series.points for sign in (-1, 1)]
    limits = [] if series.allowed is None else [-1.2 * series.allowed, 1.2 * series.allowed]
    frame = PlotFrame(ends(days), ends([*heights, *limits]))
    if series.allowed is not None:
        frame.band(-series.allowed, series.allowed, "allowed")
    fit = drift_line(series)
    if fit is not None:
        low = fit.line.x_min
        frame.trace([(day, fit.line.at(day).value) for day in (low, frame.x[1])], "plot-line")
        steps = [low + (frame.x[1] - low) * n / 30 for n in range(31)]
        for end in (0, 1):
            frame.trace([(day, fit.band(day)[end]) for day in steps], "plot-line-thin")
    for point in series.points:
        words = f"{point.certificate}, {point.on}, {'as found' if point.moment == AS_FOUND else 'as left'}"
        told = f"{words}: {point.error:+.4g} {series.unit} ± {point.expanded_uncertainty:.3g}"
        kind = "left" if point.moment == AS_LEFT else ""
        frame.dot(point.on.toordinal(), point.error, point.expanded_uncertainty, told, kind)
    words = f"{series.title} over {len(days)} points; full dots as found, open dots as left, bars are U."
    return frame.plot(words=words, x_title="Day of the calibration", y_title=f"Error, {series.unit}", days=True)


def drift_line(series: DriftSeries) -> Drift | None:
    """Return the fitted drift since the last adjustment, or None where fewer than three points say anything of it."""
    points = _since_adjustment(series)
    if series.allowed is None or not series.allowed or len({point.on for point in points}) < 3:
        return None
    spread = max(point.expanded_uncertainty for point in points)
    days = [float(point.on.toordinal()) for point in points]
    return drift_to_limit(days, [p.error for p in points], limit=series.allowed, expanded_uncertainty=spread)


def _since_adjustment(series: DriftSeries) -> list[DriftPoint]:
    """Return the points without a jump between them: as found, and as left where it starts anew."""
    kept: list[DriftPoint] = []
    by_day: dict[date, dict[str, DriftPoint]] = {}
    for point in series.points:
        by_day.setdefault(point.on, {})[point.moment] = point
    for on in sorted(by_day):
        found, left = by_day[on].get(AS_FOUND), by_day[on].get(AS_LEFT)
        if found is not None:
            kept.append(found)
        if left is not None and (found is None or abs(left.error - found.error) > 1e-12):
            kept = [left] if found is not None else [*kept, left]
    return kept


def proposals(instrument: Instrument) -> list[Proposal]:
    """Return what each method proposes for the interval of an instrument; a person decides."""
    series = drift_series(instrument)
    return [_staircase(instrument), _by_drift(instrument, series), _by_chart(instrument, series)]


def last_stated(instrument: Instrument) -> Calibration | None:
    """Return the last calibration that says how the instrument was found, or None."""
    stated = [row for row in instrument.calibrations.all() if row.as_found != Calibration.AsFound.NOT_STATED]
    return max(stated, key=lambda row: (row.calibrated_on, row.pk), default=None)


def _staircase(instrument: Instrument) -> Proposal:
    method, title = "staircase", "Simple response"
    last = last_stated(instrument)
    if last is None:
        return Proposal(method, title, None, "No calibration says how the instrument was found.", {})
    is_in = last.as_found in _IN
    days = instrument.interval_months * DAYS_A_MONTH
    answer = simple_response(days, was_in_tolerance=is_in, extension=EXTENSION, target_reliability=TARGET)
    cut = shortening_factor(EXTENSION, TARGET)
    found = "within" if is_in else "outside"
    step = f"1 + a = {1 + EXTENSION:g}" if is_in else f"1 − b = {1 - cut:.4f}"
    reason = (
        f"{last.certificate_number} found it {found} what is required. {days:.0f} days × ({step}) = {answer:.0f} days; "
        f"b = {cut:.4f} follows from a = {EXTENSION:g} and the target reliability {TARGET:g}."
    )
    numbers = {"interval_days": days, "proposed_days": answer, "a": EXTENSION, "b": cut, "target": TARGET}
    return Proposal(method, title, _months(answer), reason, numbers)


def _by_drift(instrument: Instrument, series: DriftSeries | None) -> Proposal:
    method, title = "drift", "Drift line"
    fit = drift_line(series) if series is not None else None
    if series is None or fit is None:
        why = "At least three days without an adjustment between them, and a required accuracy, are needed."
        return Proposal(method, title, None, why, {})
    numbers = {"slope_per_day": fit.line.slope, "slope_uncertainty": fit.line.slope_uncertainty}
    yearly = f"{fit.line.slope * 365.25:+.3g} {series.unit} a year (u = {fit.line.slope_uncertainty * 365.25:.2g})"
    if fit.reaches_limit_at_days is None:
        why = f"{series.title} drifts {yearly} and with its uncertainty reaches ±{series.allowed:.4g} not in ten years."
        return Proposal(method, title, 60, f"{why} Five years are the longest proposed.", numbers)
    left = fit.reaches_limit_at_days - fit.latest_days
    if left <= 0:
        why = f"{series.title} ± U reaches ±{series.allowed:.4g} {series.unit} already at the last calibration."
        return Proposal(method, title, 1, f"{why} Adjust it, or calibrate monthly.", numbers)
    day = date.fromordinal(int(fit.reaches_limit_at_days))
    reason = (
        f"{series.title} drifts {yearly}; the line with its prediction and U reaches ±{series.allowed:.4g} "
        f"{series.unit} on {in_words(day)}, {left:.0f} days after the last calibration."
    )
    return Proposal(method, title, _months(left), reason, {**numbers, "days_to_limit": left})


def _by_chart(instrument: Instrument, series: DriftSeries | None) -> Proposal:
    method, title = "control_chart", "Control chart"
    found = [point.error for point in series.points if point.moment == AS_FOUND] if series is not None else []
    if series is None or series.allowed is None or len(found) < 5:
        why = "At least five calibrations with a point as found, and a required accuracy, are needed."
        return Proposal(method, title, None, why, {})
    chart = individuals_chart(found)
    signals = nelson_rules(found, centre=chart.centre, sigma=chart.sigma)
    broken = [rule for rule, places in signals.items() if places]
    numbers = {"centre": chart.centre, "sigma": chart.sigma, "rules": broken}
    limits = f"{chart.lower:.4g} to {chart.upper:.4g} {series.unit}"
    if broken or max(abs(chart.lower), abs(chart.upper)) > series.allowed:
        cause = f"rule {broken[0]} signals" if broken else f"the limits {limits} reach beyond ±{series.allowed:.4g}"
        reason = f"The chart is not in control: {cause}. Half the interval until it is (common practice, no source)."
        return Proposal(method, title, max(instrument.interval_months // 2, 1), reason, numbers)
    days = instrument.interval_months * DAYS_A_MONTH * (1 + EXTENSION)
    reason = f"In control, and its limits {limits} lie within ±{series.allowed:.4g}: a tenth longer (common practice)."
    return Proposal(method, title, _months(days), reason, numbers)


def _months(days: float) -> int:
    return max(int(days / DAYS_A_MONTH + 1e-9), 1)


@dataclass(frozen=True)
class FleetRow:
    """The reliability of the instruments for one quantity, or of all, against the target."""

    words: str
    reliability: Reliability
    target: float

    @property
    def statement(self) -> str:
        """Return whether the target is reached, in words."""
        reached = self.reliability.reaches(self.target)
        return {True: "Reaches the target", False: "Below the target", None: "Too few to tell"}[reached]

    @property
    def tone(self) -> str:
        """Return the tone of the statement."""
        return {True: "ok", False: "bad", None: "warn"}[self.reliability.reaches(self.target)]


def fleet_reliability(viewer: Any, since: date) -> list[FleetRow]:
    """Return how many calibrations since a day found their instrument in tolerance, by quantity; one query."""
    instruments = Instrument.objects.visible_to(viewer)
    rows = Calibration.objects.filter(instrument__in=instruments, calibrated_on__gte=since)
    found = (
        rows.exclude(as_found=Calibration.AsFound.NOT_STATED).order_by().values_list("instrument__quantity", "as_found")
    )
    counts: dict[str, list[int]] = {}
    for quantity, as_found in found:
        for key in ("", quantity):
            held = counts.setdefault(key, [0, 0])
            held[0] += as_found in _IN
            held[1] += 1
    names = {"": "All instruments", **dict(Quantity.choices)}
    return [FleetRow(names[key], reliability(*held), TARGET) for key, held in sorted(counts.items())]


def with_history(viewer: Any) -> Any:
    """Return the instruments in service with what proposals need, in order."""
    found = Instrument.objects.visible_to(viewer).not_retired()
    return found.prefetch_related("calibrations__points", "ranges")


def five_years_before(day: date) -> date:
    """Return the day five years back."""
    return day - timedelta(days=1826)
