"""The best whole point for one cost: HiGHS looks for it, rationals decide.

HiGHS works in doubles with tolerances that cannot be set from SciPy. Therefore

- rows are multiplied up, so that the tolerance is 1e-9 of a row's largest coefficient;
- a row over stepped variables can only take values on a grid: its bound is moved onto the grid, and then half a
  grid unit out, where no point lies;
- every point that comes back is checked in rationals. One that breaks a row is cut away by splitting the box
  around it, which loses no other point, and the search goes on; it is never returned.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import count
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from ratio_solver.errors import NotProven
from ratio_solver.exact import Vector
from ratio_solver.lp.model import Floats, LinearModel, Row
from ratio_solver.lp.solve import silent_stdout

SHARP = 1000.0
"""Rows and costs are scaled to this largest coefficient, so that 1e-6 of tolerance is 1e-9 of it."""

USABLE = 1e-5
"""A grid unit below this (in a scaled row) is too near the solver's tolerance to be told apart."""

COSTLY = 1e5
"""The same for costs, where points are told apart when they differ by 1e-6."""

ROUNDING = 1e-12
"""Far above the rounding of a sum of doubles, far below what matters; relative."""

MOST_NODES = 20_000
MOST_CUTS = 60

_INFEASIBLE = 2


def _never(values: Vector) -> bool:
    return False


@dataclass(frozen=True)
class WholeModel:
    """A model with steps, and what follows from them.

    Attributes
    ----------
    model : LinearModel
        Variables with a step are whole; the values of the others follow from those.
    grids : tuple of Fraction or None, one per variable
        What each variable is a multiple of at every whole point; None where nothing is known.
    completed : callable
        From values of all variables, of which only the stepped ones count, to exact values of all.
    resolution : Fraction or None
        First costs within one interval of this length, counted from zero, are equally good; None compares
        them exactly.
    offset : Fraction
        Added to the first cost before it is cut into intervals.
    alone : callable
        Whether a point that is best for all costs but the last is known to be the only one.
    """

    model: LinearModel
    grids: tuple[Fraction | None, ...]
    completed: Callable[[Vector], Vector]
    resolution: Fraction | None = None
    offset: Fraction = Fraction(0)
    alone: Callable[[Vector], bool] = _never

    def base(self, cost: Vector) -> Fraction:
        """What the variables' lower bounds make of a cost without negative terms."""
        return sum((c * v.lower for c, v in zip(cost, self.model.variables, strict=True) if c and v.lower), Fraction(0))

    def cut(self, value: Fraction) -> Fraction:
        """A first cost as it is compared: the floor of its interval of the resolution."""
        if self.resolution is None:
            return value
        return math.floor((value + self.offset) / self.resolution) * self.resolution - self.offset

    def top(self, value: Fraction) -> Fraction:
        """The greatest first cost that a whole point can have and that counts as equal to this."""
        grid = self.grid(self.model.costs[0])
        if self.resolution is None or grid is None:
            return value
        return raised(self.cut(value) + self.resolution, grid) - grid

    def cost(self, place: int, values: Vector) -> Fraction:
        """One of the costs at these values."""
        return sum((c * x for c, x in zip(self.model.costs[place], values, strict=True) if c and x), Fraction(0))

    def grid(self, coefficients: Vector) -> Fraction | None:
        """What a linear form is a multiple of at every whole point, or None."""
        terms: list[Fraction] = []
        for coefficient, grid in zip(coefficients, self.grids, strict=True):
            if coefficient:
                if grid is None:
                    return None
                terms.append(coefficient * grid)
        return common_divisor(terms)

    def kept(self, values: Vector) -> bool:
        """Whether completed values keep every row and bound exactly."""
        inside = all(v.lower <= x <= v.upper for v, x in zip(self.model.variables, values, strict=True))
        return inside and all(row.over(values) >= 0 for row in self.model.rows)

    def at_most(self, place: int, value: Fraction) -> WholeModel:
        """The model with one of its costs held to a value."""
        row = Row(f"cost {place + 1}", self.model.costs[place], "<=", value, definition=True)
        return replace(self, model=replace(self.model, rows=(*self.model.rows, row)))


@dataclass(frozen=True)
class Point:
    """A whole point that keeps every row, with what the search says of the cost.

    Attributes
    ----------
    values : tuple of Fraction, one per variable
    bound : float
        No whole point has a lower cost.
    complete : bool
        Whether the search ended of itself.
    """

    values: Vector
    bound: float
    complete: bool


def common_divisor(terms: Sequence[Fraction]) -> Fraction | None:
    """The greatest rational of which all terms are multiples; None where all are zero.

    >>> common_divisor([Fraction(3, 4), Fraction(1, 2)])
    Fraction(1, 4)
    """
    above = math.gcd(*(term.numerator for term in terms))
    return Fraction(above, math.lcm(*(term.denominator for term in terms))) if above else None


def raised(value: Fraction, grid: Fraction | None) -> Fraction:
    """The least multiple of the grid that is not below the value."""
    return value if grid is None else math.ceil(value / grid) * grid


@dataclass(frozen=True)
class _Program:
    """A whole model as the solver takes it: stepped variables count steps, rows and cost are scaled up.

    `ahead` is the cost of what the steps are counted from.
    """

    cost: Floats
    scale: float
    ahead: float
    matrix: Floats
    more: Floats
    less: Floats
    counts: NDArray[np.bool_]


Box = tuple[tuple[Fraction, ...], tuple[Fraction, ...]]


