"""What a kind of step needs of its record: which channels, along which axis, and how few rows are enough."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Wanted:
    """Channels that a record must or may hold.

    Attributes
    ----------
    sets : tuple of tuple of str
        Any one of these sets of channels is enough; the first is what people are asked for.
    optional : tuple of str
        Channels that are of use; they decide what a head means that could mean several.
    axis : str
        ``time_s``, ``frequency_hz``, or nothing for a table of measured values in no order.
    min_rows : int
        Fewest rows that an evaluation can use.
    bare : tuple of tuple of str
        Sets that are enough too, but only where no column is left that could be what they lack.
    """

    sets: tuple[tuple[str, ...], ...]
    optional: tuple[str, ...] = ()
    axis: str = "time_s"
    min_rows: int = 3
    bare: tuple[tuple[str, ...], ...] = ()

    @property
    def channels(self) -> tuple[str, ...]:
        """Every channel of use, each once, needed ones first."""
        return tuple(dict.fromkeys([name for one in self.sets for name in one] + list(self.optional)))

    def nearest(self, found: Sequence[str]) -> tuple[str, ...]:
        """Return the set that is nearest to being complete."""
        return min(self.sets, key=lambda one: sum(name not in found for name in one))

    def lacking(self, found: Sequence[str], *, is_all: bool = False) -> tuple[str, ...]:
        """Return what is still missing for the set that is nearest to being complete; empty where one is.

        Parameters
        ----------
        found : sequence of str
            Channels that were found.
        is_all : bool
            Whether no column is left that could be a further channel: then a bare set is enough.
        """
        if is_all and any(set(one) <= set(found) for one in self.bare):
            return ()
        return tuple(name for name in self.nearest(found) if name not in found)

    def is_met(self, found: Sequence[str], *, is_all: bool = False) -> bool:
        """Return whether one of the sets was found whole."""
        return not self.lacking(found, is_all=is_all)

    @classmethod
    def of(cls, needed: Sequence[str]) -> Wanted:
        """Return the demand for one set of channels over time."""
        return cls((tuple(needed),))

    def as_dict(self) -> dict[str, Any]:
        """Return the same as plain values, for JSON."""
        listed = {name: [list(one) for one in getattr(self, name)] for name in ("sets", "bare")}
        return {**vars(self), **listed, "optional": list(self.optional)}

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Wanted:
        """Return the demand that `as_dict` gave."""
        sets, bare = (tuple(tuple(one) for one in content[name]) for name in ("sets", "bare"))
        return cls(sets, tuple(content["optional"]), content["axis"], content["min_rows"], bare)


_SWEEP = "frequency_hz"
WANTED_BY_KIND: Mapping[str, Wanted] = {
    "power_frequency_withstand": Wanted((("time_s", "voltage_kv"),), ("current_ma", "charge_pc", "temperature_c")),
    "partial_discharge": Wanted(
        (("time_s", "voltage_kv", "charge_pc"), ("time_s", "charge_pc", "phase_deg")), ("gated", "current_ma")
    ),
    "lightning_impulse": Wanted((("time_s", "voltage_kv"),), ("current_a",)),
    "frequency_response": Wanted(
        (
            (_SWEEP, "impedance_ohm", "phase_deg"),
            (_SWEEP, "impedance_real_ohm", "impedance_imag_ohm"),
            (_SWEEP, "reflection_real", "reflection_imag"),
            (_SWEEP, "gain_db"),
        ),
        ("phase_deg",),
        _SWEEP,
        bare=((_SWEEP, "impedance_ohm"),),
    ),
    "winding_resistance": Wanted((("resistance_ohm",),), ("temperature_c", "ambient_c", "current_a", "part"), "", 1),
    "insulation_resistance": Wanted(
        (("time_s", "insulation_resistance_mohm"),), ("voltage_kv", "temperature_c", "current_ma")
    ),
    "dissipation_factor": Wanted((("dissipation_factor",),), ("voltage_kv", "capacitance_uf", _SWEEP), "", 1),
    "capacitance": Wanted((("capacitance_uf",),), ("voltage_kv", "dissipation_factor", _SWEEP), "", 1),
    "inductance": Wanted((("inductance_mh",),), (_SWEEP, "loss_w", "current_a", "voltage_kv", "temperature_c"), "", 1),
    "temperature_rise": Wanted(
        (("time_s", "resistance_ohm"),), ("ambient_c", "temperature_c", "current_a"), min_rows=6
    ),
}
"""A new kind of step begins with a row here; `records.evaluation.kinds` takes what a record must hold from it."""
