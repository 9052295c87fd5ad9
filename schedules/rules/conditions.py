"""When a row of a pack applies: conditions on what the nameplate or the order states."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from schedules.rules.errors import RatingsMissing
from schedules.rules.vocabulary import FIELDS_BY_NAME

_SAME = 1e-6
NOT_STATED = ""


@dataclass(frozen=True, slots=True)
class Condition:
    """A rating and what it must be: any of these words ("" for "not stated"), or a number from the first to the last.

    Attributes
    ----------
    rating : str
        Name of a choice or of a number among the ratings.
    allowed : tuple[str | float, ...]
        Words, or two numbers, ends included.
    """

    rating: str
    allowed: tuple[str | float, ...]

    def holds(self, ratings: Mapping[str, Any]) -> bool:
        """Return whether the ratings fulfil the condition; a number that is not stated does not."""
        value = ratings.get(self.rating, NOT_STATED)
        if isinstance(value, str):
            return value in self.allowed
        if self.allowed == (NOT_STATED,):
            return False
        least, most = self.allowed
        return float(least) - _SAME <= value <= float(most) + _SAME

    def may_be_asked_for(self, ratings: Mapping[str, Any]) -> bool:
        """Return whether stating the rating could make the condition hold; a number is never asked for this way."""
        return self.rating not in ratings and FIELDS_BY_NAME[self.rating].form == "choice"


class Conditional(Protocol):
    """Whatever stands in a pack under conditions."""

    @property
    def when(self) -> tuple[Condition, ...]:
        """The conditions; all must hold."""


def applies(rule: Conditional, ratings: Mapping[str, Any]) -> bool:
    """Return whether every condition of a rule holds.

    Parameters
    ----------
    rule : Conditional
        A value or a procedure of a pack.
    ratings : Mapping[str, Any]
        Read ratings.

    Returns
    -------
    bool
        True for a rule without conditions.
    """
    return all(condition.holds(ratings) for condition in rule.when)


def undecided(rules: Iterable[Conditional], ratings: Mapping[str, Any]) -> tuple[str, tuple[str, ...]] | None:
    """Return the rating that has to be stated before it is known whether one of these rules applies.

    Parameters
    ----------
    rules : Iterable[Conditional]
        Rules of which none applies.
    ratings : Mapping[str, Any]
        Read ratings.

    Returns
    -------
    tuple[str, tuple[str, ...]] or None
        Its name and the words that rules ask for; None where every rule is ruled out by what is stated.
    """
    asked: dict[str, list[str]] = {}
    for rule in rules:
        failing = [condition for condition in rule.when if not condition.holds(ratings)]
        if all(condition.may_be_asked_for(ratings) for condition in failing):
            for condition in failing:
                asked.setdefault(condition.rating, []).extend(str(word) for word in condition.allowed if word)
    return next(((name, tuple(dict.fromkeys(words))) for name, words in asked.items()), None)


def refuse_undecided(rules: Sequence[Conditional], ratings: Mapping[str, Any], wanted_for: str) -> None:
    """Refuse ratings that leave open which of these rules applies.

    Parameters
    ----------
    rules : Sequence[Conditional]
        Rules of which none applies.
    ratings : Mapping[str, Any]
        Read ratings.
    wanted_for : str
        What asks, for the message.

    Raises
    ------
    RatingsMissing
        A rating is missing on which one of the rules depends; it is asked for by name.
    """
    asked = undecided(rules, ratings)
    if asked is not None:
        name, words = asked
        label = FIELDS_BY_NAME[name].label.lower()
        raise RatingsMissing({name: f"give the {label}: {' or '.join(words)} (asked for by {wanted_for})"})
