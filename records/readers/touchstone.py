"""Reader of Touchstone files, versions 1 and 2: network parameters over frequency."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

from records.readers.assembling import Columns, assemble, require
from records.readers.columns import Resolution, resolve
from records.readers.decoding import decode
from records.readers.layout import NamedColumns
from records.readers.networks import Network, network_of
from records.readers.order import Order
from records.readers.previewing import Manner, Preview, describe
from records.readers.recording import Recording, Samples
from records.readers.refusals import ContentNotKnown, NotANumber
from records.readers.source import look_at
from records.readers.units import UNITS

_SHOWN = 8
_USED = "SZY"
_TWO = 2

Values = NDArray[np.complex128]


def preview(order: Order) -> Preview:
    """Return the first points as they are understood."""
    network, arrays, _ = _read(order)
    layout, resolution = _columns(arrays, order)
    return describe(Manner(_how(network)), layout, resolution, order.wanted, _metadata(network))


def read(order: Order) -> Recording:
    """Return the arrays of a file.

    Raises
    ------
    RecordRefused
        Each fault by its own class, with the row where it has one.

    Notes
    -----
    Of one port: ``reflection_real`` and ``reflection_imag``, or ``impedance_real_ohm`` and ``impedance_imag_ohm`` where
    the file holds impedances or admittances. Of several ports: ``s11_real``, ``s11_imag``, ``s21_real``, …,
    and of two ``gain_db`` and ``phase_deg`` of S21. The reference resistance stands in the metadata as
    ``reference_ohm``.
    """
    network, arrays, digest = _read(order)
    layout, resolution = _columns(arrays, order)
    shown = describe(Manner(_how(network)), layout, resolution, order.wanted, _metadata(network))
    require(order, layout, resolution, shown)
    columns = Columns(arrays, digest, _metadata(network), network.oddities, lambda index: network.rows[index])
    return assemble(order, columns, shown)


def _read(order: Order) -> tuple[Network, dict[str, Samples], str]:
    source = look_at(order.path)
    content = order.path.read_bytes()
    network = network_of(decode(content, source.encoding))
    order.check_rows(len(network.frequency_hz))
    return network, _arrays(network), hashlib.sha256(content).hexdigest()


def _arrays(network: Network) -> dict[str, Samples]:
    if network.parameter not in _USED or (network.parameter != "S" and network.ports > 1):
        raise ContentNotKnown(
            f"The file holds {network.parameter}-parameters of {network.ports} ports, which no evaluation here uses. "
            "Export S-parameters, or the impedance of one port."
        )
    arrays = {"frequency_hz": network.frequency_hz}
    if network.parameter != "S":
        return arrays | _parts("impedance_{}_ohm", _impedance(network))
    if network.ports == 1:
        return arrays | _parts("reflection_{}", network.values[:, 0, 0])
    for row in range(network.ports):
        for column in range(network.ports):
            arrays |= _parts(f"s{row + 1}{column + 1}_{{}}", network.values[:, row, column])
    return arrays | (_transfer(network) if network.ports == _TWO else {})


def _transfer(network: Network) -> dict[str, Samples]:
    """Return S21 as a transfer: magnitude [dB] and phase [°]; what a two-port file of a sweep is measured for."""
    values = network.values[:, 1, 0]
    if (values == 0).any():
        row = network.rows[int(np.argmax(values == 0))]
        raise NotANumber(f"Row {row}: a transfer S21 of 0 has no level in decibels. Remove the point.", row=row)
    return {"gain_db": 20 * np.log10(np.abs(values)), "phase_deg": np.degrees(np.angle(values))}


def _parts(name: str, values: Values) -> dict[str, Samples]:
    return {name.format("real"): values.real.copy(), name.format("imag"): values.imag.copy()}


def _impedance(network: Network) -> Values:
    """Return the impedance of one port [Ω]; version 1 writes impedance and admittance relative to the reference."""
    values = network.values[:, 0, 0]
    scale = network.reference_ohm[0] if network.is_relative else 1.0
    if network.parameter == "Z":
        return values * scale
    if (values == 0).any():
        row = network.rows[int(np.argmax(values == 0))]
        raise NotANumber(f"Row {row}: an admittance of 0 has no impedance. Remove the point.", row=row)
    return scale / values


def _columns(arrays: dict[str, Samples], order: Order) -> tuple[NamedColumns, Resolution]:
    rows = min(_SHOWN, len(arrays["frequency_hz"]))
    samples = tuple(tuple(f"{values[row]:.9g}" for values in arrays.values()) for row in range(rows))
    layout = NamedColumns(tuple(arrays), tuple(UNITS.get(name, "1") for name in arrays), samples)
    return layout, resolve(layout, None, order.wanted.channels)


def _how(network: Network) -> str:
    return (
        f"Read as a Touchstone file of version {network.version}: {network.parameter}-parameters of {network.ports} "
        f"ports, {network.form}, {len(network.frequency_hz)} points."
    )


def _metadata(network: Network) -> dict[str, str]:
    references = [f"{value:.12g}" for value in network.reference_ohm]
    told = references[0] if len(set(references)) == 1 else " ".join(references)
    return {"reference_ohm": told, "parameter": network.parameter, "ports": str(network.ports)}
