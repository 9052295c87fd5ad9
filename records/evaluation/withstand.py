"""Power-frequency withstand: each voltage reached, held for its time, and no disruptive discharge on the way."""

from __future__ import annotations

from records.evaluation.applied import AppliedVoltage
from records.evaluation.examination import Examination
from records.evaluation.findings import Event
from records.evaluation.measured import Measured
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Step
from records.readers.recording import Recording


def examine(step: Step, recording: Recording, setup: Setup) -> Examination:
    """Return what a record says of a power-frequency withstand test.

    Parameters
    ----------
    step : Step
        With one stage or more.
    recording : Recording
        Sound, with ``voltage_kv`` as r.m.s. trend.
    setup : Setup
        For the uncertainty of the instruments.

    Returns
    -------
    Examination
        Held voltage [kV] and time [s] of each stage, and the number of disruptive discharges.

    References
    ----------
    IEC 60060-1:2010 clause 6, from memory.
    """
    applied = AppliedVoltage(step, recording, setup)

    def measure(criterion: Criterion) -> Measured:
        return applied.measure(criterion, step.stages[-1]) or Measured(None, words="The record does not tell this.")

    events = tuple(Event("disruptive_discharge", c.time_s, c.from_kv) for c in applied.collapses)
    return Examination(
        measure, applied.implied(), applied.found_stages, events, applied.remarks(), applied.overstressed
    )
