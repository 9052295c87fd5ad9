"""Which terminals a step energises and which it earths."""

from __future__ import annotations

from schedules.rules.plans import Arrangement

_PHASES = ("A", "B", "C")


def arrangements_for(pattern: str, phases: int) -> tuple[Arrangement, ...]:
    """Return the arrangements of a step by its pattern and the number of phases of the unit.

    Parameters
    ----------
    pattern : str
        ``each_phase_in_turn``, ``all_phases_together``, ``phase_pairs``, ``terminals_to_case``, ``across_terminals``,
        ``three_phase_supply``, ``each_line_earthed_in_turn``, ``secondary_to_earth``, ``secondary_open``,
        ``outer_to_centre`` or ``not_energised``, as the procedure says.
    phases : int
        1 or 3.

    Returns
    -------
    tuple[Arrangement, ...]
        At least one arrangement; the step is done when each has a run that stands.

    References
    ----------
    Common practice: the phases that are not energised and the frame are earthed.

    Examples
    --------
    >>> [one.earthed for one in arrangements_for("each_phase_in_turn", 3)][0]
    ('B', 'C', 'frame')
    """
    names = _PHASES if phases == 3 else ("A",)
    if pattern == "each_phase_in_turn":
        return tuple(_one_phase(name, names) for name in names)
    if pattern == "phase_pairs" and phases == 3:
        pairs = (("A", "B"), ("B", "C"), ("C", "A"))
        return tuple(Arrangement(f"phase {one} to {other}", (one,), (other, "frame")) for one, other in pairs)
    if pattern == "outer_to_centre" and phases == 3:
        return tuple(Arrangement(f"bushing {outer} to B", (outer,), ("B",)) for outer in ("A", "C"))
    if pattern == "across_terminals":
        return tuple(Arrangement(f"phase {name}, terminal to terminal", (f"{name}1",), (f"{name}2",)) for name in names)
    if pattern == "terminals_to_case":
        return (Arrangement("terminals together to case", names, ("case",)),)
    if pattern == "each_line_earthed_in_turn" and phases == 3:
        return tuple(
            Arrangement(f"terminal {name} earthed", tuple(other for other in names if other != name), (name, "frame"))
            for name in names
        )
    if pattern in ("three_phase_supply", "each_line_earthed_in_turn"):
        title = "three-phase supply" if phases == 3 else "single-phase supply"
        return (Arrangement(title, names, ("frame",)),)
    if pattern == "secondary_to_earth":
        return (Arrangement("secondary terminals together to earth", ("secondary",), ("primary", "frame")),)
    if pattern == "secondary_open":
        return (Arrangement("primary current, secondary open", ("secondary",), ("frame",)),)
    if pattern == "not_energised":
        return tuple(Arrangement(f"phase {name}", (), ()) for name in names)
    return (Arrangement("all phases together", names, ("frame",)),)


def _one_phase(name: str, names: tuple[str, ...]) -> Arrangement:
    if len(names) == 1:
        return Arrangement("single phase", (name,), ("frame",))
    return Arrangement(f"phase {name}", (name,), (*(other for other in names if other != name), "frame"))
