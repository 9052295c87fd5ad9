"""One record of a sweep: its response and the branches fitted to it, or why there are none."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

import numpy as np

from records.evaluation.corrected_sweeps import CALIBRATED
from records.evaluation.corrections import Acting
from records.evaluation.measured import relative_standard_uncertainty
from records.evaluation.setups import Setup
from records.evaluation.step import Step
from records.evaluation.sweep.branches import LEAST_QUALITY, Branch, Network, NoBranches, find_branches
from records.evaluation.sweep.knots import LOST
from records.evaluation.sweep.responses import NoResponse, Response, response_of
from records.evaluation.sweep.telling import Swept
from records.readers.recording import Recording, Samples

_PLACES = 128  # of levels at which the uncertainty of the corrections is looked up


def swept_of(number: int, count: int, recording: Recording, step: Step, setup: Setup) -> Swept:
    """Return what one record shows.

    Parameters
    ----------
    number, count : int
        The record's place among those of the step, from 1, and how many these are.
    recording : Recording
        Sound.
    step : Step
        See `response_of`; ``least_quality_factor``.
    setup : Setup
        Instruments for impedance.

    Returns
    -------
    Swept
        Frozen.
    """
    shown = partial(Swept, number, count, recording.sha256, port=str(step.stated.get("port", "")), name=recording.name)
    try:
        response = response_of(recording, step)
    except NoResponse as fault:
        return shown(None, None, str(fault))
    if LOST in recording.metadata:
        return shown(response, None, recording.metadata[LOST])
    try:
        network = _fitted(response, recording, step, setup)
    except NoBranches as fault:
        return shown(response, None, str(fault))
    scale = 1.0 if _acting(response, setup) else relative_standard_uncertainty(setup, "impedance")
    return shown(response, network, "", scale=scale)


def _fitted(response: Response, recording: Recording, step: Step, setup: Setup) -> Network:
    """Return the network; what rests on magnitudes comes from samples in the calibrated range alone."""
    fit = partial(
        find_branches,
        response.frequency_hz,
        response.admittance_s,
        series_ohm=response.series_ohm,
        has_phase=response.has_phase,
        scale=_scale(response, setup),
        least_quality=step.number("least_quality_factor") or LEAST_QUALITY,
    )
    whole, known = _in_known_units(fit(), response), recording.channel(CALIBRATED)
    if known is None or not whole.branches:
        return whole
    of_whole = sorted((*whole.branches, *whole.broad), key=_resonance)
    try:
        inside = _in_known_units(fit(counted=known > 0), response)
    except NoBranches:
        return replace(whole, branches=tuple(_of_resonance_alone(one) for one in whole.branches))
    of_inside = sorted((*inside.branches, *inside.broad), key=_resonance)
    merged = [replace(by, resonance_hz=one.resonance_hz) for one, by in zip(of_whole, of_inside, strict=True)]
    return replace(whole, branches=tuple(merged[of_whole.index(one)] for one in whole.branches))


def _in_known_units(network: Network, response: Response) -> Network:
    """Return a network of which coil, capacitor and resistor are not known where the scale of the transfer is not."""
    if response.is_scale_known:
        return network
    return replace(
        network,
        branches=tuple(
            replace(_of_resonance_alone(one), quality_factor=one.quality_factor) for one in network.branches
        ),
    )


def _of_resonance_alone(branch: Branch) -> Branch:
    """Return a branch of which nothing but its resonance is known."""
    own = (branch.quality_factor, branch.inductance_mh, branch.capacitance_uf, branch.resistance_ohm)
    quality, coil, capacitor, resistor = (replace(one, standard_uncertainty=math.inf) for one in own)
    return replace(
        branch, quality_factor=quality, inductance_mh=coil, capacitance_uf=capacitor, resistance_ohm=resistor
    )


def _resonance(branch: Branch) -> float:
    return branch.resonance_hz.value


def _acting(response: Response, setup: Setup) -> Acting | None:
    """Return the corrections that act on the magnitude that was recorded, or None."""
    channel = "gain_db" if response.is_transfer else "impedance_ohm"
    return next((one for one in setup.acting if one.row.channel == channel), None)


def _scale(response: Response, setup: Setup) -> Samples | None:
    """Return the relative standard uncertainty of each magnitude (n,), taken as one error that all samples share."""
    acting = _acting(response, setup)
    if acting is None:
        return None
    stated = next(one for one in setup.instruments if one.name == acting.instrument)
    relative = stated.relative_uncertainty_pct / 100 / stated.coverage_factor
    beside = replace(setup, instruments=tuple(one for one in setup.instruments if one is not stated))
    others = relative_standard_uncertainty(beside, "impedance") or 0.0
    level = response.level_db
    places = np.linspace(float(level.min()), float(level.max()), _PLACES)
    if response.is_transfer:
        by_db = math.log(10) / 20
        own = [by_db * acting.standard_uncertainty(place, relative / by_db) for place in places.tolist()]
    else:
        sizes = (10 ** (places / 20)).tolist()
        own = [acting.standard_uncertainty(size, relative * size) / size for size in sizes]
    return np.asarray(np.hypot(np.interp(level, places, own), others), dtype=np.float64)
