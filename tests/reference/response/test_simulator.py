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


def netlist(output) -> str:
    """Return the circuit: a source of 1 V and the three branches across it."""
    lines = ["three branches", "V1 top 0 DC 0 AC 1"]
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


def test_the_simulators_branches_are_found(tmp_path):
    """Tolerance: the simulator writes some ten significant digits."""
    output, circuit = tmp_path / "sweep.txt", tmp_path / "branches.cir"
    circuit.write_text(netlist(output))
    subprocess.run([NGSPICE, "-b", str(circuit)], check=True, capture_output=True, timeout=60)
    frequency, real, imaginary = np.loadtxt(output, unpack=True)[:3]
    found = find_branches(frequency, -(real + 1j * imaginary)).branches
    assert len(found) == 3
    for branch, true in zip(found, THREE, strict=True):
        for quantity in QUANTITIES:
            assert getattr(branch, quantity).value == pytest.approx(getattr(true, quantity), rel=1e-6), quantity
