"""A small, safe grammar of arithmetic: text to a formula that can be evaluated and differentiated exactly.

Grammar: numbers, names, ``pi``, ``+ - * / **``, parentheses, and the functions of `FUNCTIONS`. Nothing else, so a
formula from a file can neither call nor reach anything.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .differentials import BINARY, UNARY, Dual, NotDifferentiable, Undefined

MAX_LENGTH = 2000
MAX_DEPTH = 50
FUNCTIONS = ("sqrt", "exp", "log", "sin", "cos", "tan", "asin", "acos", "atan", "abs", "min", "max")
CONSTANTS = {"pi": math.pi}
_TWO_ARGUMENTS = frozenset({"min", "max"})
_TOKEN = re.compile(r"\s*(?:(?P<number>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)|(?P<name>[^\W\d]\w*)|(?P<sign>\*\*|.))")
_BINDING = {"+": (1, 2), "-": (1, 2), "*": (3, 4), "/": (3, 4), "**": (8, 7)}
_NEGATION_BINDING = 5


class FormulaError(ValueError):
    """A formula cannot be read or has no value: ``place`` says where, ``mend`` what to do."""

    def __init__(self, fact: str, *, place: str, mend: str) -> None:
        super().__init__(f"{fact} ({place}): {mend}")
        self.fact, self.place, self.mend = fact, place, mend


@dataclass(frozen=True)
class Step:
    """One step of the stack machine: push a number or a name, or apply an operation; ``column`` counts from 1."""

    kind: str
    what: str
    number: float
    column: int


@dataclass(frozen=True)
class Linearised:
    """A formula's value at a point with its exact first derivatives by name (names that do not occur have 0)."""

    value: float
    derivatives: Mapping[str, float]


@dataclass(frozen=True)
class Formula:
    """A parsed formula; made by `parse`, held as steps of a stack machine, so depth never meets the interpreter's."""

    text: str
    steps: tuple[Step, ...]

    def names(self) -> tuple[str, ...]:
        """Return the names that occur, each once, in the order of their first occurrence."""
        return tuple(dict.fromkeys(step.what for step in self.steps if step.kind == "name"))

    def evaluate(self, values: Mapping[str, float]) -> float:
        """Return the value of the formula.

        Parameters
        ----------
        values : mapping of str to float
            A number for each of `names`; others are ignored.

        Returns
        -------
        float
            Always finite.

        Raises
        ------
        FormulaError
            A value is missing or not finite, or the formula has no finite value there (division by zero, logarithm of
            a negative number and so on); the place is the column.

        Examples
        --------
        >>> parse("2 * a ** 2", {"a"}).evaluate({"a": 3})
        18.0
        """
        return self._run({name: Dual(number) for name, number in self._numbers(values).items()}).value

    def linearise(self, values: Mapping[str, float]) -> Linearised:
        """Return the value and the exact partial derivatives (forward differentiation with dual numbers).

        Parameters
        ----------
        values : mapping of str to float
            A number for each of `names`.

        Returns
        -------
        Linearised
            Value and derivatives [unit of the value per unit of the name].

        Raises
        ------
        FormulaError
            As `evaluate`; also where a derivative does not exist: ``sqrt`` at 0, ``abs`` at 0, ``min`` and ``max``
            where both arguments are equal. Elsewhere these two have the derivative of the argument they choose.

        Examples
        --------
        >>> parse("v / i", {"v", "i"}).linearise({"v": 6, "i": 2}).derivatives
        {'v': 0.5, 'i': -1.5}
        """
        numbers = self._numbers(values)
        result = self._run({name: Dual(number, {name: 1.0}) for name, number in numbers.items()})
        return Linearised(result.value, {name: result.slopes.get(name, 0.0) for name in self.names()})

    def evaluate_many(self, values: Mapping[str, np.ndarray[Any, Any]]) -> np.ndarray[Any, Any]:
        """Return the formula for many draws at once.

        Parameters
        ----------
        values : mapping of str to ndarray, shape (n,)
            Draws for each of `names`.

        Returns
        -------
        ndarray, shape (n,)
            NaN or infinite where the formula has no value; the caller counts those. A formula of numbers alone gives
            shape ().

        Raises
        ------
        KeyError
            A name has no draws.
        """
        stack: list[Any] = []
        with np.errstate(all="ignore"):
            for step in self.steps:
                if step.kind in ("number", "name"):
                    stack.append(np.asarray(values[step.what] if step.kind == "name" else step.number, dtype=float))
                elif step.kind == "binary":
                    right = stack.pop()
                    stack.append(_MANY[step.what](stack.pop(), right))
                else:
                    stack.append(_MANY[step.what](stack.pop()))
        return np.asarray(stack[0])

    def _numbers(self, values: Mapping[str, float]) -> dict[str, float]:
        numbers = {}
        for name in self.names():
            if name not in values:
                raise FormulaError(f"“{name}” has no value", place=f"name {name}", mend="give it a number.")
            number = float(values[name])
            if not math.isfinite(number):
                raise FormulaError(f"“{name}” is {number}", place=f"name {name}", mend="give it a finite number.")
            numbers[name] = number
        return numbers

    def _run(self, values: Mapping[str, Dual]) -> Dual:
        stack: list[Dual] = []
        for step in self.steps:
            try:
                if step.kind == "number":
                    stack.append(Dual(step.number))
                elif step.kind == "name":
                    stack.append(values[step.what])
                elif step.kind == "binary":
                    right = stack.pop()
                    stack.append(BINARY[step.what](stack.pop(), right))
                else:
                    stack.append(UNARY[step.what](stack.pop()))
            except (Undefined, NotDifferentiable) as error:
                mend = "choose values for which the formula has a value and a derivative."
                raise FormulaError(str(error), place=f"column {step.column}", mend=mend) from None
        return stack[0]


