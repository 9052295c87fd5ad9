"""Sequences of impulses and when they pass: rounds of impulses with the discharges that each allows, as data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

Outcome = Literal["passed", "failed", "more_needed"]


@dataclass(frozen=True)
class Round:
    """One round of a sequence.

    Attributes
    ----------
    impulses : int
        Impulses applied in all when it is judged.
    accept : int
        Most disruptive discharges in all with which the sequence passes here.
    reject : int
        Fewest with which it fails here; between the two it goes on to the next round.
    clear_at_end : int
        Impulses at the end that must be free of discharge for the sequence to pass here.
    """

    impulses: int
    accept: int
    reject: int
    clear_at_end: int = 0


# IEC 60060-1:2010 and IEC 60071-1, procedures with 3 and with 15 impulses: published (see standards of the trade);
# three and nine more after exactly one discharge: IEC 60060-1 procedure C, from memory; the last five of fifteen clear,
# up to 25 impulses: IEC 62271-1, from memory.
SEQUENCES: Mapping[str, tuple[Round, ...]] = {
    "three": (Round(3, 0, 1),),
    "three_plus_nine": (Round(3, 0, 2), Round(12, 1, 2)),
    "fifteen": (Round(15, 2, 3),),
    "fifteen_five_clear": tuple(Round(count, 2, 3, clear_at_end=5) for count in range(15, 26)),
}


@dataclass(frozen=True)
class Judged:
    """What a sequence of impulses comes to.

    Attributes
    ----------
    outcome : str
        ``passed``, ``failed`` or ``more_needed``.
    allowed : int
        Most discharges that the round reached allows.
    missing : int
        Impulses still to be applied where more are needed.
    words : str
        The rule and the count, in a sentence.
    """

    outcome: Outcome
    allowed: int
    missing: int
    words: str


def rounds_of(stated: Mapping[str, Any]) -> tuple[Round, ...]:
    """Return the rounds that a step states, by name or row by row; empty where it states none."""
    if stated.get("rounds"):
        return tuple(Round(**row) for row in stated["rounds"])
    return SEQUENCES.get(stated.get("acceptance", ""), ())


def judge_sequence(discharged: Sequence[bool], rounds: Sequence[Round]) -> Judged:
    """Return whether a sequence of impulses passes.

    Parameters
    ----------
    discharged : sequence of bool
        For each impulse in order, whether there was a disruptive discharge.
    rounds : sequence of Round
        In rising order of impulses, at least one.

    Returns
    -------
    Judged
        The first round that decides; impulses applied beyond it are not needed and are counted all the same, so that
        a discharge among them is not overlooked.

    Examples
    --------
    >>> judge_sequence([False, True, False], SEQUENCES["three_plus_nine"]).missing
    9
    """
    count, applied = sum(discharged), len(discharged)
    reached = [one for one in rounds if one.impulses <= applied]
    told = f"{count} disruptive discharge{'' if count == 1 else 's'} in {applied} impulse{'' if applied == 1 else 's'}"
    last = rounds[-1]
    if count >= max(one.reject for one in rounds):
        return Judged("failed", last.accept, 0, f"{told}; at most {last.accept} in {last.impulses} are allowed.")
    for one in reached:
        within = sum(discharged[: one.impulses])
        if within >= one.reject:
            return Judged("failed", one.accept, 0, f"{told}; at most {one.accept} in {one.impulses} are allowed.")
    at_hand = reached[-1] if reached else rounds[0]
    is_clear = not any(discharged[applied - at_hand.clear_at_end :]) if at_hand.clear_at_end else True
    allowed = f"at most {at_hand.accept} in {at_hand.impulses} allowed"
    if reached and count <= at_hand.accept and is_clear:
        return Judged("passed", at_hand.accept, 0, f"{told}; {allowed}.")
    following = next((one for one in rounds if one.impulses > applied), None)
    if following is None:
        why = f"; the last {at_hand.clear_at_end} were not free of discharge" if not is_clear else ""
        return Judged("failed", at_hand.accept, 0, f"{told}{why}; {allowed}.")
    missing = following.impulses - applied
    words = f"{told}: {missing} further impulse{'' if missing == 1 else 's'} needed before the sequence is judged."
    return Judged("more_needed", following.accept, missing, words)
