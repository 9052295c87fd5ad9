"""Frequency responses against their step: branches and resonances, and how alike the traces are."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import Any

from equipment.metrology.propagation import coverage_factor
from records.evaluation.estimating import COVERAGE_PROBABILITY, combined
from records.evaluation.examination import Examination, as_told
from records.evaluation.measured import COVERAGE_FACTOR, Measured, relative_standard_uncertainty, spoken
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Step
from records.evaluation.sweep import telling
from records.evaluation.sweep.branches import LEAST_QUALITY, Branch, Estimate
from records.evaluation.sweep.comparing import Comparison
from records.evaluation.sweep.matching import matched, target_of
from records.evaluation.sweep.single import swept_of
from records.evaluation.sweep.telling import Swept
from records.evaluation.sweep.wording import no_resonances, with_uncertainty, without_phase
from records.evaluation.wording import listed
from records.readers.recording import Recording

# Quantity: how a branch tells it, its unit in words, and the instrument that counts.
_OF_BRANCH: Mapping[str, tuple[Callable[[Branch], Estimate], str, str, str]] = {
    "resonance_hz": (lambda branch: branch.resonance_hz, "resonance", " Hz", "frequency"),
    "quality_factor": (lambda branch: branch.quality_factor, "quality factor", "", ""),
    "inductance_mh": (lambda branch: branch.inductance_mh, "inductance", " mH", "impedance"),
    "capacitance_uf": (lambda branch: branch.capacitance_uf, "capacitance", " µF", "impedance"),
    "resistance_ohm": (lambda branch: branch.resistance_ohm, "resistance", " Ω", "impedance"),
}
_SCALE_TELLS = 1e-3  # of the value by an error of scale of 1: less is nothing
_KNOWN = 0.5  # of a value: with a greater standard uncertainty it is not told
_TUNING = ("tuned_order", "resonance_hz")
_COMPARED = ("correlation", "log_error_db")
_OF_SCALE = ("inductance_mh", "capacitance_uf", "resistance_ohm")  # of a transfer they hang on its termination
_TOLD = ("resonance_hz", "quality_factor", "inductance_mh", "capacitance_uf", "resistance_ohm")


class SweepTest:
    """The sweeps of one performance against one step.

    Parameters
    ----------
    step : Step
        ``frequency_hz`` for the tuned order; ``compare`` says what further records are: ``phases`` (the default) or
        that the first is the ``reference``; a ``reference`` trace may stand in the step itself.
    recordings : sequence of Recording
        Side by side, in the order given.
    setup : Setup
        Instruments for impedance and frequency.
    """

    def __init__(self, step: Step, recordings: Sequence[Recording], setup: Setup) -> None:
        self.step, self.setup, self.count = step, setup, len(recordings)
        self.swept = [
            swept_of(number, self.count, recording, step, setup) for number, recording in enumerate(recordings, start=1)
        ]
        self.comparison = Comparison(step, self.swept, setup)

    @cached_property
    def judged(self) -> list[Swept]:
        """The records that show the unit: all but a reference."""
        return self.swept[1:] if self.comparison.has_reference_record else self.swept

    def _order(self, branch: Branch) -> Estimate | None:
        fundamental = self.step.number("frequency_hz")
        if fundamental is None:
            return None
        resonance = branch.resonance_hz
        return Estimate(
            resonance.value / fundamental,
            resonance.standard_uncertainty / fundamental,
            resonance.degrees_of_freedom,
            resonance.by_scale / fundamental,
        )

    def of_branch(self, criterion: Criterion) -> Measured:
        """Return one quantity of the branch that a criterion means; of several records the one nearest its limit."""
        unread = next((swept for swept in self.judged if swept.response is None), None)
        if unread is not None:
            return Measured(None, words=f"{unread.named}{unread.why}", settled="not_valid")
        if criterion.quantity == "tuned_order" and self.step.number("frequency_hz") is None:
            return Measured(None, words="The step states no rated frequency, so the tuned order is not known.")
        found = [self._in_record(swept, criterion) for swept in self.judged]
        missing = next((measured for measured in found if measured.value is None), None)
        if missing is not None:
            return missing
        return max(found, key=lambda measured: _beyond(measured.value or 0.0, criterion))

    def _in_record(self, swept: Swept, criterion: Criterion) -> Measured:
        branches = swept.network.branches if swept.network else ()
        beyond = self._beyond_sweep(swept, criterion)
        if beyond:
            return Measured(None, words=f"{swept.named}{beyond}", settled="not_valid")
        if not branches:
            why = swept.why or self._only_broad(swept)
            return Measured(None, words=f"{swept.named}{why}")
        estimates = [self._estimate(branch, criterion.quantity) for branch in branches]
        place = self._place_by_name(criterion, branches)
        if place is None:
            place = self._place(criterion, [estimate.value for estimate in estimates])
        if place is None:
            return self._no_such(swept, criterion, branches)
        return self._told(swept, criterion, place, estimates[place], branches)

    def _beyond_sweep(self, swept: Swept, criterion: Criterion) -> str:
        """Return that the sweep does not reach where a resonance is asked for; empty where it does."""
        target, unit_hz = target_of(criterion), self.step.number("frequency_hz") or 1.0
        if target is None or criterion.quantity not in ("resonance_hz", "tuned_order") or swept.response is None:
            return ""
        asked = target * (unit_hz if criterion.quantity == "tuned_order" else 1.0)
        low, high = float(swept.response.frequency_hz[0]), float(swept.response.frequency_hz[-1])
        if low <= asked <= high:
            return ""
        return f"The sweep runs from {low:.4g} to {high:.4g} Hz and does not reach the {asked:.4g} Hz that are asked."

    def _estimate(self, branch: Branch, quantity: str) -> Estimate:
        if quantity == "tuned_order":
            order = self._order(branch)
            assert order is not None
            return order
        return _OF_BRANCH[quantity][0](branch)

    def _place(self, criterion: Criterion, values: Sequence[float]) -> int | None:
        """Return which branch a criterion means; a criterion that is not listed means the first."""
        alike = [one for one in self.step.criteria if one.quantity == criterion.quantity]
        if criterion not in alike:
            return 0
        return matched(alike, values).get(alike.index(criterion))

    def _place_by_name(self, criterion: Criterion, branches: Sequence[Branch]) -> int | None:
        """Return the branch that the plan calls by the same name where it states its order or resonance, or None."""
        name = criterion.stated.get("branch")
        if name is None or criterion.quantity in _TUNING:
            return None
        for quantity in _TUNING:
            named = [one for one in self.step.criteria if (one.quantity, one.stated.get("branch")) == (quantity, name)]
            if named and (quantity != "tuned_order" or self.step.number("frequency_hz") is not None):
                return self._place(named[0], [self._estimate(branch, quantity).value for branch in branches])
        return None

    def _only_broad(self, swept: Swept) -> str:
        network = swept.network
        none = [] if network is not None and network.is_hidden else ["The sweep shows no series resonance."]
        return " ".join([*none, *self._no_resonances(swept)])

    def _no_resonances(self, swept: Swept) -> list[str]:
        assert swept.network is not None
        assert swept.response is not None
        least = self.step.number("least_quality_factor") or LEAST_QUALITY
        return no_resonances(swept.network, swept.response, least)

    def _no_such(self, swept: Swept, criterion: Criterion, branches: Sequence[Branch]) -> Measured:
        target = target_of(criterion)
        aimed = f" near {target:g}" if target is not None else ""
        shown = ", ".join(f"{branch.resonance_hz.value:.5g} Hz" for branch in branches)
        words = f"{swept.named}The sweep shows no branch{aimed} for this; it resonates at {shown}."
        return Measured(None, words=words)

    def _told(
        self, swept: Swept, criterion: Criterion, place: int, estimate: Estimate, branches: Sequence[Branch]
    ) -> Measured:
        at = branches[place].resonance_hz
        resonance = spoken(at.value, self._expanded(at, "frequency", swept.scale))
        which = f"branch {place + 1} of {len(branches)}" if len(branches) > 1 else "the branch"
        if criterion.quantity not in _TUNING and estimate.standard_uncertainty > _KNOWN * abs(estimate.value):
            name = _OF_BRANCH[criterion.quantity][1]
            words = f"the samples that count for the {name} of {which}, at {resonance} Hz, leave it unknown."
            if swept.response is not None and not swept.response.is_scale_known:
                words = (
                    f"the {name} of {which}, at {resonance} Hz, hangs on the resistance into which the transfer was "
                    "measured, which nobody states; state the termination."
                )
            return Measured(None, words=f"{swept.named}{words[0].upper()}{words[1:]}")
        if criterion.quantity == "tuned_order":
            fundamental = self.step.number("frequency_hz")
            value = spoken(estimate.value, self._expanded(estimate, "frequency", swept.scale))
            words = f"{which} resonates at {resonance} Hz, the {value}-fold of {fundamental:g} Hz."
            instrument = "frequency"
        elif criterion.quantity == "resonance_hz":
            words, instrument = f"{which} resonates at {resonance} Hz.", "frequency"
        else:
            _, name, unit, instrument = _OF_BRANCH[criterion.quantity]
            value = spoken(estimate.value, self._expanded(estimate, instrument, swept.scale))
            words = f"the {name} of {which}, at {resonance} Hz, is {value}{unit}."
        words = f"{swept.named}{words[0].upper()}{words[1:]}{without_phase(swept.response)}"
        return self._measured(estimate, instrument, swept.scale, words)

    def _measured(self, estimate: Estimate, instrument: str, scale: float | None, words: str) -> Measured:
        expanded_uncertainty, k, freedom = self._uncertainty(estimate, instrument, scale)
        return Measured(
            estimate.value,
            expanded_uncertainty,
            words,
            coverage_factor=k,
            is_value_said=True,
            degrees_of_freedom=freedom,
        )

    def _expanded(self, estimate: Estimate, instrument: str, scale: float | None) -> float | None:
        return self._uncertainty(estimate, instrument, scale)[0]

    def _uncertainty(
        self, estimate: Estimate, instrument: str, scale: float | None
    ) -> tuple[float | None, float, float]:
        """Return U, k and ν: a frequency's instrument counts where it is named, an impedance's must be known.

        What the impedance's does to a value is what the fit says: all of it to an inductance, nothing to a resonance
        where the object was measured alone, something to everything where it was measured through a resistance.
        """
        moved = abs(estimate.by_scale)
        if scale is None and (instrument == "impedance" or moved > _SCALE_TELLS * abs(estimate.value)):
            return None, COVERAGE_FACTOR, math.inf
        axis = relative_standard_uncertainty(self.setup, "frequency") if instrument == "frequency" else None
        parts = [
            (estimate.standard_uncertainty, estimate.degrees_of_freedom),
            (moved * (scale or 0.0), math.inf),
            (abs(estimate.value) * (axis or 0.0), math.inf),
        ]
        whole = combined("value", estimate.value, parts)
        k = round(coverage_factor(COVERAGE_PROBABILITY, whole.degrees_of_freedom), 2)
        return k * whole.standard_uncertainty, k, whole.degrees_of_freedom

    def parallel(self, criterion: Criterion) -> Measured:
        """Return the parallel resonance that a criterion means [Hz]."""
        swept = self.judged[0]
        found = swept.network.parallel if swept.network else ()
        if not found:
            words = swept.why or "The fitted sweep shows no parallel resonance."
            return Measured(None, words=f"{swept.named}{words}")
        place = self._place(criterion, [one.value for one in found])
        if place is None:
            shown = ", ".join(f"{one.value:.5g} Hz" for one in found)
            return Measured(None, words=f"The sweep shows no further parallel resonance than {shown}.")
        at = spoken(found[place].value, self._expanded(found[place], "frequency", swept.scale))
        words = f"{swept.named}The impedance has a maximum at {at} Hz, a parallel resonance."
        words += without_phase(swept.response)
        return self._measured(found[place], "frequency", swept.scale, words)

    def measure(self, criterion: Criterion) -> Measured:
        """Return what the sweeps say about one criterion's quantity; without a limit it is told, not judged."""
        if criterion.quantity in _COMPARED:
            return as_told(criterion, self.comparison.compared(criterion))
        if criterion.quantity == "parallel_resonance_hz":
            return as_told(criterion, self.parallel(criterion))
        return as_told(criterion, self.of_branch(criterion))

    def implied(self) -> tuple[Criterion, ...]:
        """Return what is told without being asked: the first branch, or how alike the traces are."""
        listed = {criterion.quantity for criterion in self.step.criteria}
        has_branches = any(swept.network and swept.network.branches for swept in self.judged)
        is_scale_known = all(swept.response is None or swept.response.is_scale_known for swept in self.judged)
        names = [one for one in _TOLD if is_scale_known or one not in _OF_SCALE]
        told = [one for one in names if one not in listed] if has_branches else []
        if self.count > 1 or "reference" in self.step.stated:
            told += [one for one in _COMPARED if one not in listed]
        if not told and not self.step.criteria:
            told = ["resonance_hz"]
        return tuple(Criterion(one, judges="unit", is_implied=True) for one in told)

    def remarks(self) -> tuple[str, ...]:
        """Return what a reviewer should know and no criterion asks."""
        said: list[str] = []
        for swept in self.swept:
            said += [f"{swept.named}{words}" for words in self._remarks_on(swept)]
        if relative_standard_uncertainty(self.setup, "frequency") is None:
            said.append("The set-up names no instrument for frequency: its share in the uncertainty is left out.")
        said += self.comparison.told()
        return tuple(said)

    def _remarks_on(self, swept: Swept) -> list[str]:
        if swept.network is None:
            return [swept.why]
        said, network = [], swept.network
        if swept.response is not None and not swept.response.has_phase:
            said.append(
                f"The record holds {swept.response.form}: the branches are fitted to the magnitude alone, of which a "
                "circuit of resistors, coils and capacitors has one phase."
            )
        if len(network.branches) > 1:
            shown = "; ".join(self._branch_in_words(swept, branch) for branch in network.branches)
            said.append(f"Branches: {shown}.")
        if network.parallel:
            shown = listed(
                [with_uncertainty(one.value, self._expanded(one, "frequency", swept.scale)) for one in network.parallel]
            )
            said.append(f"Parallel resonances at {shown} Hz.")
        said += self._no_resonances(swept)
        if network.widened > 1:
            said.append(
                "Neighbouring samples are alike beyond what the fitted curve explains, as where a sweep was smoothed "
                f"or losses change with frequency: uncertainties from samples are widened {network.widened:.2g}-fold."
            )
        return said

    def _branch_in_words(self, swept: Swept, branch: Branch) -> str:
        told = []
        for of, name, unit, instrument in _OF_BRANCH.values():
            estimate = of(branch)
            if math.isfinite(estimate.standard_uncertainty):
                value = with_uncertainty(estimate.value, self._expanded(estimate, instrument, swept.scale))
                told.append(f"{name} {value}" if not unit else f"{value}{unit}")
        return ", ".join(told)

    def details(self) -> dict[str, Any]:
        """Return for each record what its picture needs: branches, parallel resonances and what lies beside them."""
        return {"sweeps": [telling.drawn(swept) for swept in self.swept]}


def _beyond(value: float, criterion: Criterion) -> float:
    low, high = criterion.minimum, criterion.maximum
    return max(-math.inf if low is None else low - value, -math.inf if high is None else value - high)


def examine(step: Step, recordings: Sequence[Recording], setup: Setup) -> Examination:
    """Return what sweeps say of a frequency-response step.

    Parameters
    ----------
    step : Step
        With criteria, one for each branch where a filter has several.
    recordings : sequence of Recording
        One sweep, or several: phases, or a reference and what is compared with it.
    setup : Setup
        Instruments for impedance and frequency.

    Returns
    -------
    Examination
        See `SweepTest` for each quantity.

    References
    ----------
    IEC 60076-18:2012 and IEEE C57.149-2012 for the comparison of traces, from memory; branches by algebra.
    """
    test = SweepTest(step, recordings, setup)
    return Examination(test.measure, test.implied(), (), (), test.remarks(), details=test.details())
