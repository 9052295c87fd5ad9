"""Corrections of an impedance or a transfer over frequency: which samples get them, and where none fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from records.evaluation.corrections import Acting
from records.evaluation.step import Step
from records.readers.recording import Recording, Samples

PARTS = ("impedance_real_ohm", "impedance_imag_ohm")
CALIBRATED = "calibrated"
"""Channel that a sweep gets where not all its samples lie in the calibrated range: 1 for those that do."""

_FORMS = {"impedance_ohm": ("impedance_ohm", *PARTS), "gain_db": ("gain_db",)}
_ALL = (*_FORMS["impedance_ohm"], "gain_db", "reflection_real")


def turned(record: Recording, acting: Acting) -> tuple[dict[str, Samples], Samples, Samples]:
    """Return real and imaginary part of an impedance whose magnitude is corrected and whose phase is kept.

    Parameters
    ----------
    record : Recording
        With both parts [Ω].
    acting : Acting
        Over magnitudes [Ω].

    Returns
    -------
    dict of str to ndarray (n,), ndarray, ndarray
        Channels that change; the corrections that are known [Ω]; magnitudes that have none [Ω].
    """
    real, imaginary = (record.channels[name] for name in PARTS)
    size = np.hypot(real, imaginary)
    shifts = acting.corrections_at(size)
    known = np.isfinite(shifts) & (size > 0)
    factors = np.ones(len(size))
    factors[known] += shifts[known] / size[known]
    channels = known_samples(acting, size)
    if acting.is_applied:
        channels |= {PARTS[0]: real * factors, PARTS[1]: imaginary * factors}
    return channels, shifts[known], np.unique(size[~known])


def known_samples(acting: Acting, readings: Samples) -> dict[str, Samples]:
    """Return the channel `CALIBRATED` where readings (n,) without a known correction are left out; else nothing."""
    if not acting.row.leaves_out:
        return {}
    known = np.isfinite(acting.corrections_at(readings))
    return {} if known.all() else {CALIBRATED: known.astype(np.float64)}


def without_channel(step: Step, records: Sequence[Recording], acting: Sequence[Acting]) -> dict[str, str]:
    """Return by channel why its corrections cannot be applied: a sweep holds another form of what they are for.

    An instrument with corrections in both units, Ω and dB, has those that fit; a port that the step names is none of
    the channels that are corrected, but for S21.
    """
    if step.kind != "frequency_response":
        return {}
    is_other_port = step.stated.get("port", "s21") != "s21"
    held = {name for record in records for name in _ALL if name in record.channels}
    sweeps = [one for one in acting if one.row.channel in _FORMS and one.is_applied]
    fitting = {one.instrument for one in sweeps if held & set(_FORMS[one.row.channel]) and not is_other_port}
    return {
        one.row.channel: (
            f"The corrections of {one.instrument} are in {one.corrections.unit}, and the record does not hold the "
            f"{one.row.named} that they are for, so they are not applied; export it as that."
        )
        for one in sweeps
        if held and one.instrument not in fitting
    }
