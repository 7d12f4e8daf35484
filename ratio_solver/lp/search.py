"""Whole points of a model with steps: the best for one cost, which HiGHS looks for and rationals decide, or any.

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

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.exact import ZERO, Vector, dot
from ratio_solver.lp import highs
from ratio_solver.lp.clock import out_of_time, times_usual
from ratio_solver.lp.model import Arrays, Floats, LinearModel, Row

SHARP = 1000.0
"""Rows and costs are scaled to this largest coefficient, so that 1e-6 of tolerance is 1e-9 of it."""

USABLE = 1e-5
"""A grid unit below this (in a scaled row) is too near the solver's tolerance to be told apart."""

COSTLY = 1e5
"""The same for costs, where points are told apart when they differ by 1e-6."""

ROW_ROUNDING = 1e-12
"""Far above the rounding of a sum of doubles, far below what matters; relative."""

COARSE = 4.0
"""Variables whose step is so many times the finest are rounded first, and the others found around them."""

MOST_SEARCH_NODES = 20_000
"""Nodes that a search may have; so many times as many where more than the usual time is asked for."""

MOST_CUT_AWAY = 60

A_GLANCE = 0.01
"""The part of all this in which many models without a point show that they have none."""


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
    count : int
        The values of all the variables follow from those of the first so many.
    """

    model: LinearModel
    grids: tuple[Fraction | None, ...]
    completed: Callable[[Vector], Vector]
    resolution: Fraction | None = None
    offset: Fraction = ZERO
    alone: Callable[[Vector], bool] = _never
    count: int = 0

    def base(self, cost: Vector) -> Fraction:
        """What the variables' lower bounds make of a cost without negative terms."""
        return dot(cost, [variable.lower for variable in self.model.variables])

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
        return dot(self.model.costs[place], values)

    def grid(self, coefficients: Vector) -> Fraction | None:
        """What a linear form is a multiple of at every whole point, or None."""
        terms: list[Fraction] = []
        for coefficient, grid in zip(coefficients, self.grids, strict=True):
            if coefficient:
                if grid is None:
                    return None
                terms.append(coefficient * grid)
        return common_divisor(terms)

    def with_costs(self, costs: tuple[Vector, ...]) -> WholeModel:
        """The model with other costs, which are compared exactly."""
        return replace(self, model=replace(self.model, costs=costs), resolution=None)

    def at_most(self, place: int, value: Fraction) -> WholeModel:
        """The model with one of its costs held to a value."""
        row = Row(f"cost {place + 1}", self.model.costs[place], "<=", value)
        return replace(self, model=replace(self.model, rows=(*self.model.rows, row)))


@dataclass(frozen=True)
class WholePoint:
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


def off_the_grid(whole: WholeModel) -> bool:
    """Whether rows that are multiples of one another ask for values between two that whole points can have.

    "Exactly 2:1" of foods whose figures have two decimals, beside fixed ones that come to a third: proven so that there
    is no whole point, in exact arithmetic and at once.
    """
    ends: dict[tuple[tuple[int, Fraction], ...], tuple[list[Fraction], list[Fraction]]] = {}
    for row in whole.model.rows:
        entries = row.slack.entries
        if entries and all(whole.grids[j] is not None for j, _ in entries):
            first = row.coefficients[entries[0][0]]
            form = tuple((j, row.coefficients[j] / first) for j, _ in entries)
            lows, tops = ends.setdefault(form, ([], []))
            bound = row.bound / first
            if row.sense == "==" or (row.sense == ">=") == (first > 0):
                lows.append(bound)
            if row.sense == "==" or (row.sense == ">=") != (first > 0):
                tops.append(bound)
    return any(raised(max(lows), common_divisor([a * (whole.grids[j] or 0) for j, a in form])) > min(tops)
               for form, (lows, tops) in ends.items() if lows and tops)


Box = tuple[Vector, Vector]
"""Least and most of each variable, in steps where it has any."""


def minimum(whole: WholeModel, cost: Vector, gap: float = 0.0, effort: float = 1.0) -> WholePoint | None:
    """The best point for a cost that keeps every row exactly; None where there is none.

    With less `effort` so many times fewer nodes are searched and points cut away.

    Raises
    ------
    NotProven
        Where the solver gives up, or points within its tolerance of a row do not come to an end.
    """
    model = whole.model
    if not model.variables:
        return WholePoint((), 0.0, True) if model.keeps(()) else None
    start = _box(model)
    if start is None or any(row.slack.constant < 0 and not row.slack.entries for row in model.rows):
        return None
    seek = _search(whole, cost, gap, effort)
    tie = count()
    open_boxes: list[tuple[float, int, WholePoint, Box]] = []
    waiting, cuts = [start], 0
    while True:
        for box in waiting:
            found = seek(box)
            if found is not None:
                heapq.heappush(open_boxes, (found[0], next(tie), found[1], box))
        if not open_boxes:
            return None
        _, _, point, box = open_boxes[0]
        if model.keeps(point.values):
            return WholePoint(point.values, min(item[2].bound for item in open_boxes),
                              all(item[2].complete for item in open_boxes))
        heapq.heappop(open_boxes)
        cuts += 1
        if cuts > effort * MOST_CUT_AWAY or out_of_time():
            raise NotProven("too many points lie within the solver's tolerance of a row without keeping it")
        waiting = list(_around(model, point.values, box))