def minimum(whole: WholeModel, cost: Vector, gap: float = 0.0) -> Point | None:
    """The best point for a cost that keeps every row exactly; None where there is none.

    Raises
    ------
    NotProven
        Where the solver gives up, or points within its tolerance of a row do not come to an end.
    """
    if not whole.model.variables:
        return Point((), 0.0, True) if whole.kept(()) else None
    start = _box(whole.model)
    if start is None or not all(_holds_of_itself(row) for row in whole.model.rows):
        return None
    program = _program(whole, cost)
    tie = count()
    open_boxes: list[tuple[float, int, Point, Box]] = []
    waiting, cuts = [start], 0
    while True:
        for box in waiting:
            result = _milp(program, box, gap)
            if result is not None:
                # Without a stepped variable there is no search, and the optimum is its own bound.
                bound = result.fun if result.mip_dual_bound is None else result.mip_dual_bound
                found = Point(whole.completed(_exact(whole.model, result.x)),
                               float(bound) / program.scale + program.ahead, result.status == 0)
                heapq.heappush(open_boxes, (float(result.fun), next(tie), found, box))
        if not open_boxes:
            return None
        _, _, point, box = open_boxes[0]
        if whole.kept(point.values):
            return Point(point.values, min(item[2].bound for item in open_boxes),
                          all(item[2].complete for item in open_boxes))
        heapq.heappop(open_boxes)
        cuts += 1
        if cuts > MOST_CUTS:
            raise NotProven("too many points lie within the solver's tolerance of a row without keeping it")
        waiting = list(_around(whole.model, point.values, box))


def _holds_of_itself(row: Row) -> bool:
    """False for a row that no variable enters and that does not hold."""
    return any(row.coefficients) or row.over(row.coefficients) >= 0


def _around(model: LinearModel, values: Vector, box: Box) -> Iterator[Box]:
    """The box without one point, in boxes that do not overlap."""
    low, high = box
    for place, variable in enumerate(model.variables):
        if variable.step is None:
            continue
        here = (values[place] - variable.base) / variable.step
        if low[place] < here:
            yield low, (*high[:place], here - 1, *high[place + 1:])
        if here < high[place]:
            yield (*low[:place], here + 1, *low[place + 1:]), high
        low = (*low[:place], here, *low[place + 1:])
        high = (*high[:place], here, *high[place + 1:])


def _box(model: LinearModel) -> Box | None:
    """Bounds in steps; None where a variable has no multiple of its step within its bounds."""
    low, high = [], []
    for v in model.variables:
        low.append(v.lower if v.step is None else Fraction(math.ceil((v.lower - v.base) / v.step)))
        high.append(v.upper if v.step is None else Fraction(math.floor((v.upper - v.base) / v.step)))
    empty = any(a > b for a, b in zip(low, high, strict=True))
    return None if empty else (tuple(low), tuple(high))


def _exact(model: LinearModel, x: Floats) -> Vector:
    """Values on the steps; what has no step is left to be completed."""
    return tuple(
        v.base + round(value) * v.step if v.step is not None else v.lower
        for value, v in zip(x.tolist(), model.variables, strict=True)
    )


def _program(whole: WholeModel, wanted: Vector) -> _Program:
    model, arrays = whole.model, whole.model.arrays
    steps = np.array([1.0 if v.step is None else float(v.step) for v in model.variables])
    matrix = arrays.matrix * steps
    largest = np.abs(matrix).max(axis=1, initial=0.0)
    stretch = SHARP / np.where(largest > 0, largest, SHARP)
    more = np.where(arrays.sign >= 0, arrays.bound, -np.inf) * stretch
    less = np.where(arrays.sign <= 0, arrays.bound, np.inf) * stretch
    # Rounding of a row in doubles may not lose a point that keeps it: what is let in by this is checked exactly.
    reach = np.maximum(np.abs(arrays.lower), np.abs(arrays.upper))
    give = ROUNDING * (np.abs(arrays.bound) + np.abs(arrays.matrix) @ reach) * stretch
    for number, row in enumerate(model.rows):
        if row.sense == "==":
            continue
        into = 1 if row.sense == ">=" else -1
        side = more if into > 0 else less
        grid = whole.grid(row.coefficients)
        unit = 0.0 if grid is None else float(grid) / arrays.scale[number] * stretch[number]
        if grid is not None and unit > USABLE:
            on_grid = into * raised(into * row.bound, grid)
            side[number] = float(on_grid) / arrays.scale[number] * stretch[number] - into * unit / 2
        else:
            side[number] -= into * give[number]
    bases = np.array([float(v.base) for v in model.variables])
    shift = (arrays.matrix @ bases) * stretch
    costs = np.array([float(c) for c in wanted])
    cost = costs * steps
    scale = COSTLY / (float(np.abs(cost).max(initial=0.0)) or COSTLY)
    counts = np.array([v.step is not None for v in model.variables])
    return _Program(cost * scale, scale, float(costs @ bases), matrix * stretch[:, None], more - shift, less - shift,
                    counts)


def _milp(program: _Program, box: Box, gap: float) -> Any:
    """SciPy's result in a box, or None where it has no point."""
    low, high = (np.array([float(end) for end in ends]) for ends in box)
    rows = [LinearConstraint(program.matrix, program.more, program.less)] if len(program.more) else []
    for presolve in (True, False):
        with silent_stdout():
            result = milp(program.cost, integrality=program.counts, bounds=Bounds(low, high), constraints=rows,
                          options={"mip_rel_gap": gap, "node_limit": MOST_NODES, "presolve": presolve})
        if result.x is not None:  # best, or the best found within the limit of nodes
            return result
        if result.status == _INFEASIBLE:
            return None
    raise NotProven(f"the solver stopped without an answer: {result.message}")
