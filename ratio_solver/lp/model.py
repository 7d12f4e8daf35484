"""A linear model with named variables and rows, exact; it knows no food.

    minimise    c1 . x, then c2 . x among the best, then c3 . x ...
    subject to  a_r . x  >=, <= or ==  b_r      for every row r
                l <= x <= u                     all bounds finite
                x_j = base_j + k step_j, k whole where a step is given

The figures are rationals, so that an answer can be checked without rounding; `arrays` has them as the
doubles that a solver takes. Invariant: every tuple over variables has the order of `variables`, every
array over rows the order of `rows`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ratio_solver.exact import ZERO, Vector

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

Entries = tuple[tuple[int, int], ...]
"""Places of variables with whole coefficients, none of them 0."""


class Mark(NamedTuple):
    """A row ("row"), or a variable's bound ("lower", "upper"), by its place in the model."""

    kind: str
    place: int


class Slack(NamedTuple):
    """``entries . x + constant``: what a row or a bound leaves over, in whole numbers; >= 0 where it is kept.

    It is `unit` times the left side less the bound, so `unit` is negative where the left side is to be small.
    """

    entries: Entries
    constant: int
    unit: int


def in_whole_numbers(coefficients: Vector, bound: Fraction = ZERO, sign: int = 1) -> Slack:
    """``sign (coefficients . x - bound)`` times the least common denominator."""
    return _in_whole_numbers([(place, a) for place, a in enumerate(coefficients) if a is not ZERO and a], bound, sign)


