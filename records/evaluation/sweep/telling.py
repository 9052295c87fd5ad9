"""What the picture is told of a sweep beside its findings, and the curves that are drawn from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from records.evaluation.sweep.branches import Branch, Estimate, Network
from records.evaluation.sweep.responses import Complexes, Response, of_port
from records.readers.recording import Recording, Samples

_KEPT = ("resonance_hz", "quality_factor", "inductance_mh", "capacitance_uf", "resistance_ohm")


@dataclass(frozen=True)
class Swept:
    """One record: its digest, its response and the branches found in it, or why there are none; its port and name."""

    number: int
    sha256: str
    response: Response | None
    network: Network | None
    why: str
    port: str = ""
    name: str = ""


def drawn(swept: Swept) -> dict[str, Any]:
    """Return what a picture needs of one sweep, as plain values that JSON can hold."""
    told: dict[str, Any] = {"number": swept.number, "sha256": swept.sha256, "why": swept.why}
    if swept.port:
        told["port"] = swept.port
    if swept.response is not None:
        told["reference_ohm"] = swept.response.reference_ohm
    network = swept.network
    if network is None:
        return told
    return told | {
        "branches": [_branch_kept(branch) for branch in network.branches],
        "broad": [_branch_kept(branch) for branch in network.broad],
        "parallel_hz": list(network.parallel_hz),
        "conductance_s": network.conductance_s,
        "capacitance_f": network.capacitance_f,
        "coil": list(network.coil),
    }


def _branch_kept(branch: Branch) -> dict[str, float]:
    return {**{name: getattr(branch, name).value for name in _KEPT}, "skew": branch.skew}


def _branch_from(kept: Mapping[str, float]) -> Branch:
    resonance, quality, inductance, capacitance, resistance = (Estimate(kept[name], 0.0) for name in _KEPT)
    return Branch(resonance, quality, inductance, capacitance, resistance, kept.get("skew", 0.0))


@dataclass(frozen=True)
class Trace:
    """A sweep as it is drawn.

    Attributes
    ----------
    frequency_hz, magnitude : ndarray (n,)
        Frequencies [Hz]; magnitude of the impedance [Ω], or of a transfer [dB].
    is_impedance : bool
        Which of the two.
    phase_deg : ndarray (n,) or None
        Phase as recorded [°].
    fitted, fitted_phase_deg : ndarray (n,) or None
        Impedance [Ω] and phase [°] of what was fitted.
    branches : sequence of ndarray (n,)
        Magnitude of each branch's own impedance [Ω].
    """

    frequency_hz: Samples
    magnitude: Samples
    is_impedance: bool
    phase_deg: Samples | None
    fitted: Samples | None = None
    fitted_phase_deg: Samples | None = None
    branches: Sequence[Samples] = ()


def trace_of(channels: Mapping[str, Samples], kept: Mapping[str, Any]) -> Trace:
    """Return the curves of a sweep from its record and what the evaluation kept of it.

    Parameters
    ----------
    channels : mapping of str to ndarray (n,)
        As recorded.
    kept : mapping
        As `drawn` made it.

    Returns
    -------
    Trace
        Frozen.
    """
    if kept.get("port"):
        channels = of_port(Recording(np.empty(0), dict(channels)), str(kept["port"])).channels
    frequency = np.asarray(channels["frequency_hz"])
    impedance = _impedance(channels, kept.get("reference_ohm"))
    if impedance is None:
        phase = channels.get("phase_deg")
        return Trace(frequency, np.asarray(channels["gain_db"]), is_impedance=False, phase_deg=phase)
    magnitude, phase = np.abs(impedance), np.degrees(np.angle(impedance))
    if not kept.get("branches") and not kept.get("broad"):
        return Trace(frequency, magnitude, is_impedance=True, phase_deg=phase)
    branches = [_branch_from(row) for row in kept["branches"]]
    broad = [_branch_from(row) for row in kept["broad"]]
    coil = (float(kept["coil"][0]), float(kept["coil"][1]))
    network = Network(
        tuple(branches), tuple(broad), (), kept["conductance_s"], kept["capacitance_f"], coil, 0.0, 0.0, 0.0
    )
    fitted = 1 / network.admittance(frequency)
    own = [np.abs(1 / branch.admittance(frequency)) for branch in branches] if len(branches) > 1 else []
    return Trace(
        frequency,
        magnitude,
        True,
        phase,
        np.abs(fitted),
        np.degrees(np.angle(fitted)),
        [np.asarray(one) for one in own],
    )


def _impedance(channels: Mapping[str, Samples], reference_ohm: float | None) -> Complexes | None:
    if "impedance_ohm" in channels and "phase_deg" in channels:
        turned: Complexes = np.exp(1j * np.radians(channels["phase_deg"]))
        return channels["impedance_ohm"] * turned
    if "impedance_real_ohm" in channels:
        return channels["impedance_real_ohm"] + 1j * channels["impedance_imag_ohm"]
    if "reflection_real" in channels and reference_ohm is not None:
        reflection = channels["reflection_real"] + 1j * channels["reflection_imag"]
        return reference_ohm * (1 + reflection) / (1 - reflection)
    return None
