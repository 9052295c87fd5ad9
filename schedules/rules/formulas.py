"""Plain arithmetic over named ratings: read, checked for names, units and division by zero, then evaluated.

The grammar is `+ - * / **`, parentheses, numbers, names and `sqrt`, `min`, `max`. It has its own small parser, so
that nothing of Python's own evaluation can be reached from a pack, and a hostile text costs next to nothing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from schedules.rules.errors import FormulaError
from schedules.rules.units import DIMENSIONLESS, Dimension, dimension_of

MAX_LENGTH = 400
MAX_DEPTH = 40
_TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+\.?\d*(?:[eE][+-]?\d{1,3})?)|(?P<name>[a-z][a-z0-9_]*)|(?P<sign>\*\*|[-+*/(),]))"
)
_FUNCTIONS: dict[str, tuple[int, int]] = {"sqrt": (1, 1), "min": (2, 8), "max": (2, 8)}

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Node:
    """One part of a read formula: a number, a name, or an operation on parts."""

    operation: str
    parts: tuple[Node, ...] = ()
    value: float = 0.0
    name: str = ""


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula as it was written, the names it uses, and its read form."""

    text: str
    names: tuple[str, ...]
    root: Node

    def value(self, inputs: Mapping[str, float]) -> float:
        """Return the formula's value for these inputs.

        Parameters
        ----------
        inputs : Mapping[str, float]
            A finite number for each of ``names``, in the unit that its suffix states.

        Returns
        -------
        float
            The value, finite.

        Raises
        ------
        FormulaError
            A name without a value, a division by zero, the root of a negative number, or a result that is not finite.

        Examples
        --------
        >>> round(read_formula("1.2 * highest_voltage_kv / sqrt(3)").value({"highest_voltage_kv": 15.5}), 4)
        10.7387
        """
        try:
            result = _value(self.root, inputs)
        except KeyError as missing:
            raise FormulaError(f"{self.text!r} needs {missing.args[0]}, which has no value") from None
        except ZeroDivisionError:
            raise FormulaError(f"{self.text!r} divides by zero") from None
        except (OverflowError, ValueError, TypeError):
            raise FormulaError(f"{self.text!r} has no real value for these inputs") from None
        if not math.isfinite(result):
            raise FormulaError(f"{self.text!r} has no finite value for these inputs")
        return result

    def check_unit(self, target: str) -> None:
        """Refuse a formula whose parts or whose result do not fit the unit that the target's name states.

        Parameters
        ----------
        target : str
            Name of the quantity that the formula gives, for example ``voltage_kv``.

        Raises
        ------
        FormulaError
            Unlike quantities are added or compared, or the result is another kind of quantity than the target.

        Notes
        -----
        A bare number may carry the unit that is needed, so ``max(15, 120 * frequency_hz / source_hz)`` is seconds.

        Examples
        --------
        >>> read_formula("rated_voltage_kv + hold_s").check_unit("voltage_kv")
        Traceback (most recent call last):
        ...
        schedules.rules.errors.FormulaError: 'rated_voltage_kv + hold_s' adds or compares quantities of different kinds
        """
        dimension, has_number = _dimension(self.root, self.text)
        adapts = has_number and dimension == DIMENSIONLESS
        if not adapts and dimension != dimension_of(target):
            raise FormulaError(f"{self.text!r} does not give the unit of {target}")

    def range(self, domain: Mapping[str, Interval]) -> Interval:
        """Return bounds of the formula's value where each name lies in its range, refusing what could divide by zero.

        Parameters
        ----------
        domain : Mapping[str, tuple[float, float]]
            Smallest and greatest value of each name.

        Returns
        -------
        tuple[float, float]
            Bounds by interval arithmetic: never too narrow, sometimes wider than needed.

        Raises
        ------
        FormulaError
            A name outside the domain, a divisor whose range holds zero, or a root or power of what may be negative.

        Examples
        --------
        >>> read_formula("1 / (tuned_order - 2)").range({"tuned_order": (1.5, 25.0)})
        Traceback (most recent call last):
        ...
        schedules.rules.errors.FormulaError: '1 / (tuned_order - 2)' can divide by zero
        """
        try:
            return _interval(self.root, domain, self.text)
        except KeyError as missing:
            raise FormulaError(
                f"{self.text!r} uses {missing.args[0]}, which is no rating and no value of the pack"
            ) from None
        except FormulaError:  # itself a ValueError, so it has to pass before the next clause
            raise
        except (OverflowError, ValueError, ZeroDivisionError):
            raise FormulaError(f"{self.text!r} can leave the range of real numbers") from None


