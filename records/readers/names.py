"""Heads that instruments write, and the channels that each may mean: a closed list (common practice, no source)."""

from __future__ import annotations

from collections.abc import Mapping

_HEADS: Mapping[tuple[str, ...], str] = {
    # Channels in the order in which they are taken where the step does not decide: heads, in small letters.
    ("time_s",): "time, times, timestamp, time stamp, elapsed, elapsed time, zeit, date time, datetime, clock, "
    "date and time, x axis",
    ("time_s", "temperature_c"): "t",
    ("voltage_kv",): "u, v, urms, u rms, vrms, v rms, voltage, volts, spannung, hv, test voltage, applied voltage, "
    "high voltage, voltage rms, rms voltage, ua, ub, uc, va, vb, vc, u1, u2, u3, v1, v2, v3, ul1, ul2, ul3, "
    "peak voltage, impulse voltage",
    ("charge_pc",): "q, charge, apparent charge, pd, pd level, pd magnitude, pd charge, discharge, partial discharge, "
    "ladung, discharge level",
    ("current_ma", "current_a"): "i, current, strom, leakage current, ia, ib, ic, i1, i2, i3, il1, il2, il3",
    ("frequency_hz",): "f, freq, frequency, frequenz",
    ("phase_deg", "part"): "phase",
    ("phase_deg",): "phi, φ, theta, θ, phase angle, phase of z, impedance phase, arg(z), ∠z",
    ("temperature_c",): "temperature, temp, temperatur, winding temperature, temperature of the winding, ϑ, t winding",
    ("ambient_c",): "ambient, ambient temperature, ambient temp, t amb, room temperature, air temperature, coolant, "
    "cooling air",
    ("impedance_ohm",): "z, |z|, impedance, impedance magnitude, magnitude of z, z magnitude, impedanz",
    ("impedance_real_ohm",): "re z, re(z), z real, z re, real z, re{z}, z', impedance real, real part of z, rs",
    ("impedance_imag_ohm",): "im z, im(z), z imag, z im, imag z, im{z}, z'', impedance imag, imaginary part of z, x, "
    "reactance, xs",
    ("resistance_ohm", "insulation_resistance_mohm", "impedance_real_ohm"): "r, resistance, widerstand",
    ("resistance_ohm",): "winding resistance, dc resistance, rdc, r dc, r winding, wicklungswiderstand",
    ("insulation_resistance_mohm",): "insulation resistance, ir, r iso, riso, isolationswiderstand, r ins",
    ("gain_db", "impedance_ohm"): "magnitude, mag, amplitude",
    ("gain_db",): "gain, transfer, transfer function, h, |h|, trace",
    ("reflection_real",): "s11 real, s11(real), re s11, re(s11), s11 re, real s11, reflection real, "
    "gamma real, re gamma",
    ("reflection_imag",): "s11 imag, s11(imag), im s11, im(s11), s11 im, imag s11, reflection imag, "
    "gamma imag, im gamma",
    ("dissipation_factor",): "tan δ, tanδ, tan d, tand, tan delta, tandelta, df, dissipation, dissipation factor, "
    "loss factor, loss tangent, verlustfaktor",
    ("capacitance_uf",): "c, capacitance, cx, cp, cs, kapazität",
    ("inductance_mh",): "l, inductance, lx, ls, lp, induktivität",
    ("loss_w",): "p, loss, losses, power, active power, power loss, verluste, verlustleistung",
    ("gated",): "gated, gate, masked",
    ("part",): "part, phases, winding, coil, limb, leg, terminals, connection, measured between, between, strang, "
    "wicklung, leiter, klemmen",
}

CANDIDATES: Mapping[str, tuple[str, ...]] = {
    head.strip(): channels for channels, heads in _HEADS.items() for head in heads.split(", ")
}

WORDS: Mapping[str, str] = {
    "time_s": "time",
    "voltage_kv": "voltage",
    "charge_pc": "charge",
    "current_ma": "current",
    "current_a": "current",
    "frequency_hz": "frequency",
    "phase_deg": "phase",
    "temperature_c": "temperature",
    "ambient_c": "ambient temperature",
    "impedance_ohm": "impedance",
    "impedance_real_ohm": "real part of the impedance",
    "impedance_imag_ohm": "imaginary part of the impedance",
    "resistance_ohm": "resistance",
    "insulation_resistance_mohm": "insulation resistance",
    "gain_db": "gain",
    "reflection_real": "real part of the reflection",
    "reflection_imag": "imaginary part of the reflection",
    "dissipation_factor": "dissipation factor",
    "capacitance_uf": "capacitance",
    "inductance_mh": "inductance",
    "loss_w": "loss",
    "gated": "gating",
    "part": "name of the part",
}
"""What people call each channel."""
