"""What the rules refuse: ratings that give no plan, and packs that cannot be used."""

from __future__ import annotations

from collections.abc import Iterable, Mapping


class BadRatings(ValueError):
    """Ratings from which no plan follows: the place, what is wrong there, and the mend."""

    def __init__(self, key: str, problem: str, mend: str) -> None:
        self.key = key
        self.problem = problem
        self.mend = mend
        super().__init__(f"{key}: {problem}; {mend}")


class RatingsMissing(BadRatings):
    """One or more ratings are not stated and are looked up nowhere; each is asked for by name.

    Its ``key`` is the first; ``asked`` holds each with its mend.
    """

    def __init__(self, asked: Mapping[str, str]) -> None:
        self.asked = dict(asked)
        (first, mend), *others = self.asked.items()
        super().__init__(first, "is missing", "; ".join([mend, *(f"{key}: is missing; {one}" for key, one in others)]))

    @classmethod
    def together(cls, faults: Iterable[RatingsMissing]) -> RatingsMissing:
        """Return one refusal that asks for all that several ask for, each once, in their order."""
        asked: dict[str, str] = {}
        for fault in faults:
            asked |= {key: mend for key, mend in fault.asked.items() if key not in asked}
        return cls(asked)


class PackError(ValueError):
    """A rule pack that cannot be used: the file, the key's path in it, what is wrong, and the mend."""

    def __init__(self, file: str, key: str, problem: str, mend: str) -> None:
        self.file = file
        self.key = key
        self.problem = problem
        self.mend = mend
        super().__init__(f"{file}: {key}: {problem}; {mend}")


class FormulaError(ValueError):
    """A formula that may not stand in a pack, or that has no finite value for these inputs."""
