"""What is said of the branches of a sweep: which they are, and why something that looks like one is none."""

from __future__ import annotations

from equipment.metrology.rounding import rounded
from records.evaluation.measured import spoken
from records.evaluation.sweep.branches import Branch, Network
from records.evaluation.sweep.responses import Response
from records.evaluation.wording import listed

_LEAST_TOLD = 1e-8  # of a value: no instrument tells more digits


def with_uncertainty(value: float, expanded_uncertainty: float | None) -> str:
    """Return a value with its expanded uncertainty, both rounded to the latter; to four digits where it is not known.

    Examples
    --------
    >>> with_uncertainty(282.5012, 0.0122)
    '282.501 ± 0.012'
    >>> with_uncertainty(282.5012, None)
    '282.5'
    """
    if not expanded_uncertainty or expanded_uncertainty < _LEAST_TOLD * abs(value):
        return spoken(value, expanded_uncertainty)
    told = rounded(value, expanded_uncertainty)
    return f"{told.value_text} ± {told.uncertainty_text}"


def no_resonances(network: Network, response: Response, least_quality: float) -> list[str]:
    """Return a sentence for each pair of poles that is no resonance, with the reason.

    Parameters
    ----------
    network : Network
        As fitted.
    response : Response
        What it was fitted to.
    least_quality : float
        Quality factor from which on a pair of poles is a resonance, dimensionless.
    """
    low, high = float(response.frequency_hz[0]), float(response.frequency_hz[-1])
    inside = [branch for branch in network.broad if low <= branch.resonance_hz.value <= high]
    said = []
    if network.is_hidden:
        seen = [branch for branch in inside if not _is_hump(branch, least_quality)]
        places = listed([f"{branch.resonance_hz.value:.3g}" for branch in seen])
        least = min(branch.characteristic_ohm for branch in seen)
        size = f"some {least:.1g} Ω of a" if response.is_scale_known else "a"
        said.append(
            f"What resonates near {places} Hz is not told: through {response.through} {size} "
            f"coil and its capacitor hardly show in samples that scatter by {network.noise_db:.2g} dB. Measure the "
            "impedance, or into a lower resistance."
        )
        inside = [branch for branch in inside if branch not in seen]
    for branch in network.broad:
        at, quality = branch.resonance_hz.value, branch.quality_factor.value
        if not low <= at <= high:
            said.append(
                f"What would resonate at {at:.4g} Hz lies outside the sweep, {low:.4g} to {high:.4g} Hz, and is not "
                "counted as a resonance."
            )
        elif branch in inside and (branch.is_determined or _is_hump(branch, least_quality)):
            said.append(
                f"A hump at {at:.4g} Hz with a quality factor of {quality:.2g} is not counted as a resonance: below "
                f"{least_quality:g} it is none."
            )
        elif branch in inside:
            said.append(
                f"What would resonate at {at:.4g} Hz is not counted as a resonance: samples that scatter by "
                f"{network.noise_db:.2g} dB leave its quality factor or its inductance unknown."
            )
    return said


def _is_hump(branch: Branch, least_quality: float) -> bool:
    quality = branch.quality_factor
    return 0 < quality.value + quality.coverage_factor * quality.standard_uncertainty < least_quality


def without_phase(response: Response | None) -> str:
    """Return a sentence to append where a response has no phase; else nothing."""
    return "" if response is None or response.has_phase else " There was no phase: it is fitted to the magnitude alone."
