"""What the rules refuse: ratings that give no plan, and packs that cannot be used."""

from __future__ import annotations


class BadRatings(ValueError):
    """Ratings from which no plan follows: the place, what is wrong there, and the mend."""

    def __init__(self, key: str, problem: str, mend: str) -> None:
        self.key = key
        self.problem = problem
        self.mend = mend
        super().__init__(f"{key}: {problem}; {mend}")


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
