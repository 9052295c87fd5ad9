"""Three branches in ngspice, where it is installed: its small-signal currents give the same branches."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pytest

from records.evaluation.sweep.branches import find_branches
from tests.reference.response.test_branches import QUANTITIES, THREE

NGSPICE = shutil.which("ngspice")
pytestmark = pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed on this machine")


def netlist(output, through_ohm: float = 0.0) -> str:
    """Return the circuit: a source of 1 V and the three branches across it, or a resistor between source and these."""
    lines = ["three branches", "V1 source 0 DC 0 AC 1", f"Rt source top {through_ohm!r}"]
    if not through_ohm:
        lines[1:] = ["V1 top 0 DC 0 AC 1"]
    for number, branch in enumerate(THREE, start=1):
        lines += [
            f"R{number} top a{number} {branch.resistance_ohm!r}",
            f"L{number} a{number} b{number} {branch.inductance_mh * 1e-3!r}",
            f"C{number} b{number} 0 {branch.capacitance_uf * 1e-6!r}",
        ]
    lines += [
        ".control",
        "set numdgt=15",
        "set wr_singlescale",
        "ac dec 400 50 5000",
        f"wrdata {output} i(V1)",
        "quit",
        ".endc",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def swept(room, through_ohm: float = 0.0):
    """Return frequencies [Hz] and the current of 1 V [S], a complex array (n,)."""
    output, circuit = room / "sweep.txt", room / "branches.cir"
    circuit.write_text(netlist(output, through_ohm))
    subprocess.run([NGSPICE, "-b", str(circuit)], check=True, capture_output=True, timeout=60)
    frequency, real, imaginary = np.loadtxt(output, unpack=True)[:3]
    return frequency, -(real + 1j * imaginary)


def test_the_simulators_branches_are_found(tmp_path):
    """Tolerance: the simulator writes some ten significant digits."""
    found = find_branches(*swept(tmp_path)).branches
    assert len(found) == 3
    for branch, true in zip(found, THREE, strict=True):
        for quantity in QUANTITIES:
            assert getattr(branch, quantity).value == pytest.approx(getattr(true, quantity), rel=1e-6), quantity


@pytest.mark.parametrize("through_ohm", [0.0, 2.0, 50.0])
def test_its_magnitude_alone_gives_the_same_branches(tmp_path, through_ohm):
    """The simulator writes ten digits; through 50 Ω a resistance of 0.19 Ω shows by 0.4 % only, which costs two."""
    frequency, admittance = swept(tmp_path, through_ohm)
    size = np.abs(admittance).astype(complex)
    found = find_branches(frequency, size, series_ohm=through_ohm, has_phase=False).branches
    assert len(found) == 3
    for branch, true in zip(found, THREE, strict=True):
        for quantity in QUANTITIES:
            value = getattr(branch, quantity).value
            assert value == pytest.approx(getattr(true, quantity), rel=1e-5 if through_ohm > 10 else 1e-6), quantity