_MANY: Mapping[str, Any] = {
    "+": np.add,
    "-": np.subtract,
    "*": np.multiply,
    "/": np.divide,
    "**": np.power,
    "negate": np.negative,
    "sqrt": np.sqrt,
    "exp": np.exp,
    "log": np.log,
    "sin": np.sin,
    "cos": np.cos,
    "tan": np.tan,
    "asin": np.arcsin,
    "acos": np.arccos,
    "atan": np.arctan,
    "abs": np.abs,
    "min": np.minimum,
    "max": np.maximum,
}


def parse(text: str, names: Collection[str]) -> Formula:
    """Read a formula.

    Parameters
    ----------
    text : str
        At most 2000 characters; ``**`` is the power and binds to the right, ``-a ** 2`` is ``-(a ** 2)``, angles are
        in radians, ``log`` is the natural logarithm, ``min`` and ``max`` take two arguments.
    names : collection of str
        The names that may occur. A name may be any word of letters, digits and underscores (Greek letters too) but
        not a function's name or ``pi``.

    Returns
    -------
    Formula
        Frozen.

    Raises
    ------
    FormulaError
        The text is empty, too long, nested more than 50 deep, holds a sign or name that is not in the grammar, or
        ends too early; ``place`` is the column, counted from 1, and ``mend`` says what to write instead.

    Examples
    --------
    >>> parse("v * cos(phi) / i", {"v", "i", "phi"}).names()
    ('v', 'phi', 'i')
    """
    for name in names:
        if name in FUNCTIONS or name in CONSTANTS:
            fact = f"“{name}” is the name of a function or constant"
            raise FormulaError(fact, place=f"name {name}", mend="rename the input.")
        if not re.fullmatch(r"[^\W\d]\w*", name):
            mend = "use letters, digits and underscores, a letter first."
            raise FormulaError(f"“{name}” cannot be a name", place=f"name {name}", mend=mend)
    if not isinstance(text, str) or not text.strip():
        raise FormulaError("The formula is empty", place="column 1", mend="write one, for instance v / i.")
    if len(text) > MAX_LENGTH:
        mend = f"shorten it to at most {MAX_LENGTH}."
        raise FormulaError(f"The formula has {len(text)} characters", place=f"column {MAX_LENGTH + 1}", mend=mend)
    return Formula(text, _Parser(text, frozenset(names)).steps())


@dataclass(frozen=True)
class _Token:
    kind: str
    text: str
    column: int


