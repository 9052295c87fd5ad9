"""Annex B once more, by a general fit over all samples and by k(f) on the spectrum."""

from __future__ import annotations

import numpy as np
from scipy.optimize import curve_fit


def _model(time_us, amplitude, slow_us, fast_us, start_us):
    late = time_us - start_us
    return amplitude * (np.exp(-late / slow_us) - np.exp(-late / fast_us))


def parameters(time_us, values_kv, start_us):
    """Return Ut [kV], T1, T2 [µs] and β′ [%] of a noiseless positive impulse whose base level is 0."""
    crest = int(values_kv.argmax())
    extreme = values_kv[crest]
    first = int(np.flatnonzero(values_kv[:crest] < 0.2 * extreme)[-1]) + 1
    last = crest + int(np.flatnonzero(values_kv[crest:] > 0.4 * extreme)[-1])
    window = slice(first, last + 1)
    guess = (1.04 * extreme, 68.0, 0.4, start_us)
    best, _ = curve_fit(_model, time_us[window], values_kv[window], p0=guess, xtol=1e-14, ftol=1e-14, maxfev=10_000)
    base = np.where(time_us >= best[3], _model(time_us, *best), 0.0)
    residual = values_kv - base
    padded = np.concatenate([np.zeros(len(residual)), residual, np.full(len(residual), residual[-1])])
    frequency_mhz = np.fft.rfftfreq(len(padded), time_us[1] - time_us[0])
    smooth = np.fft.irfft(np.fft.rfft(padded) / (1 + 2.2 * frequency_mhz**2), len(padded))
    curve = base + smooth[len(residual) : 2 * len(residual)]
    top = int(curve.argmax())

    def rise(share):
        place = int(np.flatnonzero(curve[:top] < share * curve[top])[-1])
        return np.interp(share * curve[top], curve[place : place + 2], time_us[place : place + 2])

    place = top + int(np.flatnonzero(curve[top:] > 0.5 * curve[top])[-1])
    t50 = np.interp(-0.5 * curve[top], -curve[place : place + 2], time_us[place : place + 2])
    front = (rise(0.9) - rise(0.3)) / 0.6
    return curve[top], front, t50 - (rise(0.3) - 0.3 * front), 100 * (extreme - base.max()) / extreme