def read_formula(text: str) -> Formula:
    """Read a formula, refusing whatever is not plain arithmetic.

    Parameters
    ----------
    text : str
        At most 400 characters of ``+ - * / **``, parentheses, numbers, lower-case names, ``sqrt``, ``min``, ``max``.

    Returns
    -------
    Formula
        The formula, ready to be checked and evaluated.

    Raises
    ------
    FormulaError
        Too long, too deeply nested, or not of this grammar; the message names the place.

    Examples
    --------
    >>> read_formula("0.5 * power_frequency_kv").names
    ('power_frequency_kv',)
    """
    if len(text) > MAX_LENGTH:
        raise FormulaError(f"the formula has {len(text)} characters and may have {MAX_LENGTH}")
    reader = _Reader(text)
    root = reader.sum(0)
    reader.expect_end()
    return Formula(
        text=text, names=tuple(sorted({node.name for node in _walk(root) if node.operation == "name"})), root=root
    )


class _Reader:
    """Reads one formula from left to right."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens = list(self._split(text))
        self.position = 0

    def _split(self, text: str) -> Iterator[tuple[str, str]]:
        place = 0
        while text[place:].strip():
            match = _TOKEN.match(text, place)
            if match is None or match.lastgroup is None:
                raise FormulaError(f"{text!r} cannot be read at character {place + 1}")
            yield match.lastgroup, match.group(match.lastgroup)
            place = match.end()

    def take(self, *signs: str) -> str:
        if self.position < len(self.tokens) and self.tokens[self.position][1] in signs:
            self.position += 1
            return self.tokens[self.position - 1][1]
        return ""

    def expect(self, sign: str) -> None:
        if not self.take(sign):
            raise FormulaError(f"{self.text!r} lacks {sign!r} after part {self.position}")

    def expect_end(self) -> None:
        if self.position < len(self.tokens):
            raise FormulaError(f"{self.text!r} has {self.tokens[self.position][1]!r} where it should end")

    def sum(self, depth: int) -> Node:
        if depth > MAX_DEPTH:
            raise FormulaError(f"the formula is nested deeper than {MAX_DEPTH}")
        return self._chain(depth, ("+", "-"), self.product)

    def product(self, depth: int) -> Node:
        return self._chain(depth, ("*", "/"), self.signed)

    def _chain(self, depth: int, signs: tuple[str, str], part: Callable[[int], Node]) -> Node:
        left = part(depth)
        while sign := self.take(*signs):
            left = Node(sign, (left, part(depth)))
        return left

    def signed(self, depth: int) -> Node:
        if depth > MAX_DEPTH:
            raise FormulaError(f"the formula is nested deeper than {MAX_DEPTH}")
        if self.take("-"):
            return Node("-", (Node("number"), self.signed(depth + 1)))
        base = self.atom(depth)
        return Node("**", (base, self.signed(depth + 1))) if self.take("**") else base

    def atom(self, depth: int) -> Node:
        if self.take("("):
            inner = self.sum(depth + 1)
            self.expect(")")
            return inner
        if self.position >= len(self.tokens):
            raise FormulaError(f"{self.text!r} ends where a number or a name should follow")
        kind, word = self.tokens[self.position]
        self.position += 1
        if kind == "number":
            return Node("number", value=float(word))
        if kind == "name":
            return self.call(word, depth) if word in _FUNCTIONS else Node("name", name=word)
        raise FormulaError(f"{self.text!r} has {word!r} where a number or a name should stand")

    def call(self, word: str, depth: int) -> Node:
        self.expect("(")
        parts = [self.sum(depth + 1)]
        while self.take(","):
            parts.append(self.sum(depth + 1))
        self.expect(")")
        least, most = _FUNCTIONS[word]
        if not least <= len(parts) <= most:
            raise FormulaError(f"{word} in {self.text!r} takes {least} to {most} values, not {len(parts)}")
        return Node(word, tuple(parts))


def _walk(node: Node) -> Iterator[Node]:
    yield node
    for part in node.parts:
        yield from _walk(part)


def _value(node: Node, inputs: Mapping[str, float]) -> float:
    if node.operation == "number":
        return node.value
    if node.operation == "name":
        return float(inputs[node.name])
    return _apply(node.operation, [_value(part, inputs) for part in node.parts])


def _apply(operation: str, values: list[float]) -> float:
    if operation == "+":
        return values[0] + values[1]
    if operation == "-":
        return values[0] - values[1]
    if operation == "*":
        return values[0] * values[1]
    if operation == "/":
        return values[0] / values[1]
    if operation == "**":
        return math.pow(values[0], values[1])
    if operation == "sqrt":
        return math.sqrt(values[0])
    return min(values) if operation == "min" else max(values)


def _dimension(node: Node, text: str) -> tuple[Dimension, bool]:
    """Return the dimension of a part, and whether a bare number stands in it, which may carry a unit of its own."""
    if node.operation == "number":
        return DIMENSIONLESS, True
    if node.operation == "name":
        return dimension_of(node.name), False
    found = [_dimension(part, text) for part in node.parts]
    has_number = any(bare for _, bare in found)
    if node.operation == "sqrt":
        return _scaled(found[0][0], Fraction(1, 2)), has_number
    if node.operation == "**":
        return _power(found[0][0], found[1][0], node.parts[1], text), has_number
    if node.operation in "*/":
        (left, _), (right, _) = found
        sign = 1 if node.operation == "*" else -1
        product = (left[0] + sign * right[0], left[1] + sign * right[1], left[2] + sign * right[2])
        return (*product, left[3] + sign * right[3]), has_number
    stated = {one for one, bare in found if one != DIMENSIONLESS or not bare}
    if len(stated) > 1:
        raise FormulaError(f"{text!r} adds or compares quantities of different kinds")
    return next(iter(stated), DIMENSIONLESS), has_number


def _power(base: Dimension, exponent: Dimension, node: Node, text: str) -> Dimension:
    if exponent != DIMENSIONLESS:
        raise FormulaError(f"{text!r} has a unit in an exponent")
    if base == DIMENSIONLESS:
        return base
    if node.operation != "number":
        raise FormulaError(f"{text!r} raises a quantity with a unit to a power that is no plain number")
    return _scaled(base, Fraction(node.value))


def _scaled(one: Dimension, by: Fraction) -> Dimension:
    return (one[0] * by, one[1] * by, one[2] * by, one[3] * by)


def _interval(node: Node, domain: Mapping[str, Interval], text: str) -> Interval:
    if node.operation == "number":
        return (node.value, node.value)
    if node.operation == "name":
        return domain[node.name]
    ranges = [_interval(part, domain, text) for part in node.parts]
    if node.operation in ("min", "max"):
        pick = min if node.operation == "min" else max
        return (pick(one[0] for one in ranges), pick(one[1] for one in ranges))
    if node.operation in ("sqrt", "**") and ranges[0][0] < 0:
        raise FormulaError(f"{text!r} can take a root or a power of a negative number")
    if node.operation == "sqrt":
        return (math.sqrt(ranges[0][0]), math.sqrt(ranges[0][1]))
    left, right = ranges
    if node.operation == "+":
        return (left[0] + right[0], left[1] + right[1])
    if node.operation == "-":
        return (left[0] - right[1], left[1] - right[0])
    reaches_zero = right[0] <= 0 <= right[1] if node.operation == "/" else left[0] == 0 and right[0] < 0
    if node.operation in ("/", "**") and reaches_zero:
        raise FormulaError(f"{text!r} can divide by zero")
    corners = [_apply(node.operation, [one, other]) for one in left for other in right]
    return (min(corners), max(corners))
