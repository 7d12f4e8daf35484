"""How far an answer may move, and how far a price holds.

Extremes: the lowest and highest value of each variable over a face of the feasible set (the whole set, or
the best answers), all in one stacked call.

Prices: the cost f is a function of a bound b. Its derivative to the right is the largest multiplier of the
row among all optimal multipliers, to the left the smallest (Gal 1979; at most points they are one). With
optimal multipliers y in hand, f(b') is linear with slope y_r exactly as long as y stays optimal: as long as some
point keeps the priced rows tight and the priced bounds, row r itself left free, and makes b' of row r. So
the range is what row r can become over that set.

The bound may be one on a quotient q = (above . x + a) / (below . x + d), the row being
``(above - b below) . x >= b d - a``. Then the row itself changes with b. Where the same rows and bounds stay
priced, f(b') - f(b) = y_r (b' - b) (below . x' + d) with x' the answer at b', so the slope at b is
y_r (below . x + d). They stay priced while points exist as above and multipliers exist, for the changed row, for
the same rows and bounds; both are linear-fractional programmes (Charnes and Cooper 1962). Where several
points are best, the slope to the right takes the one with the divisor that makes it least (Mills 1956).

References
----------
Charnes A, Cooper WW, Programming with linear fractional functionals, Naval Research Logistics Quarterly 9 (1962).
Gal T, Postoptimal Analyses, Parametric Programming and Related Topics, McGraw-Hill, 1979.
Mills HD, Marginal values of matrix games and linear programs, in: Linear Inequalities and Related Systems,
Princeton, 1956. (All three from memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ratio_solver.faults import NotProven
from ratio_solver.linear.model import Arrays, Floats, LinearModel
from ratio_solver.linear.solve import (
    PRICED,
    Face,
    Infeasible,
    Solution,
    narrowed,
    on_face,
    silent_stdout,
    whole_set,
)
from ratio_solver.linear.stacked import Block, minimise

Span = tuple[Floats, Floats]
"""Lowest and highest values of some variables, each of shape (variables,)."""

FAR = 1e6
"""A multiplier, divisor or bound that is so many times the usual size has no end."""

NEAR = 1e-6
"""Rows and bounds missed by less are tight, and a range that is shorter (relative to its bound) has no width."""


@dataclass(frozen=True)
class Quotient:
    """(above . x + above_constant) / (below . x + below_constant) over the variables."""

    above: Floats
    above_constant: float
    below: Floats
    below_constant: float

    @property
    def bent(self) -> bool:
        """Whether its divisor depends on the variables."""
        return bool(np.any(self.below))

    def divisor(self, values: Floats) -> float:
        """The denominator at a point."""
        return float(self.below @ values) + self.below_constant

    def at(self, values: Floats) -> float:
        """The quotient at a point."""
        return (float(self.above @ values) + self.above_constant) / self.divisor(values)


@dataclass(frozen=True)
class Knob:
    """A bound that may be moved: of a row on a quotient, or of one variable.

    Attributes
    ----------
    sense : {">=", "<="}
    bound : float
    value : Quotient
        What is bounded.
    row, variable : int or None
        Where the bound is in the model; one of the two.
    least : float
        The bound has no meaning below.
    """

    sense: str
    bound: float
    value: Quotient
    row: int | None = None
    variable: int | None = None
    least: float = -np.inf

    @property
    def width(self) -> float:
        """What counts as no way at all."""
        return NEAR * max(1.0, abs(self.bound))


@dataclass(frozen=True)
class Side:
    """What moving a bound to one side does.

    Attributes
    ----------
    price : float
        Change of the cost for one more unit of the bound, at the bound.
    until : float
        How far the same rows and bounds stay priced; infinite where that has no end.
    bend : float
        Of a quotient: its divisor d at a bound b' on the way is ``d(b) / (1 - bend (b' - b))``.
    """

    price: float
    until: float
    bend: float = 0.0

    def change(self, step: float) -> float:
        """Exact change of the cost when the bound moves by a step within the range."""
        return self.price * step / (1.0 - self.bend * step)


@dataclass(frozen=True)
class Sides:
    """Both sides of a bound; None where it cannot be moved there."""

    more: Side | None
    less: Side | None


def extremes(faces: Sequence[tuple[Arrays, Face]], count: int) -> list[Span | None]:
    """Lowest and highest of the first variables over each face, in one stacked call; None for an empty face.

    Returns
    -------
    list of (lowest, highest), each ndarray, shape (count,)
    """
    points = minimise([block for arrays, face in faces for block in _extreme_blocks(arrays, count, face)])
    return [_span(points[first:first + 2 * count]) for first in range(0, 2 * count * len(faces), 2 * count or 1)
            ] or [(np.zeros(0), np.zeros(0)) for _ in faces]


def _extreme_blocks(arrays: Arrays, count: int, face: Face) -> list[Block]:
    low, high = _row_ends(arrays, face.tight)
    unit = np.eye(count, arrays.matrix.shape[1])
    return [Block(sign * unit[place], arrays.matrix, low, high, face.lower, face.upper)
            for place in range(count) for sign in (1.0, -1.0)]


def _span(points: Sequence[Floats | None]) -> Span | None:
    values = [point[place // 2] for place, point in enumerate(points) if point is not None]
    if len(values) < len(points):
        return None
    found = np.array(values).reshape(-1, 2)
    return found[:, 0], found[:, 1]


def searched_extremes(model: LinearModel, count: int, most: float) -> Span:
    """Lowest and highest of the first variables over all feasible points with a first cost of at most so much.

    Stepped variables keep to their steps: two integer searches for each variable.
    """
    arrays = model.arrays
    low, high = _row_ends(arrays, np.zeros(len(arrays.bound), dtype=bool))
    steps = np.array([1.0 if v.step is None else float(v.step) for v in model.variables])
    whole = np.array([v.step is not None for v in model.variables])
    matrix = np.vstack((arrays.matrix, model.float_costs[0])) * steps
    low, high = np.append(low, -np.inf), np.append(high, most)
    unit = np.eye(count, len(steps))
    with silent_stdout():
        points = [minimise([Block(sign * unit[place], matrix, low, high, arrays.lower / steps,
                                  arrays.upper / steps, whole)])[0]
                  for place in range(count) for sign in (1.0, -1.0)]
    span = _span([None if point is None else point * steps for point in points])
    if span is None:
        raise NotProven("the solver stopped without the range of a weight")
    return span


def closed_part(arrays: Arrays) -> Arrays:
    """The model without its open variables, which can always follow, and without the rows that define them."""
    kept = np.isfinite(arrays.upper)
    rows = ~np.any(arrays.matrix[:, ~kept] != 0, axis=1)
    return Arrays(arrays.matrix[rows][:, kept], arrays.bound[rows], arrays.scale[rows], arrays.sign[rows],
                  arrays.lower[kept], arrays.upper[kept])


def is_point(arrays: Arrays, face: Face) -> bool:
    """Whether the tight rows leave the free variables of a face no choice."""
    free = face.lower < face.upper
    equal = face.tight | (arrays.sign == 0)
    count = int(free.sum())
    return count == 0 or bool(np.linalg.matrix_rank(arrays.matrix[equal][:, free], tol=1e-9) == count)


def prices(arrays: Arrays, cost: Floats, found: Solution, knobs: Sequence[Knob]) -> list[Sides]:
    """Price and range of every bound, to both sides.

    Parameters
    ----------
    arrays, cost
        The model and the cost that was minimised.
    found : Solution
        Optimal for it; its multipliers need not be the only ones.
    knobs : sequence of Knob
    """
    return _Pricing(arrays, cost, found).sides(knobs)


@dataclass(frozen=True)
class _Try:
    """Multipliers that may hold on one side of a knob, and the face they stand for."""

    knob: Knob
    sign: float
    multiplier: float
    face: Face
    values: Floats

    @property
    def price(self) -> float:
        return self.multiplier * self.knob.value.divisor(self.values)


class _Pricing:
    def __init__(self, arrays: Arrays, cost: Floats, found: Solution) -> None:
        self.arrays, self.cost, self.found = arrays, cost, found
        self.size = float(np.abs(cost).max(initial=0.0)) or 1.0
        self.best = narrowed(arrays, cost, found, whole_set(arrays))
        self.point = is_point(arrays, self.best)

    def sides(self, knobs: Sequence[Knob]) -> list[Sides]:
        """First with the multipliers in hand; where these do not hold on a side, with those that do."""
        tries = [self._try(knob, sign, self.found) for knob in knobs for sign in (1.0, -1.0)]
        sides = self._reached(tries)
        short = [place for place, side in enumerate(sides) if abs(side.until - tries[place].knob.bound)
                 <= tries[place].knob.width]
        others = self._other_multipliers([tries[place] for place in short])
        again = [(place, self._try(tries[place].knob, tries[place].sign, other))
                 for place, other in zip(short, others, strict=True) if other is not None]
        final: list[Side | None] = list(sides)
        for place, other in zip(short, others, strict=True):
            if other is None:
                final[place] = None
        for (place, _), side in zip(again, self._reached([item for _, item in again]), strict=True):
            final[place] = side
        return [Sides(*final[place:place + 2]) for place in range(0, len(final), 2)]

    def _try(self, knob: Knob, sign: float, found: Solution) -> _Try:
        multiplier = self._multiplier(knob, found)
        given = found is self.found
        face = self.best if given else narrowed(self.arrays, self.cost, found, whole_set(self.arrays))
        if multiplier and knob.value.bent and not (self.point if given else is_point(self.arrays, face)):
            toward = knob.value.below * float(np.sign(sign * multiplier))
            chosen = on_face(self.arrays, toward, face)
            if not isinstance(chosen, Infeasible):
                return _Try(knob, sign, multiplier, narrowed(self.arrays, toward, chosen, face), chosen.values)
        return _Try(knob, sign, multiplier, face, self.found.values)

    def _multiplier(self, knob: Knob, found: Solution) -> float:
        if knob.row is not None:
            value = float(found.row_prices[knob.row])
            tolerance = PRICED * self.size / float(self.arrays.scale[knob.row])
        else:
            value = float((found.lower_prices if knob.sense == ">=" else found.upper_prices)[knob.variable])
            tolerance = PRICED * self.size
        return value if abs(value) > tolerance else 0.0

    def _reached(self, tries: Sequence[_Try]) -> list[Side]:
        """How far each try holds, in one stacked call."""
        blocks: list[Block] = []
        wanted: list[tuple[int, bool]] = []
        sides = []
        for place, item in enumerate(tries):
            sides.append(Side(item.price, item.sign * np.inf))
            loosening = (item.sign > 0) == (item.knob.sense == "<=")
            if not item.multiplier and loosening:
                continue
            if not item.multiplier and self.point:
                sides[place] = Side(0.0, item.knob.value.at(self.found.values))
                continue
            blocks.append(self._primal(item))
            wanted.append((place, False))
            if item.multiplier and item.knob.value.bent:
                blocks.append(self._dual(item))
                wanted.append((place, True))
        for (place, dual), point in zip(wanted, minimise(blocks), strict=True):
            sides[place] = self._shortened(tries[place], sides[place], point, dual)
        return sides

    def _shortened(self, item: _Try, side: Side, point: Floats | None, dual: bool) -> Side:
        knob = item.knob
        if point is None:
            return replace(side, until=knob.bound)
        bend = side.bend
        if dual:
            end = float(point[0])
        elif knob.value.bent:
            end, bend = self._fraction(item, point)
        else:
            end = knob.value.at(point)
        end = item.sign * max(item.sign * end, item.sign * knob.bound)
        if abs(end) >= 0.99 * FAR * max(1.0, abs(knob.bound)):
            return replace(side, bend=bend)
        return replace(side, until=item.sign * min(item.sign * end, item.sign * side.until), bend=bend)

    def _fraction(self, item: _Try, point: Floats) -> tuple[float, float]:
        """The quotient at the end of the way, and how its divisor bends on it."""
        value, share = item.knob.value, float(point[-1])
        divisor = value.divisor(item.values)
        end = (float(value.above @ point[:-1]) + value.above_constant * share) / divisor
        way = end - item.knob.bound
        if share >= 0.99 * FAR:
            return item.sign * np.inf, 0.0
        return end, (1.0 - share) / way if abs(way) > item.knob.width else 0.0

    def _primal(self, item: _Try) -> Block:
        """What the limit can become while the other priced rows and bounds stay as they are."""
        arrays, knob, face = self.arrays, item.knob, item.face
        low, high = _row_ends(arrays, face.tight)
        lower, upper = face.lower, face.upper
        if knob.row is not None:
            low, high = low.copy(), high.copy()
            low[knob.row], high[knob.row] = -np.inf, np.inf
        else:
            place = knob.variable
            lower, upper = lower.copy(), upper.copy()
            lower[place] = knob.least if knob.sense == ">=" else arrays.lower[place]
            upper[place] = arrays.upper[place] if knob.sense == ">=" else FAR * max(1.0, abs(knob.bound))
        block = Block(-item.sign * knob.value.above, arrays.matrix, low, high, lower, upper)
        return _homogenised(block, knob.value, item.values, item.sign) if knob.value.bent else block

    def _dual(self, item: _Try) -> Block:
        """For which bounds the same rows and bounds have multipliers; variables: the bound, 1/|y_r|, others."""
        arrays, knob, value = self.arrays, item.knob, item.knob.value
        others = (item.face.tight | (arrays.sign == 0))
        others[knob.row] = False
        at_upper = item.face.lower > arrays.lower
        fixed = item.face.lower >= item.face.upper
        unit = np.eye(len(self.cost))[:, fixed]
        sign = float(np.sign(item.multiplier))
        matrix = np.column_stack((-sign * value.below, -self.cost, arrays.matrix[others].T, unit))
        rhs = -sign * value.above
        open_sign = arrays.lower >= arrays.upper
        most = FAR * max(1.0, abs(knob.bound))
        row_sign = arrays.sign[others]
        lower = np.concatenate(([-most, 0.0], np.where(row_sign > 0, 0.0, -np.inf),
                                np.where((at_upper | open_sign)[fixed], -np.inf, 0.0)))
        upper = np.concatenate(([most, np.inf], np.where(row_sign < 0, 0.0, np.inf),
                                np.where((at_upper & ~open_sign)[fixed], 0.0, np.inf)))
        cost = np.zeros(matrix.shape[1])
        cost[0] = -item.sign
        return Block(cost, matrix, rhs, rhs, lower, upper)

    def _other_multipliers(self, tries: Sequence[_Try]) -> list[Solution | None]:
        """Optimal multipliers that are largest (smallest) for a knob; None where that has no end.

        All multipliers that go with one optimal point are optimal. No end means that no point keeps the
        bound moved to that side.
        """
        if not tries:
            return []
        arrays, values = self.arrays, self.found.values
        tight = np.abs(arrays.matrix @ values - arrays.bound) <= NEAR
        at_lower, at_upper = values - arrays.lower <= NEAR, arrays.upper - values <= NEAR
        identity = np.eye(len(values))
        matrix = np.column_stack((arrays.matrix[tight].T, identity[:, at_lower], identity[:, at_upper]))
        most = FAR * self.size
        lower = np.concatenate((np.where(arrays.sign[tight] > 0, 0.0, -most), np.zeros(at_lower.sum()),
                                np.full(at_upper.sum(), -most)))
        upper = np.concatenate((np.where(arrays.sign[tight] < 0, 0.0, most), np.full(at_lower.sum(), most),
                                np.zeros(at_upper.sum())))
        row_at = _places(tight, 0)
        lower_at = _places(at_lower, int(tight.sum()))
        upper_at = _places(at_upper, int(tight.sum() + at_lower.sum()))
        blocks = []
        for item in tries:
            cost = np.zeros(matrix.shape[1])
            knob = item.knob
            if knob.row is not None:
                at = row_at[knob.row]
            else:
                at = (lower_at if knob.sense == ">=" else upper_at)[knob.variable]
            if at >= 0:
                cost[at] = -item.sign
            blocks.append(Block(cost, matrix, self.cost, self.cost, lower, upper))
        return [self._as_solution(item, point, row_at, lower_at, upper_at)
                for item, point in zip(tries, minimise(blocks), strict=True)]

    def _as_solution(self, item: _Try, point: Floats | None, *at: NDArray[np.int64]) -> Solution | None:
        if point is None:
            return self.found
        rows, lower, upper = (np.where(places >= 0, point[places], 0.0) for places in at)
        other = replace(self.found, row_prices=rows / self.arrays.scale, lower_prices=lower, upper_prices=upper)
        size = self.size / (self.arrays.scale[item.knob.row] if item.knob.row is not None else 1.0)
        return None if abs(self._multiplier(item.knob, other)) > 0.5 * FAR * size else other


def _row_ends(arrays: Arrays, tight: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    return (np.where((arrays.sign >= 0) | tight, arrays.bound, -np.inf),
            np.where((arrays.sign <= 0) | tight, arrays.bound, np.inf))


def _places(kept: NDArray[np.bool_], first: int) -> NDArray[np.int64]:
    return np.where(kept, np.cumsum(kept) - 1 + first, -1)


def _homogenised(block: Block, value: Quotient, values: Floats, sign: float) -> Block:
    """Optimise a quotient instead: x = z / s with the divisor of z held to that of a known point."""
    count = len(block.cost)
    scale = value.divisor(values)
    identity = np.eye(count)
    pieces = [
        (block.matrix, block.low, 1.0), (-block.matrix, -block.high, 1.0),
        (identity, block.lower, 1.0), (-identity, -block.upper, 1.0),
    ]
    rows, shifts = [], []
    for matrix, least, _ in pieces:
        kept = np.isfinite(least)
        rows.append(matrix[kept])
        shifts.append(-least[kept])
    joint = np.column_stack((np.vstack(rows), np.concatenate(shifts)))
    size = float(np.abs(value.below).max())
    joint = np.vstack((joint, np.append(value.below, value.below_constant) / size))
    low = np.append(np.zeros(len(joint) - 1), scale / size)
    high = np.append(np.full(len(joint) - 1, np.inf), scale / size)
    cost = np.append(-sign * value.above, -sign * value.above_constant)
    free = np.full(count, np.inf)
    return Block(cost, joint, low, high, np.append(np.where(block.lower == 0, 0.0, -free), 0.0),
                 np.append(free, FAR))
