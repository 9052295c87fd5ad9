"""What the picture is told of a sweep beside its findings, and the curves that are drawn from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from records.evaluation.sweep.branches import Branch, Estimate, Network
from records.evaluation.sweep.responses import Complexes, Response, of_port
from records.evaluation.wording import opening
from records.readers.recording import Recording, Samples

_KEPT = ("resonance_hz", "quality_factor", "inductance_mh", "capacitance_uf", "resistance_ohm")


@dataclass(frozen=True)
class Swept:
    """One record of so many: its digest, its response and its branches, or why there are none; its port and name.

    `scale` times `Estimate.by_scale` is the standard uncertainty that its instrument adds; None where nobody knows.
    """

    number: int
    count: int
    sha256: str
    response: Response | None
    network: Network | None
    why: str
    port: str = ""
    scale: float | None = None
    name: str = ""

    @property
    def called(self) -> str:
        """What a sentence calls the record."""
        return self.name or f"record {self.number}"

    @property
    def named(self) -> str:
        """The beginning of a sentence about the record: nothing where there is only one."""
        return f"{opening(self.called)}: " if self.count > 1 else ""


def drawn(swept: Swept) -> dict[str, Any]:
    """Return what a picture needs of one sweep, as plain values that JSON can hold."""
    told: dict[str, Any] = {"number": swept.number, "sha256": swept.sha256, "why": swept.why}
    if swept.port:
        told["port"] = swept.port
    if swept.response is not None:
        told["reference_ohm"] = swept.response.reference_ohm
        told["series_ohm"] = swept.response.series_ohm
        if not swept.response.is_scale_known:
            told["has_unknown_scale"] = True
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
        Impedance [Ω] or transfer [dB], and phase [°], of what was fitted.
    branches : sequence of ndarray (n,)
        Magnitude of each branch's own impedance [Ω], or of the transfer through it alone [dB].
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
    series = float(kept.get("series_ohm") or 0.0)
    impedance = _impedance(channels, kept.get("reference_ohm"))
    if impedance is not None:
        magnitude, phase = np.abs(impedance), np.degrees(np.angle(impedance))
    elif "impedance_ohm" in channels:
        magnitude, phase = np.asarray(channels["impedance_ohm"]), None
    else:
        magnitude, phase = np.asarray(channels["gain_db"]), channels.get("phase_deg")
    is_impedance = impedance is not None or "impedance_ohm" in channels
    recorded = Trace(frequency, magnitude, is_impedance, phase)
    if (not kept.get("branches") and not kept.get("broad")) or (not is_impedance and not series):
        return recorded
    network = _network_from(kept)

    def shown(admittance: Complexes) -> tuple[Samples, Samples]:
        whole = 1 / admittance if is_impedance else series / (1 / admittance + series)
        size = np.abs(whole) if is_impedance else 20 * np.log10(np.abs(whole))
        return np.asarray(size), np.degrees(np.angle(whole))

    fitted, fitted_phase = shown(network.admittance(frequency))
    own = [shown(branch.admittance(frequency))[0] for branch in network.branches]
    return replace(
        recorded,
        fitted=fitted,
        fitted_phase_deg=None if phase is None else fitted_phase,
        branches=own if len(own) > 1 else [],
    )


def _network_from(kept: Mapping[str, Any]) -> Network:
    branches = tuple(_branch_from(row) for row in kept["branches"])
    broad = tuple(_branch_from(row) for row in kept["broad"])
    coil = (float(kept["coil"][0]), float(kept["coil"][1]))
    return Network(branches, broad, (), kept["conductance_s"], kept["capacitance_f"], coil, 0.0, 0.0, 0.0)


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
