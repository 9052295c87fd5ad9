"""What a record must hold for a kind of step, alone or as one of several."""

from __future__ import annotations

from dataclasses import replace

from records.readers.wanted import WANTED_BY_KIND, Wanted

# Beside other records a list of pulses may come without the voltage, and the voltage without charge.
_APART = {"partial_discharge": (("time_s", "charge_pc"), ("time_s", "voltage_kv"))}


def wanted_of(kind: str, *, is_one_of_several: bool = False) -> Wanted:
    """Return what a record must hold.

    Parameters
    ----------
    kind : str
        Kind of step.
    is_one_of_several : bool
        Whether other records are given too, which may hold the rest.

    Returns
    -------
    Wanted
        Where no reader names the kind, a time axis.
    """
    wanted = WANTED_BY_KIND.get(kind) or Wanted.of(("time_s",))
    apart = _APART.get(kind, ()) if is_one_of_several else ()
    return replace(wanted, sets=(*wanted.sets, *apart))
