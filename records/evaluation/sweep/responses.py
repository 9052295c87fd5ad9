"""One sweep as admittance and as a trace in decibels, whichever way the analyser wrote it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from records.evaluation.clipping import clipped_samples
from records.evaluation.kinds import KINDS
from records.evaluation.measured import resolution_of
from records.evaluation.soundness import channels_of
from records.evaluation.step import Step
from records.readers.recording import Recording, Samples

Complexes = NDArray[np.complexfloating[Any, Any]]
_BARE = ("frequency_hz", "impedance_ohm")
_OHMS = ("impedance_ohm", "impedance_real_ohm", "impedance_imag_ohm")
_MOST_DB = 400.0  # ten thousand million times as much, or as little, as any analyser tells


class NoResponse(ValueError):
    """The sweep cannot be used as it is; the message is the finding's reason."""


@dataclass(frozen=True)
class Response:
    """One sweep.

    Attributes
    ----------
    frequency_hz : ndarray (n,)
        Rising [Hz].
    level_db : ndarray (n,)
        Magnitude [dB]: of the impedance over 1 Ω, or of the transfer as recorded.
    admittance_s : ndarray (n,) of complex
        Of the object and of `series_ohm` together [S], without phase where none was recorded.
    form : str
        What was recorded, in words.
    reference_ohm : float or None
        Reference resistance of a reflection [Ω].
    series_ohm : float
        Resistance in series with the object, into which a transfer was measured [Ω]; else 0.
    has_phase : bool
        Whether the phase was recorded.
    is_transfer : bool
        Whether the level is that of a transfer, and not of an impedance.
    is_scale_known : bool
        Whether admittance and `series_ohm` are in S and Ω; else, of a transfer into nobody says what, both are by that
        resistance, which leaves resonances and quality factors as they are.
    """

    frequency_hz: Samples
    level_db: Samples
    admittance_s: Complexes
    form: str
    reference_ohm: float | None = None
    series_ohm: float = 0.0
    has_phase: bool = True
    is_transfer: bool = False
    is_scale_known: bool = True

    @property
    def through(self) -> str:
        """The resistance into which a transfer was measured, in words."""
        return f"{self.series_ohm:g} Ω" if self.is_scale_known else "that resistance"


def response_of(recording: Recording, step: Step) -> Response:
    """Return a recording as a response.

    Parameters
    ----------
    recording : Recording
        Sound, with one of the sets of channels of a frequency response.
    step : Step
        ``port`` (``s11``, ``s21``, …) where a record of two ports is not meant by its S21; ``reference_ohm`` for a
        reflection whose record does not tell it; ``termination_ohm`` where a transfer in dB was measured through the
        object into that resistance. Of a record of two ports it is both ports' own where nothing else is stated.

    Returns
    -------
    Response
        Frozen.

    Raises
    ------
    NoResponse
        The record lacks the port that the step names, all samples are equal, clipped, an impedance is not above 0, or
        the reference resistance is not known.

    Notes
    -----
    Z = |Z| exp(jφ); Z = Z0 (1 + Γ)/(1 - Γ); Z + Rt = Rt/H for a series object before a termination Rt. An impedance
    and a transfer may lack their phase; a reflection may not, for the same magnitude goes with a branch whose
    resistance lies as far above the reference as another's lies below it.
    """
    port = str(step.stated.get("port", ""))
    is_of_ports = "s21_real" in recording.channels
    if port:
        recording = of_port(recording, port)
    _refuse_impossible(recording)
    names, channels = channels_of(recording, KINDS[step.kind]), recording.channels
    frequency = channels["frequency_hz"]
    if frequency[0] <= 0:
        raise NoResponse(f"The sweep begins at {frequency[0]:.4g} Hz; frequencies must be above 0.")
    if "gain_db" in names:
        response = _transfer(frequency, recording, step, is_of_ports=is_of_ports)
    else:
        impedance, form = _impedance(names, recording, step)
        magnitude = np.abs(impedance)
        _require_above_zero(frequency, channels["impedance_ohm"] if "impedance_ohm" in names else magnitude)
        reference = _reference(recording, step) if "reflection_real" in names else None
        has_phase = names != _BARE
        response = Response(frequency, 20 * np.log10(magnitude), 1 / impedance, form, reference, has_phase=has_phase)
    _refuse_flat(response)
    return response


def of_port(recording: Recording, port: str) -> Recording:
    """Return one port of a network as a recording: ``s11`` and ``s22`` as a reflection, others as a transfer in dB.

    Raises
    ------
    NoResponse
        The record has no such port, or a transfer is 0.
    """
    real, imaginary = (recording.channel(f"{port}_{part}") for part in ("real", "imag"))
    if real is None or imaginary is None:
        raise NoResponse(f"The step names the port {port.upper()}, which the record does not hold.")
    kept = {"frequency_hz": recording.channels["frequency_hz"]}
    if port[1] == port[2]:
        kept |= {"reflection_real": real, "reflection_imag": imaginary}
    else:
        size = np.hypot(real, imaginary)
        if not (size > 0).all():
            raise NoResponse(f"The transfer {port.upper()} is 0 somewhere, which has no level in decibels.")
        level = recording.channels.get("gain_db") if port == "s21" else None  # it may be corrected
        kept |= {
            "gain_db": 20 * np.log10(size) if level is None else level,
            "phase_deg": np.degrees(np.arctan2(imaginary, real)),
        }
    return replace(recording, channels=kept)