def _tokens(text: str) -> list[_Token]:
    tokens, at = [], 0
    while at < len(text.rstrip()):
        match = _TOKEN.match(text, at)
        if match is None:  # only a line end inside the text comes here
            raise FormulaError("A line end", place=f"column {at + 1}", mend="write the formula on one line.")
        kind = str(match.lastgroup)
        tokens.append(_Token(kind, match[kind], match.start(kind) + 1))
        at = match.end()
    return [*tokens, _Token("end", "", len(text) + 1)]


class _Parser:
    """Precedence climbing; writes the steps in the order in which the stack machine does them."""

    def __init__(self, text: str, names: Collection[str]) -> None:
        self._tokens = _tokens(text)
        self._names = names
        self._at = 0
        self._depth = 0
        self._steps: list[Step] = []

    def steps(self) -> tuple[Step, ...]:
        self._expression(0)
        if self._now.kind != "end":
            self._refuse_sign(self._now)
        return tuple(self._steps)

    @property
    def _now(self) -> _Token:
        return self._tokens[self._at]

    def _next(self) -> _Token:
        token = self._now
        self._at += 1
        return token

    def _write(self, kind: str, what: str, column: int, number: float = 0.0) -> None:
        self._steps.append(Step(kind, what, number, column))

    def _expression(self, least: int) -> None:
        self._depth += 1
        if self._depth > MAX_DEPTH:
            mend = f"nest at most {MAX_DEPTH} deep."
            raise FormulaError("The formula is nested too deep", place=f"column {self._now.column}", mend=mend)
        self._operand()
        while self._now.text in _BINDING and _BINDING[self._now.text][0] >= least:
            sign = self._next()
            self._expression(_BINDING[sign.text][1])
            self._write("binary", sign.text, sign.column)
        self._depth -= 1

    def _operand(self) -> None:
        token = self._next()
        if token.kind == "number":
            self._number(token)
        elif token.kind == "name":
            self._name(token)
        elif token.text == "(":
            self._expression(0)
            self._expect(")", "close the parenthesis")
        elif token.text in ("-", "+"):
            self._expression(_NEGATION_BINDING)
            if token.text == "-":
                self._write("unary", "negate", token.column)
        elif token.kind == "end":
            mend = "write the number, name or parenthesis that is missing."
            raise FormulaError("The formula ends too early", place=f"column {token.column}", mend=mend)
        else:
            self._refuse_sign(token)

    def _number(self, token: _Token) -> None:
        number = float(token.text)
        if not math.isfinite(number):
            raise FormulaError(f"{token.text} is too large", place=f"column {token.column}", mend="use a smaller one.")
        self._write("number", token.text, token.column, number)

    def _name(self, token: _Token) -> None:
        if token.text in FUNCTIONS:
            self._call(token)
        elif token.text in CONSTANTS:
            self._write("number", token.text, token.column, CONSTANTS[token.text])
        elif token.text in self._names:
            self._write("name", token.text, token.column)
        else:
            known = ", ".join(sorted(self._names)) or "none"
            mend = f"use one of the inputs ({known}) or of the functions ({', '.join(FUNCTIONS)})."
            raise FormulaError(f"“{token.text}” is not known", place=f"column {token.column}", mend=mend)

    def _call(self, token: _Token) -> None:
        self._expect("(", f"write {token.text}(…)")
        self._expression(0)
        if token.text in _TWO_ARGUMENTS:
            self._expect(",", f"give {token.text} two arguments")
            self._expression(0)
        self._expect(")", "close the parenthesis")
        self._write("binary" if token.text in _TWO_ARGUMENTS else "unary", token.text, token.column)

    def _expect(self, sign: str, mend: str) -> None:
        token = self._next()
        if token.text != sign:
            fact = f"Expected “{sign}”, found {f'“{token.text}”' if token.text else 'the end'}"
            raise FormulaError(fact, place=f"column {token.column}", mend=f"{mend}.")

    def _refuse_sign(self, token: _Token) -> None:
        mends = {"^": "write ** for a power.", ",": "use a point as decimal mark, and commas only in min and max."}
        mend = mends.get(token.text, "only numbers, names, + - * / **, parentheses and functions are read.")
        raise FormulaError(f"“{token.text}” is not expected here", place=f"column {token.column}", mend=mend)
