"""The impulses of one performance, each set beside the stage of the plan that it was applied for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from records.evaluation.impulse.parameters import Impulse, evaluate_impulse
from records.evaluation.impulse.recorded import NoImpulse
from records.evaluation.step import Stage
from records.readers.recording import Recording

_LEAST_CUT_OFF = 0.2  # of the set point: an impulse that collapses lower than this is a trial
_FAR = 0.25  # an impulse that is further than this share from every set point belongs to none


@dataclass(frozen=True)
class Shot:
    """One impulse of the sequence.

    Attributes
    ----------
    number : int
        Its place among the records, from 1.
    impulse : Impulse or None
        None where the record could not be evaluated.
    stage : Stage or None
        The stage that it was applied for; None where it fits none.
    why : str
        Why there is no impulse, or no stage; else empty.
    recording : Recording
        As read.
    """

    number: int
    impulse: Impulse | None
    stage: Stage | None
    why: str
    recording: Recording

    @property
    def level_kv(self) -> float:
        """Test voltage [kV], positive; 0 where there is none."""
        value = self.impulse.test_voltage_kv.value if self.impulse else None
        return value or (self.impulse.recorded.extreme_kv if self.impulse else 0.0)

    @property
    def is_discharge(self) -> bool:
        """Whether the voltage collapsed though the stage asks for a wave that is not chopped."""
        is_asked = self.stage is not None and wave_of(self.stage) == "chopped"
        return bool(self.impulse and self.impulse.is_chopped and not is_asked)

    @property
    def is_at_level(self) -> bool:
        """Whether the test voltage lies in its stage's band, or a discharge cut the impulse off on its way there."""
        if self.stage is None or self.impulse is None:
            return False
        return self.stage.low_kv <= self.level_kv <= self.stage.high_kv or (
            self.is_discharge and self.level_kv < self.stage.low_kv
        )


def wave_of(stage: Stage) -> str:
    """Return ``full``, ``reduced`` or ``chopped``: what the stage states, else full."""
    return str(stage.stated.get("wave", "full"))


def shots_of(recordings: Sequence[Recording], stages: Sequence[Stage]) -> tuple[Shot, ...]:
    """Return each record's impulse with its stage.

    Parameters
    ----------
    recordings : sequence of Recording
        In the order applied, each one impulse.
    stages : sequence of Stage
        Of the step, each with level, and as far as stated polarity and wave.

    Returns
    -------
    tuple of Shot
        In the same order.

    Notes
    -----
    An impulse belongs to the stage of its polarity in whose band its level lies, of several to the one that asks for
    its kind of wave; else to the stage whose level is nearest in proportion. One that is more than a quarter from
    every stage, or whose polarity none asks, belongs to none: it was a trial, and is not judged. An impulse that a
    discharge cut off on its front belongs to the nearest stage though it is below it. Where a stage states how many
    chopped impulses it asks for, further ones are discharges of the full impulse.
    """
    shots: list[Shot] = []
    for number, recording in enumerate(recordings, start=1):
        full = [stage for stage in stages if not _has_all(stage, shots)]
        shots.append(_shot(number, recording, stages, full))
    return tuple(shots)


def _has_all(stage: Stage, shots: Sequence[Shot]) -> bool:
    """Return whether a stage of chopped impulses has as many as it states."""
    stated = stage.stated.get("impulses")
    if wave_of(stage) != "chopped" or stated is None:
        return False
    return sum(shot.stage is stage and shot.is_at_level for shot in shots) >= stated


def _shot(number: int, recording: Recording, stages: Sequence[Stage], still_open: Sequence[Stage]) -> Shot:
    try:
        impulse = evaluate_impulse(recording.time_s, recording.channels["voltage_kv"])
    except NoImpulse as fault:
        return Shot(number, None, None, str(fault), recording)
    level = Shot(number, impulse, None, "", recording).level_kv
    candidates = still_open if impulse.is_chopped and len(still_open) else stages
    of_polarity = [stage for stage in candidates if stage.stated.get("polarity") in (None, impulse.polarity)]
    if not of_polarity:
        return Shot(number, impulse, None, f"No stage asks for an impulse of {impulse.polarity} polarity.", recording)
    stage = min(of_polarity, key=lambda one: _distance(one, level, is_chopped=impulse.is_chopped))
    share = level / stage.voltage_kv
    is_cut_off = impulse.is_chopped and _LEAST_CUT_OFF <= share < 1
    if abs(share - 1) > _FAR and not is_cut_off:
        words = f"Its {level:.4g} kV are far from every set point of its polarity: it was not counted."
        return Shot(number, impulse, None, words, recording)
    return Shot(number, impulse, stage, "", recording)


def _distance(stage: Stage, level_kv: float, *, is_chopped: bool) -> tuple[bool, bool, float]:
    """Return how ill a stage fits: outside its band, of another wave, by the logarithm of the proportion."""
    is_outside = not stage.low_kv <= level_kv <= stage.high_kv
    is_other = (wave_of(stage) == "chopped") != is_chopped
    away = abs(math.log(level_kv / stage.voltage_kv))
    return (is_outside, is_other and (not is_outside or not is_chopped), away)
