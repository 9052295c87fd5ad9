"""Check standards: their control charts, En scores, and which readings break which rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from equipment.charts import Plot, PlotFrame
from equipment.charts.plot import ends
from equipment.metrology.comparison import en_score
from equipment.metrology.control import IndividualsChart, ewma_chart, individuals_chart, nelson_rules
from equipment.models import CheckReading, CheckStandard

RULE_WORDS: Mapping[str, str] = {
    "nelson_1": "lies more than 3 σ from the centre",
    "nelson_2": "is the ninth in a row on one side of the centre",
    "nelson_3": "is the sixth in a row that rises, or falls",
    "nelson_4": "is the fourteenth in a row that goes up and down in turn",
    "moving_range": "differs from the one before by more than the readings of the baseline do",
    "ewma": "carries the weighted average beyond its limits",
    "en": "disagrees with the reference: |En| is above 1",
}


@dataclass(frozen=True)
class CheckLine:
    """One reading with its En score and the rules that it breaks."""

    reading: CheckReading
    en: float
    broken: tuple[str, ...]

    @property
    def words(self) -> str:
        """Return what the reading breaks, in words."""
        return "; ".join(RULE_WORDS[rule] for rule in self.broken)


@dataclass(frozen=True)
class CheckPicture:
    """A check standard with its lines and charts; the charts are None until the baseline is full."""

    standard: CheckStandard
    chart: IndividualsChart | None
    lines: tuple[CheckLine, ...]
    individuals: Plot | None
    moving_range: Plot | None
    ewma: Plot | None


def baseline(standard: CheckStandard, values: Sequence[float]) -> IndividualsChart | None:
    """Return the chart of the first readings, which all later ones are compared with; None until there are enough."""
    count = max(standard.baseline_count, 2)
    return individuals_chart(values[:count]) if len(values) >= count else None


def broken_rules(standard: CheckStandard, values: Sequence[float]) -> list[tuple[str, ...]]:
    """Return for each reading, in order of time, the rules that it breaks; the chart's only after the baseline."""
    found: list[set[str]] = [set() for _ in values]
    for place, value in enumerate(values):
        if not en_score(
            value, standard.reading_uncertainty, standard.reference, standard.reference_uncertainty
        ).is_satisfactory:
            found[place].add("en")
    chart = baseline(standard, values)
    if chart is not None and chart.sigma > 0:
        signals = nelson_rules(values, centre=chart.centre, sigma=chart.sigma)
        averages = ewma_chart(values, centre=chart.centre, sigma=chart.sigma)
        named = {f"nelson_{rule}": places for rule, places in signals.items()} | {"ewma": averages.signals()}
        ranges = enumerate(individuals_chart(values).moving_ranges, start=1)
        named["moving_range"] = tuple(
            place
            for place, size in ranges
            if size > chart.moving_range_upper and not {place, place - 1} & set(named["nelson_1"])  # told already
        )
        for rule, places in named.items():
            for place in places:
                if place >= standard.baseline_count:
                    found[place].add(rule)
    return [tuple(rule for rule in RULE_WORDS if rule in rules) for rules in found]


def check_picture(standard: CheckStandard) -> CheckPicture:
    """Return everything the page of a check standard shows, from its prefetched readings."""
    readings = list(standard.readings.all())
    values = [reading.value for reading in readings]
    lines = tuple(
        CheckLine(reading, _en(standard, reading.value), broken)
        for reading, broken in zip(readings, broken_rules(standard, values), strict=True)
    )
    chart = baseline(standard, values)
    if chart is None:
        return CheckPicture(standard, None, lines, None, None, None)
    return CheckPicture(
        standard, chart, lines, _individuals(standard, chart, lines), _ranges(standard, chart, values),
        _ewma(standard, chart, values),
    )  # fmt: skip


def _en(standard: CheckStandard, value: float) -> float:
    return en_score(value, standard.reading_uncertainty, standard.reference, standard.reference_uncertainty).score


def _individuals(standard: CheckStandard, chart: IndividualsChart, lines: Sequence[CheckLine]) -> Plot:
    values = [line.reading.value for line in lines]
    frame = PlotFrame((0, len(values) + 1), ends([*values, chart.lower, chart.upper]))
    _limits(frame, chart.lower, chart.centre, chart.upper)
    frame.trace(enumerate(values, start=1), "plot-line")
    for place, line in enumerate(lines, start=1):
        told = f"{line.reading.value:g} {standard.unit}{': ' + line.words if line.broken else ''}"
        frame.dot(place, line.reading.value, 0.0, told, "bad" if line.broken else "")
    words = f"Readings of {standard.name}: centre {chart.centre:.5g}, limits {chart.lower:.5g} to {chart.upper:.5g}."
    return frame.plot(words=words, x_title="Reading", y_title=f"Individuals, {standard.unit}")


def _ranges(standard: CheckStandard, chart: IndividualsChart, values: Sequence[float]) -> Plot:
    ranges = [float(found) for found in individuals_chart(values).moving_ranges]
    frame = PlotFrame((0, len(values) + 1), (0.0, 1.1 * max([*ranges, chart.moving_range_upper, 1e-12])))
    _limits(frame, 0.0, chart.mean_moving_range, chart.moving_range_upper)
    frame.trace(enumerate(ranges, start=2), "plot-line")
    for place, found in enumerate(ranges, start=2):
        kind = "bad" if found > chart.moving_range_upper else ""
        frame.dot(place, found, 0.0, f"{found:g} {standard.unit}", kind)
    words = f"Moving ranges: mean {chart.mean_moving_range:.4g}, upper limit {chart.moving_range_upper:.4g}."
    return frame.plot(words=words, x_title="Reading", y_title=f"Moving range, {standard.unit}")


def _ewma(standard: CheckStandard, chart: IndividualsChart, values: Sequence[float]) -> Plot:
    made = ewma_chart(values, centre=chart.centre, sigma=chart.sigma)
    heights = [float(v) for series in (made.averages, made.lower, made.upper) for v in series]
    frame = PlotFrame((0, len(values) + 1), ends(heights))
    for series in (made.lower, made.upper):
        frame.trace(enumerate((float(v) for v in series), start=1), "plot-line-limit")
    frame.level(chart.centre, "plot-line-middle")
    averages = [float(v) for v in made.averages]
    frame.trace(enumerate(averages, start=1), "plot-line")
    signals = set(made.signals())
    for place, value in enumerate(averages):
        frame.dot(place + 1, value, 0.0, f"{value:.5g} {standard.unit}", "bad" if place in signals else "")
    return frame.plot(
        words="Exponentially weighted average (weight 0.2) with its limits.",
        x_title="Reading",
        y_title=f"Weighted average, {standard.unit}",
    )


def _limits(frame: PlotFrame, low: float, middle: float, high: float) -> None:
    frame.level(low, "plot-line-limit")
    frame.level(middle, "plot-line-middle")
    frame.level(high, "plot-line-limit")
