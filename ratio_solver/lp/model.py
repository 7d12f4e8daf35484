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

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ratio_solver.exact import Vector

Floats = NDArray[np.float64]


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


@dataclass(frozen=True)
class Row:
    """``coefficients . x  sense  bound``; a definition is never taken for a limit of the cook's."""

    name: str
    coefficients: Vector
    sense: str
    bound: Fraction
    definition: bool = False

    def over(self, values: Vector) -> Fraction:
        """What the row leaves over: >= 0 when kept (of an equation: minus its error)."""
        total = sum((a * x for a, x in zip(self.coefficients, values, strict=True) if a and x), Fraction(0))
        if self.sense == "==":
            return -abs(total - self.bound)
        return total - self.bound if self.sense == ">=" else self.bound - total


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
        shape = (len(self.rows), len(self.variables))
        matrix = np.array([[float(a) for a in row.coefficients] for row in self.rows]).reshape(shape)
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

    @property
    def stepped(self) -> bool:
        """Whether any variable is held to multiples of a step."""
        return any(variable.step is not None for variable in self.variables)

    def without_rows(self, names: frozenset[int]) -> LinearModel:
        """The model less the rows at these places."""
        return replace(self, rows=tuple(row for place, row in enumerate(self.rows) if place not in names))

    def with_bounds(self, bounds: dict[int, tuple[Fraction, Fraction]]) -> LinearModel:
        """The model with other bounds on some variables, by their places."""
        return replace(self, variables=tuple(
            replace(variable, lower=bounds[place][0], upper=bounds[place][1]) if place in bounds else variable
            for place, variable in enumerate(self.variables)
        ))