def _polar(magnitude: Samples, phase_deg: Samples) -> Complexes:
    whole: Complexes = np.asarray(magnitude * np.exp(1j * np.radians(phase_deg)), dtype=np.complex128)
    return whole


def _transfer(frequency: Samples, recording: Recording, step: Step, *, is_of_ports: bool) -> Response:
    level, phase = recording.channels["gain_db"], recording.channel("phase_deg")
    termination = step.number("termination_ohm")
    own = _stated_reference(recording) if is_of_ports else None
    if termination is None and own is not None:
        termination = 2 * own  # S21 = 2 Z0/(Z + 2 Z0) of an object in series between two ports of Z0
    is_scale_known, termination = termination is not None, termination or 1.0
    has_phase = phase is not None and bool(np.isfinite(phase).all())
    transfer = _polar(10 ** (level / 20), phase if has_phase and phase is not None else np.zeros(len(level)))
    into = f"into {termination:g} Ω" if is_scale_known else "in dB"
    form = f"a transfer {into}{'' if has_phase else ' without phase'}"
    return Response(
        frequency,
        level,
        transfer / termination,
        form,
        None,
        termination,
        has_phase,
        is_transfer=True,
        is_scale_known=is_scale_known,
    )


def _require_above_zero(frequency: Samples, magnitude: Samples) -> None:
    fine = np.isfinite(magnitude) & (magnitude > 10 ** (-_MOST_DB / 20))
    if not fine.all():
        raise NoResponse(f"The impedance at {frequency[fine.argmin()]:.6g} Hz is not a value above 0.")


def _impedance(names: tuple[str, ...], recording: Recording, step: Step) -> tuple[Complexes, str]:
    channels = recording.channels
    if names == _BARE:
        return channels["impedance_ohm"].astype(np.complex128), "an impedance without phase"
    if "impedance_ohm" in names:
        return _polar(channels["impedance_ohm"], channels["phase_deg"]), "an impedance"
    if "impedance_real_ohm" in names:
        return channels["impedance_real_ohm"] + 1j * channels["impedance_imag_ohm"], "an impedance"
    reference = _reference(recording, step)
    reflection = channels["reflection_real"] + 1j * channels["reflection_imag"]
    if (reflection == 1).any():
        raise NoResponse("A reflection of exactly 1 means that nothing was connected there.")
    return reference * (1 + reflection) / (1 - reflection), f"a reflection against {reference:g} Ω"


def _reference(recording: Recording, step: Step) -> float:
    value = _stated_reference(recording) if "reference_ohm" in recording.metadata else step.number("reference_ohm")
    if value is None or not value > 0:
        raise NoResponse("The reference impedance of the reflection is not known; state it in the step.")
    return value


def _stated_reference(recording: Recording) -> float | None:
    """Return the reference resistance that the record itself tells [Ω]; None where it tells none that can be."""
    try:
        value = float(recording.metadata.get("reference_ohm", ""))
    except ValueError:
        return None
    return value if value > 0 and np.isfinite(value) else None


def _refuse_impossible(recording: Recording) -> None:
    """Refuse a value that nothing can have, before it is squared beyond what a number holds."""
    for name, most in (("gain_db", _MOST_DB), *((one, 10 ** (_MOST_DB / 20)) for one in _OHMS)):
        values = recording.channel(name)
        if values is not None and float(np.abs(values).max(initial=0.0)) > most:
            place = int(np.abs(values).argmax())
            at = f"{recording.channels['frequency_hz'][place]:.6g} Hz"
            raise NoResponse(f"A value of {values[place]:.3g} at {at} is none that a sweep can have.")


def _refuse_flat(response: Response) -> None:
    level = np.round(response.level_db, 9)  # a magnitude that went through a complex number is equal to rounding only
    if float(np.ptp(level)) < 1e-9:
        raise NoResponse(f"All samples are {level[0]:.4g} dB: the sweep shows no response.")
    for turned, edge in ((level, "greatest"), (-level, "least")):
        clipped = clipped_samples(turned, resolution_of(level), at_ends=True)
        if clipped:
            place = int(turned.argmax())
            raise NoResponse(
                f"{clipped} samples in a row carry the {edge} value, {level[place]:.4g} dB from "
                f"{response.frequency_hz[place]:.6g} Hz: the sweep is clipped at the edge of the analyser's range."
            )
