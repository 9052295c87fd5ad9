"""Dual numbers: a value that carries its exact first derivatives through every operation of the formula grammar."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field


class Undefined(ValueError):
    """The operation has no finite value for these numbers."""


class NotDifferentiable(ValueError):
    """The operation has a value here but no derivative."""


@dataclass(frozen=True)
class Dual:
    """A value and its partial derivatives by name; a name that is absent has derivative 0."""

    value: float
    slopes: Mapping[str, float] = field(default_factory=dict)

    def scaled(self, value: float, slope: float) -> Dual:
        """Return f(self), given f's value and its derivative there (chain rule)."""
        return Dual(_finite(value), {name: _finite(slope * own) for name, own in self.slopes.items()})


def _finite(number: float) -> float:
    if not math.isfinite(number):
        raise Undefined("The result is too large")
    return number


def _combined(value: float, a: Dual, by_a: float, b: Dual, by_b: float) -> Dual:
    slopes = {name: by_a * own for name, own in a.slopes.items()}
    for name, own in b.slopes.items():
        slopes[name] = slopes.get(name, 0.0) + by_b * own
    return Dual(_finite(value), {name: _finite(slope) for name, slope in slopes.items()})


def _add(a: Dual, b: Dual) -> Dual:
    return _combined(a.value + b.value, a, 1.0, b, 1.0)


def _subtract(a: Dual, b: Dual) -> Dual:
    return _combined(a.value - b.value, a, 1.0, b, -1.0)


def _multiply(a: Dual, b: Dual) -> Dual:
    return _combined(a.value * b.value, a, b.value, b, a.value)


def _divide(a: Dual, b: Dual) -> Dual:
    if b.value == 0:
        raise Undefined("Division by zero")
    quotient = a.value / b.value
    return _combined(quotient, a, 1.0 / b.value, b, -quotient / b.value)


def _power(a: Dual, b: Dual) -> Dual:
    base, exponent = a.value, b.value
    try:
        value = math.pow(base, exponent)
        if not a.slopes and not b.slopes:
            return Dual(_finite(value))
        by_base = exponent * math.pow(base, exponent - 1.0) if a.slopes and exponent != 0 else 0.0
        by_exponent = value * math.log(base) if b.slopes else 0.0
    except OverflowError:
        raise Undefined("The result is too large") from None
    except ValueError:
        raise Undefined(f"{base:g} ** {exponent:g} has no value or no derivative") from None
    return _combined(value, a, by_base, b, by_exponent)


def _chosen(a: Dual, b: Dual, takes_first: bool) -> Dual:
    if a.value == b.value and (a.slopes or b.slopes) and a.slopes != b.slopes:
        raise NotDifferentiable("min and max have no derivative where both arguments are equal")
    return a if takes_first else b


def _minimum(a: Dual, b: Dual) -> Dual:
    return _chosen(a, b, a.value <= b.value)


def _maximum(a: Dual, b: Dual) -> Dual:
    return _chosen(a, b, a.value >= b.value)


def _absolute(a: Dual) -> Dual:
    if a.value == 0 and a.slopes:
        raise NotDifferentiable("abs has no derivative at 0")
    return a.scaled(abs(a.value), math.copysign(1.0, a.value))


def _square_root(a: Dual) -> Dual:
    if a.value < 0:
        raise Undefined(f"The square root of {a.value:g} is not a real number")
    root = math.sqrt(a.value)
    if root == 0 and a.slopes:
        raise NotDifferentiable("sqrt has no derivative at 0")
    return a.scaled(root, 0.5 / root if root else 0.0)


def _exponential(a: Dual) -> Dual:
    try:
        value = math.exp(a.value)
    except OverflowError:
        raise Undefined("The result is too large") from None
    return a.scaled(value, value)


def _logarithm(a: Dual) -> Dual:
    if a.value <= 0:
        raise Undefined(f"The logarithm of {a.value:g} is not a real number")
    return a.scaled(math.log(a.value), 1.0 / a.value)


def _tangent(a: Dual) -> Dual:
    tangent = math.tan(a.value)
    return a.scaled(tangent, 1.0 + tangent * tangent)


def _arc(name: str, function: Callable[[float], float], sign: float) -> Callable[[Dual], Dual]:
    def inverse(a: Dual) -> Dual:
        if abs(a.value) > 1:
            raise Undefined(f"{name} of {a.value:g} is not a real number")
        if abs(a.value) == 1 and a.slopes:
            raise NotDifferentiable(f"{name} has no derivative at {a.value:g}")
        rest = (1.0 - a.value) * (1.0 + a.value)
        return a.scaled(function(a.value), sign / math.sqrt(rest) if rest else 0.0)

    return inverse


UNARY: Mapping[str, Callable[[Dual], Dual]] = {
    "negate": lambda a: a.scaled(-a.value, -1.0),
    "sqrt": _square_root,
    "exp": _exponential,
    "log": _logarithm,
    "sin": lambda a: a.scaled(math.sin(a.value), math.cos(a.value)),
    "cos": lambda a: a.scaled(math.cos(a.value), -math.sin(a.value)),
    "tan": _tangent,
    "asin": _arc("asin", math.asin, 1.0),
    "acos": _arc("acos", math.acos, -1.0),
    "atan": lambda a: a.scaled(math.atan(a.value), 1.0 / (1.0 + a.value * a.value)),
    "abs": _absolute,
}
BINARY: Mapping[str, Callable[[Dual, Dual], Dual]] = {
    "+": _add,
    "-": _subtract,
    "*": _multiply,
    "/": _divide,
    "**": _power,
    "min": _minimum,
    "max": _maximum,
}
