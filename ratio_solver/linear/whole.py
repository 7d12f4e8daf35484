"""Solve a linear model whose variables come in whole steps; every answer is exact.

The canonical answer. Let G be the points whose stepped variables are multiples of their steps within their
bounds and that keep every row in exact arithmetic. The answer is the point of G with the least first cost;
among those the least second cost, and so on to the last; costs are compared as rationals, without tolerance.
The definition does not mention the solver. The first cost may have a resolution: then it counts as the interval of
that length in which it lies, and the first stage asks for the lowest interval. Where the last cost has weights that are independent over the
rationals and looks at every stepped variable, there is exactly one such point.

How it is found. On G a cost whose terms are multiples of their grids is a multiple of the greatest common
divisor of these. So the exact bound of the linear programme, raised to that grid, is a floor under every whole
answer, and the second cost is minimised at once among the points that reach the floor. Where there are none the
first cost is minimised first. Then each later cost in its turn, with the earlier held by exact rows.

HiGHS works in doubles with tolerances that cannot be set from SciPy. Therefore

- rows are multiplied up, so that the tolerance is 1e-9 of a row's largest coefficient;
- a row over stepped variables can only take values on a grid: its bound is moved onto the grid, and then half a
  grid unit out, where no point lies;
- every point that comes back is checked in rationals. One that breaks a row is cut away by splitting the box
  around it, which loses no other point, and the search goes on; it is never returned.

What rests on the solver: that it misses no point when it says a search is complete, and for costs without a
usable grid the comparison of points that differ by less than about 1e-9 of the cost. A search that exceeds its
limit of nodes is never called complete (`WholeSolution.proof`, `WholeSolution.settled`).
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

from ratio_solver.faults import NotProven
from ratio_solver.linear.model import Floats, LinearModel, Row, Vector
from ratio_solver.linear.solve import Infeasible, silent_stdout

SHARP = 1000.0
"""Rows and costs are scaled to this largest coefficient, so that 1e-6 of tolerance is 1e-9 of it."""

USABLE = 1e-5
"""A grid unit below this (in a scaled row) is too near the solver's tolerance to be told apart."""

COSTLY = 1e5
"""The same for costs, where points are told apart when they differ by 1e-6."""

SEEN = Fraction(1, 10**5)
"""The least that a second cost may weigh beside a first when both are minimised at once."""

NOISE = 1e-9
"""Rounding of a cost, relative."""

MOST_NODES = 20_000
MOST_CUTS = 60