def seen_empty(whole: WholeModel) -> bool:
    """Whether a glance shows that there is no point, by the solver's word."""
    try:
        return minimum(whole, whole.model.costs[0], effort=A_GLANCE) is None
    except NotProven:
        return False


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
    low = tuple(v.lower if v.step is None else Fraction(math.ceil((v.lower - v.base) / v.step))
                for v in model.variables)
    high = tuple(v.upper if v.step is None else Fraction(math.floor((v.upper - v.base) / v.step))
                 for v in model.variables)
    return None if any(a > b for a, b in zip(low, high, strict=True)) else (low, high)


def _search(whole: WholeModel, wanted: Vector, gap: float,
            effort: float) -> Callable[[Box], tuple[float, WholePoint] | None]:
    """What finds the solver's best point in a box and its cost as the solver has it: rows and cost are scaled up."""
    model, arrays = whole.model, whole.model.arrays
    counts, steps, bases = model.steps
    matrix = arrays.matrix * steps
    largest = np.abs(matrix).max(axis=1, initial=0.0)
    stretch = SHARP / np.where(largest > 0, largest, SHARP)
    more, less = (end * stretch for end in arrays.ends)
    # Rounding of a row in doubles may not lose a point that keeps it: what is let in by this is checked exactly.
    reach = np.maximum(np.abs(arrays.lower), np.abs(arrays.upper))
    give = ROW_ROUNDING * (np.abs(arrays.bound) + np.abs(arrays.matrix) @ reach) * stretch
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
    shift = (arrays.matrix @ bases) * stretch
    costs = np.array([float(c) for c in wanted])
    # The cost of one variable alone, as the largest move, is told apart by its own value: scaled up like a sum of many,
    # HiGHS has been seen to call a point the best that is not.
    largest_cost = COSTLY if np.count_nonzero(costs) > 1 else SHARP
    scale = largest_cost / (float(np.abs(costs * steps).max(initial=0.0)) or largest_cost)

    def seek(box: Box) -> tuple[float, WholePoint] | None:
        low, high = (np.array([float(end) for end in ends]) for ends in box)
        found = highs.integer(costs * steps * scale, matrix * stretch[:, None], (more - shift, less - shift), low, high,
                              counts, gap, round(effort * MOST_SEARCH_NODES * times_usual()))
        if found is None:
            return None
        values = tuple(v.lower if v.step is None else v.base + round(value) * v.step  # what has none is completed
                       for value, v in zip(found.values.tolist(), model.variables, strict=True))
        bound = found.bound / scale + float(costs @ bases)
        return found.cost, WholePoint(whole.completed(values), bound, found.complete)

    return seek


def rounded_point(whole: WholeModel) -> Vector | None:
    """A whole point that keeps every row exactly, without a search; None where rounding finds none: no proof.

    Rounding moves a variable by half its step at most. The linear programme keeps as large a share of what that can do
    to a row clear of it as all rows allow. What comes out is checked in rationals.
    """
    arrays, box = whole.model.arrays, _box(whole.model)
    stepped, steps, bases = whole.model.steps
    if box is None or not stepped.any():
        return None
    low, high = (bases + np.array([float(end) for end in ends]) * steps for ends in box)
    halves = np.where(stepped, steps / 2, 0.0)
    coarse = stepped & (steps > COARSE * steps[stepped].min()) & (low < high)
    found = _clearest(arrays, low, high, halves)
    point = None if found is None else _nearest_on_steps(whole, found)
    if point is None and found is not None and coarse.any():
        pinned = bases + np.round((found - bases) / steps) * steps
        found = _clearest(arrays, np.where(coarse, pinned, low), np.where(coarse, pinned, high),
                          np.where(coarse, 0.0, halves))
        point = None if found is None else _nearest_on_steps(whole, found)
    return point


def _nearest_on_steps(whole: WholeModel, found: Floats) -> Vector | None:
    """The whole point nearest to another, where it keeps every row."""
    values = whole.completed(tuple(v.rounded(Fraction(value)) for v, value in zip(
        whole.model.variables, found.tolist(), strict=True)))
    return values if whole.model.keeps(values) else None


def _clearest(arrays: Arrays, low: Floats, high: Floats, halves: Floats) -> Floats | None:
    """The point that is as clear of every row as can be by what moves of `halves` do to it; None without any."""
    return highs.clearest_point(arrays.matrix, arrays.bound, arrays.sign, np.abs(arrays.matrix) @ halves, low, high)
