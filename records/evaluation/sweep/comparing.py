"""Sweeps compared: with a reference trace, with a reference record, or between phases."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from functools import cached_property

import numpy as np

from equipment.metrology.rounding import rounded
from records.evaluation.measured import COVERAGE_FACTOR, Measured, relative_standard_uncertainty, spoken
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Step
from records.evaluation.sweep.likeness import Likeness, NotComparable, compare_traces
from records.evaluation.sweep.telling import Swept
from records.evaluation.wording import opening
from records.readers.recording import Samples

_MOST_NOISE = 6.0  # times the mean difference: noise alone makes less of any sample


class Comparison:
    """How alike the traces of one step are.

    Parameters
    ----------
    step : Step
        ``compare`` and ``reference`` say with what.
    swept : sequence of Swept
        All records, in the order given.
    setup : Setup
        Instruments for impedance.
    """

    def __init__(self, step: Step, swept: Sequence[Swept], setup: Setup) -> None:
        self.step, self.swept, self.setup = step, swept, setup

    @property
    def has_reference_record(self) -> bool:
        """Whether the first record is the reference that the others are compared with."""
        return self.step.stated.get("compare") == "reference" and len(self.swept) > 1

    @cached_property
    def likenesses(self) -> list[tuple[str, Likeness]]:
        """Each pair that is compared, in words, with how alike the two are.

        Raises NotComparable where two share no frequencies.
        """
        traces = [(swept.called, swept.response) for swept in self.swept if swept.response is not None]
        kinds = {"a transfer" if response.is_transfer else "an impedance" for _, response in traces}
        if len(kinds) > 1:
            raise NotComparable(
                f"Some of the records hold {' and others '.join(sorted(kinds))}: these are not compared."
            )
        named = [(name, (response.frequency_hz, response.level_db)) for name, response in traces]
        stated = self._stated_reference()
        if stated is not None:
            pairs = [(("the stated reference", stated), other) for other in named]
        elif self.has_reference_record:
            pairs = [(named[0], other) for other in named[1:]]
        else:
            pairs = list(itertools.combinations(named, 2))
        return [(f"{a[0]} and {b[0]}", compare_traces(a[1], b[1])) for a, b in pairs]

    def _stated_reference(self) -> tuple[Samples, Samples] | None:
        stated = self.step.stated.get("reference")
        if stated is None:
            return None
        frequency, level = (np.asarray(stated[name], dtype=np.float64) for name in ("frequency_hz", "level_db"))
        if len(frequency) != len(level) or len(frequency) < 2 or (np.diff(frequency) <= 0).any():
            raise NotComparable("The stated reference has not two rising frequencies, each with its level.")
        return frequency, level

    def compared(self, criterion: Criterion) -> Measured:
        """Return correlation or log error of the two traces that are least alike."""
        unread = next((swept for swept in self.swept if swept.response is None), None)
        if unread is not None:
            return Measured(None, words=f"{unread.named}{unread.why}", settled="not_valid")
        try:
            pairs = self.likenesses
        except NotComparable as fault:
            return Measured(None, words=str(fault), settled="not_valid")
        if not pairs:
            return Measured(None, words="There is nothing to compare with: give a second record or a reference.")
        is_correlation = criterion.quantity == "correlation"
        which, worst = min(pairs, key=lambda pair: pair[1].correlation if is_correlation else -pair[1].log_error_db)
        if is_correlation:
            value, u = worst.correlation, worst.u_correlation
            what = f"have a correlation of {spoken(value, COVERAGE_FACTOR * u)}"
        else:
            value, u = worst.log_error_db, math.hypot(worst.u_log_error_db, self._u_scale_db())
            what = f"differ by {spoken(value, COVERAGE_FACTOR * u)} dB on average"
        place, most = worst.greatest
        most_at = (
            f"; most of all they differ at {place:.4g} Hz, by {most:.2g} dB"
            if most > _MOST_NOISE * worst.log_error_db
            else ""
        )
        words = f"{opening(which)} {what} from {worst.range_hz[0]:.4g} to {worst.range_hz[1]:.4g} Hz{most_at}."
        return Measured(value, COVERAGE_FACTOR * u, words, is_value_said=True)

    def _u_scale_db(self) -> float:
        """Return what the instrument's scale does to a log error [dB]: nothing where it recorded both traces."""
        if "reference" not in self.step.stated:
            return 0.0
        return 20 / math.log(10) * (relative_standard_uncertainty(self.setup, "impedance") or 0.0)

    def told(self) -> list[str]:
        """Return how alike each pair is where there are several, and its relative factors, in words."""
        try:
            pairs = self.likenesses
        except NotComparable:
            return []  # the finding on the comparison says why
        said = []
        if len(pairs) > 1:
            shown = ", ".join(
                f"{which} {spoken(one.correlation, COVERAGE_FACTOR * one.u_correlation)} and "
                f"{spoken(one.log_error_db, COVERAGE_FACTOR * one.u_log_error_db)} dB"
                for which, one in pairs
            )
            said.append(f"Correlation and mean difference: {shown}.")
        for which, likeness in pairs:
            if likeness.factors:
                shown = ", ".join(
                    f"{name} band {_factor_in_words(value, likeness.u_factors[name])}"
                    for name, value in likeness.factors.items()
                )
                said.append(f"Relative factors after DL/T 911 of {which}, for information: {shown}.")
        return said


def _factor_in_words(value: float, u: float) -> str:
    if not math.isfinite(u):
        return f"{value:.2f} (the greatest that is told)"
    told = rounded(value, COVERAGE_FACTOR * u)
    return f"{told.value_text} ± {told.uncertainty_text}"