_INFEASIBLE = 2


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
    """

    model: LinearModel
    grids: tuple[Fraction | None, ...]
    completed: Callable[[Vector], Vector]
    resolution: Fraction | None = None
    offset: Fraction = Fraction(0)

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
class WholeSolution:
    """An answer on the steps: it keeps every row exactly.

    Attributes
    ----------
    values : tuple of Fraction, one per variable
    objective : Fraction
        The first cost.
    bound : Fraction
        No whole point has a lower first cost.
    settled : bool
        Whether the ties were searched to the end, so that this is the canonical answer.
    proof : {"exact", "search", ""}
        How the objective is known to be the least: it equals an exact bound on the grid; the solver's search
        was completed without a gap; or it is not known.
    """

    values: Vector
    objective: Fraction
    bound: Fraction
    proof: str
    settled: bool

    @property
    def proven(self) -> bool:
        """Whether the objective is known to be the least."""
        return bool(self.proof)


@dataclass(frozen=True)
class _Point:
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


def solve_whole(whole: WholeModel, floor: Fraction) -> WholeSolution | Infeasible:
    """The canonical whole answer of a model.

    Parameters
    ----------
    whole : WholeModel
    floor : Fraction
        An exact lower bound on the first cost over all points, whole or not (`certificate.dual_bound`).

    Raises
    ------
    NotProven
        Where the solver gives up without a point.
    """
    grid = whole.grid(whole.model.costs[0])
    least = raised(floor, grid)
    stage = _stage(whole, 0, 2 * abs(least) + 10 * (grid or 1))
    searched = _minimum(whole, stage.cost, _gap(whole, least))
    if searched is not None and stage.spoilt(whole.cost(0, searched.values)):
        stage = _stage(whole, 0, whole.cost(0, searched.values))
        searched = _minimum(whole, stage.cost)
    if searched is None:
        return Infeasible()
    bound, proof = _judged(whole, least, stage, searched)
    held, point = whole.at_most(0, whole.top(whole.cost(0, searched.values))), searched
    if whole.resolution is not None and not proof and searched.complete:
        lower = whole.at_most(0, whole.top(bound))
        better = _minimum(lower, _stage(lower, 1, whole.cost(1, point.values)).cost)
        held, point, proof = (held, point, "search") if better is None else (lower, better, "search")
        bound = max(bound, whole.cut(whole.cost(0, point.values)))
    point = _settled(held, stage, point)
    objective = whole.cost(0, point.values)
    return WholeSolution(point.values, objective, min(bound, objective), proof, point.complete)


def _gap(whole: WholeModel, least: Fraction) -> float:
    """The relative gap at which a search for the first cost may stop."""
    if whole.resolution is None:
        return 0.0
    return float(whole.resolution) / 4 / max(abs(float(least)), float(whole.resolution))


def _judged(whole: WholeModel, least: Fraction, stage: _Stage, point: _Point) -> tuple[Fraction, str]:
    """A bound on the first cost, and how it shows that of the point to be the least; empty where it does not."""
    objective = whole.cost(0, point.values)
    if whole.cut(objective) <= whole.cut(least):
        return least, "exact"
    if not math.isfinite(point.bound):
        return least, ""
    rounding = NOISE * max(1.0, abs(point.bound))
    bound = max(least, stage.bound(Fraction(point.bound - rounding)))
    near = not stage.tilt and float(objective) - point.bound <= rounding
    proven = whole.cut(bound) >= whole.cut(objective) or near
    return min(bound, objective), "search" if point.complete and proven else ""


def _settled(whole: WholeModel, stage: _Stage, point: _Point) -> _Point:
    """The best point for the later costs among those as good for the first; `whole` holds the first already."""
    complete, held = True, 1
    while stage.following < len(whole.model.costs):
        for place in range(held, stage.following):
            whole = whole.at_most(place, whole.cost(place, point.values))
        held = stage.following
        stage = _stage(whole, stage.following, whole.cost(stage.following, point.values))
        try:
            better = _minimum(whole, stage.cost)
        except NotProven:  # the point found before is as good for the first cost, and keeps every row
            better = None
        complete = complete and better is not None and better.complete
        point = better or point
    return replace(point, complete=complete and point.complete)


@dataclass(frozen=True)
class _Stage:
    """One cost to minimise, or two at once: the second so small that it cannot outweigh a grid unit of the first.

    Where second <= steepness * first for every point and first <= most at the best, ``first + share * second`` with
    ``share * steepness * most = grid / 2`` has its minimum at the least first cost, and there at the least second.
    """

    place: int
    following: int
    cost: Vector
    grid: Fraction | None
    tilt: Fraction

    def spoilt(self, value: Fraction) -> bool:
        """Whether the first cost came out so high that the second may have outweighed a grid unit of it."""
        return bool(self.tilt) and self.grid is not None and self.tilt * value >= self.grid

    def bound(self, bound: Fraction) -> Fraction:
        """What a bound on the joint cost says of the first."""
        return raised(bound / (1 + self.tilt), self.grid)


def _stage(whole: WholeModel, place: int, most: Fraction) -> _Stage:
    """The cost at this place, joined with the next where the solver can still tell both apart."""
    costs = whole.model.costs
    first, grid = costs[place], whole.grid(costs[place])
    if place + 1 < len(costs) and grid is not None and _tells_apart(first, grid):
        steepness = _steepness(first, costs[place + 1])
        if steepness is not None:
            share = grid / (2 * steepness * max(most, grid))
            if share * min(c for c in costs[place + 1] if c) > SEEN * max(first):
                joint = tuple(a + share * b if b else a for a, b in zip(first, costs[place + 1], strict=True))
                return _Stage(place, place + 2, joint, grid, share * steepness)
    return _Stage(place, place + 1, first, grid, Fraction(0))


def _steepness(first: Vector, second: Vector) -> Fraction | None:
    """The least s with second <= s * first wherever the variables are >= 0; None where there is none."""
    pairs = [(a, b) for a, b in zip(first, second, strict=True) if a or b]
    if not pairs or any(a <= 0 or b <= 0 for a, b in pairs):
        return None
    return max(b / a for a, b in pairs)


def _tells_apart(cost: Vector, grid: Fraction | None) -> bool:
    """Whether the solver can tell neighbouring values of a cost from each other."""
    return grid is not None and float(grid) > USABLE * max(float(abs(c)) for c in cost)


@dataclass(frozen=True)
class _Program:
    """A whole model as the solver takes it: stepped variables count steps, rows and cost are scaled up."""

    cost: Floats
    scale: float
    matrix: Floats
    more: Floats
    less: Floats
    counts: NDArray[np.bool_]


Box = tuple[tuple[Fraction, ...], tuple[Fraction, ...]]


def _minimum(whole: WholeModel, cost: Vector, gap: float = 0.0) -> _Point | None:
    """The best point for a cost that keeps every row exactly; None where there is none.

    Raises
    ------
    NotProven
        Where the solver gives up, or points within its tolerance of a row do not come to an end.
    """
    start = _box(whole.model)
    if start is None or not all(_holds_of_itself(row) for row in whole.model.rows):
        return None
    program = _program(whole, cost)
    tie = count()
    open_boxes: list[tuple[float, int, _Point, Box]] = []
    waiting, cuts = [start], 0
    while True:
        for box in waiting:
            result = _milp(program, box, gap)
            if result is not None:
                found = _Point(whole.completed(_exact(whole.model, result.x)),
                               float(result.mip_dual_bound) / program.scale, result.status == 0)
                heapq.heappush(open_boxes, (float(result.fun), next(tie), found, box))
        if not open_boxes:
            return None
        _, _, point, box = open_boxes[0]
        if whole.kept(point.values):
            return _Point(point.values, min(item[2].bound for item in open_boxes),
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
        here = values[place] / variable.step
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
        low.append(v.lower if v.step is None else Fraction(math.ceil(v.lower / v.step)))
        high.append(v.upper if v.step is None else Fraction(math.floor(v.upper / v.step)))
    empty = any(a > b for a, b in zip(low, high, strict=True))
    return None if empty else (tuple(low), tuple(high))


def _exact(model: LinearModel, x: Floats) -> Vector:
    """Multiples of the steps; what has no step is left to be completed."""
    return tuple(
        round(value) * v.step if v.step is not None else v.lower
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
    for number, row in enumerate(model.rows):
        grid = None if row.sense == "==" else whole.grid(row.coefficients)
        if grid is None:
            continue
        unit = float(grid) / arrays.scale[number] * stretch[number]
        if unit > USABLE:
            into = 1 if row.sense == ">=" else -1
            on_grid = into * raised(into * row.bound, grid)
            edge = float(on_grid) / arrays.scale[number] * stretch[number] - into * unit / 2
            (more if into > 0 else less)[number] = edge
    cost = np.array([float(c) for c in wanted]) * steps
    scale = COSTLY / (float(np.abs(cost).max(initial=0.0)) or COSTLY)
    counts = np.array([v.step is not None for v in model.variables])
    return _Program(cost * scale, scale, matrix * stretch[:, None], more, less, counts)


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