def _in_whole_numbers(entries: Sequence[tuple[int, Fraction]], bound: Fraction, sign: int) -> Slack:
    unit = sign * math.lcm(bound.denominator, *[a.denominator for _, a in entries])
    return Slack(tuple((place, a.numerator * (unit // a.denominator)) for place, a in entries),
                 -bound.numerator * (unit // bound.denominator), unit)


def _bound_slack(place: int, bound: Fraction, sign: int = 1) -> Slack:
    """What a variable leaves over of a bound."""
    above, below = bound.as_integer_ratio()
    return Slack(((place, sign * below),), -sign * above, sign * below)


@dataclass(frozen=True)
class Variable:
    """A quantity to be found, with finite bounds; `step` makes it a multiple of that, counted from `base`.

    The upper bound of an `open` one follows from the rows and the other bounds wherever it matters. The
    solver is not told of it, so that no price hides there; exact proofs may use it.
    """

    name: str
    lower: Fraction
    upper: Fraction
    step: Fraction | None = None
    open: bool = False
    base: Fraction = Fraction(0)

    @property
    def fixed(self) -> bool:
        """Whether it has no choice."""
        return not self.open and self.lower == self.upper

    def rounded(self, value: Fraction, rule: Callable[[Fraction], int] = round) -> Fraction:
        """A value on its steps; the value itself where it has none."""
        return value if self.step is None else self.base + rule((value - self.base) / self.step) * self.step

    @property
    def choice(self) -> bool:
        """Whether it is 0 or 1, or was before one of them was chosen."""
        return self.step == 1 and self.lower >= 0 and self.upper <= 1


@dataclass(frozen=True)
class Row:
    """``coefficients . x  sense  bound``; the name is for print."""

    name: str
    coefficients: Vector
    sense: str
    bound: Fraction

    @classmethod
    def of(cls, name: str, entries: Mapping[int, Fraction], size: int, sense: str, bound: Fraction) -> Row:
        """A row over a few of `size` variables, by their places in rising order: it costs no more than they are."""
        coefficients = [ZERO] * size
        for place, a in entries.items():
            coefficients[place] = a
        row = cls(name, tuple(coefficients), sense, bound)
        vars(row)["slack"] = _in_whole_numbers([(place, a) for place, a in entries.items() if a], bound,
                                               -1 if sense == "<=" else 1)
        return row

    @property
    def largest(self) -> Fraction:
        """The largest coefficient, whatever its sign; 1 where there is none."""
        return max([Fraction(abs(a), abs(self.slack.unit)) for _, a in self.slack.entries], default=Fraction(1))

    @cached_property
    def slack(self) -> Slack:
        """What the row leaves over, in whole numbers; of an equation to either side."""
        return in_whole_numbers(self.coefficients, self.bound, -1 if self.sense == "<=" else 1)


@dataclass(frozen=True)
class Arrays:
    """The model as doubles, each row divided by its `scale` (its largest coefficient).

    Attributes
    ----------
    matrix : ndarray, shape (rows, variables)
    bound, scale : ndarray, shape (rows,)
    sign : ndarray, shape (rows,)
        +1 for >=, -1 for <=, 0 for ==.
    lower, upper : ndarray, shape (variables,)
    open : ndarray of bool, shape (variables,)
        Whose upper bound follows from the rest.
    """

    matrix: Floats
    bound: Floats
    scale: Floats
    sign: Floats
    lower: Floats
    upper: Floats
    open: NDArray[np.bool_]

    @property
    def ends(self) -> tuple[Floats, Floats]:
        """Least and most of every row, shape (rows,) each."""
        return np.where(self.sign >= 0, self.bound, -np.inf), np.where(self.sign <= 0, self.bound, np.inf)

    @property
    def ceiling(self) -> Floats:
        """The upper bounds that can have a price, shape (variables,); infinite for open variables."""
        return np.where(self.open, np.inf, self.upper)


@dataclass(frozen=True)
class LinearModel:
    """Variables, rows and the costs to minimise one after the other."""

    variables: tuple[Variable, ...]
    rows: tuple[Row, ...]
    costs: tuple[Vector, ...]

    @cached_property
    def arrays(self) -> Arrays:
        """The model as doubles."""
        matrix = np.zeros((len(self.rows), len(self.variables)))
        for place, row in enumerate(self.rows):
            for j, a in row.slack.entries:
                matrix[place, j] = a / row.slack.unit
        largest = np.abs(matrix).max(axis=1, initial=0.0)
        scale = np.where(largest > 0, largest, 1.0)
        return Arrays(
            matrix=matrix / scale[:, None],
            bound=np.array([float(row.bound) for row in self.rows]) / scale,
            scale=scale,
            sign=np.array([{">=": 1.0, "<=": -1.0, "==": 0.0}[row.sense] for row in self.rows]),
            lower=np.array([float(v.lower) for v in self.variables]),
            upper=np.array([float(v.upper) for v in self.variables]),
            open=np.array([v.open for v in self.variables], dtype=bool),
        )

    @cached_property
    def float_costs(self) -> tuple[Floats, ...]:
        """The costs as doubles."""
        return tuple(np.array([float(c) for c in cost]) for cost in self.costs)

    @cached_property
    def slacks(self) -> Mapping[Mark, Slack]:
        """What every bound and row leaves over, in whole numbers; an open variable has no upper bound."""
        low = {Mark("lower", place): _bound_slack(place, v.lower) for place, v in enumerate(self.variables)}
        high = {Mark("upper", place): _bound_slack(place, v.upper, -1)
                for place, v in enumerate(self.variables) if not v.open}
        return low | {Mark("row", place): row.slack for place, row in enumerate(self.rows)} | high

    @cached_property
    def rows_of(self) -> Mapping[int, list[tuple[Mark, int]]]:
        """Of each variable the rows that it stands in, with its coefficient there in whole numbers."""
        found: dict[int, list[tuple[Mark, int]]] = {}
        for place, row in enumerate(self.rows):
            for j, a in row.slack.entries:
                found.setdefault(j, []).append((Mark("row", place), a))
        return found

    @cached_property
    def firm(self) -> frozenset[Mark]:
        """What is always tight: equations, and the bounds of variables that have no choice."""
        return frozenset([Mark("row", place) for place, row in enumerate(self.rows) if row.sense == "=="] + [
            Mark(at, place) for place, variable in enumerate(self.variables) if variable.fixed
            for at in ("lower", "upper")])

    @cached_property
    def whole_costs(self) -> tuple[Slack, ...]:
        """The costs in whole numbers; `unit` of one is what it was multiplied by."""
        return tuple(map(in_whole_numbers, self.costs))

    def over(self, values: Vector) -> Iterator[Fraction]:
        """What values leave over of each row: >= 0 where it is kept (of an equation: minus its error)."""
        common = math.lcm(*[value.denominator for value in values])
        whole = [value.numerator * (common // value.denominator) for value in values]
        for row in self.rows:
            entries, constant, unit = row.slack
            left = constant * common + sum([a * whole[j] for j, a in entries])
            yield Fraction(-abs(left) if row.sense == "==" else left, abs(unit) * common)

    def keeps(self, values: Vector) -> bool:
        """Whether values keep every row and bound exactly."""
        return all(v.lower <= x <= v.upper for v, x in zip(self.variables, values, strict=True)) \
            and all(left >= 0 for left in self.over(values))

    @property
    def steps(self) -> tuple[NDArray[np.bool_], Floats, Floats]:
        """Which variables have a step, the steps (1 where there is none), and what they are counted from."""
        return (np.array([v.step is not None for v in self.variables], dtype=bool),
                np.array([float(v.step or 1) for v in self.variables]),
                np.array([float(v.base) for v in self.variables]))

    @property
    def stepped(self) -> bool:
        """Whether any variable is held to multiples of a step."""
        return any(variable.step is not None for variable in self.variables)

    def without_rows(self, places: frozenset[int]) -> LinearModel:
        """The model less the rows at these places."""
        return replace(self, rows=tuple(row for place, row in enumerate(self.rows) if place not in places))

    def with_row(self, place: int, row: Row) -> LinearModel:
        """The model with another row; what is known of the rest is not made again."""
        changed = replace(self, rows=(*self.rows[:place], row, *self.rows[place + 1:]))
        vars(changed).update(slacks={**self.slacks, Mark("row", place): row.slack}, firm=self.firm,
                             whole_costs=self.whole_costs)
        return changed

    def with_bounds(self, bounds: dict[int, tuple[Fraction, Fraction]]) -> LinearModel:
        """The model with other bounds on some variables, by their places; what is known of its rows stays known."""
        changed = replace(self, variables=tuple(
            replace(variable, lower=bounds[place][0], upper=bounds[place][1]) if place in bounds else variable
            for place, variable in enumerate(self.variables)
        ))
        for known in ("rows_of", "whole_costs", "float_costs"):
            if known in vars(self):
                vars(changed)[known] = vars(self)[known]
        if "slacks" in vars(self):
            vars(changed)["slacks"] = {**self.slacks} | {
                Mark(kind, place): _bound_slack(place, end, sign) for place, ends in bounds.items()
                for kind, end, sign in (("lower", ends[0], 1), ("upper", ends[1], -1))
                if kind == "lower" or not self.variables[place].open}
        return changed
