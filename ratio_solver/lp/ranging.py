"""What moving a bound costs, to both sides, and how far that holds.

The cost f is a function of a bound b. Its derivative to the right is the largest multiplier of the
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

from ratio_solver.lp.blocks import Block, minimise
from ratio_solver.lp.corner import Corner, corner_of
from ratio_solver.lp.extremes import is_point, row_ends
from ratio_solver.lp.knobs import NEAR, Knob, Quotient, Side, Sides
from ratio_solver.lp.model import Arrays, Floats
from ratio_solver.lp.quotient import NIL
from ratio_solver.lp.solve import PRICED, Face, Infeasible, Solution, narrowed, on_face, whole_set

FAR = 1e6
"""A multiplier, divisor or bound that is so many times the usual size has no end."""


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
    corner: Corner | None = None

    @property
    def price(self) -> float:
        return self.multiplier * self.knob.value.divisor(self.values)


class _Pricing:
    def __init__(self, arrays: Arrays, cost: Floats, found: Solution) -> None:
        self.arrays, self.cost, self.found = arrays, cost, found
        self.size = float(np.abs(cost).max(initial=0.0)) or 1.0
        self.best, self.corner, self.point = self._face(found)

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

    def _face(self, found: Solution) -> tuple[Face, Corner | None, bool]:
        """The answers that go with some multipliers: a corner, another point, or more than a point."""
        face = narrowed(self.arrays, self.cost, found, whole_set(self.arrays))
        corner = corner_of(self.arrays, found, face)
        return face, corner, corner is not None or is_point(self.arrays, face)

    def _try(self, knob: Knob, sign: float, found: Solution) -> _Try:
        multiplier = self._multiplier(knob, found)
        known = (self.best, self.corner, self.point) if found is self.found else None
        face, corner, point = known or self._face(found)
        if multiplier and knob.value.bent and not point:
            toward = knob.value.below * float(np.sign(sign * multiplier))
            chosen = on_face(self.arrays, toward, face)
            if not isinstance(chosen, Infeasible):
                return _Try(knob, sign, multiplier, narrowed(self.arrays, toward, chosen, face), chosen.values)
        return _Try(knob, sign, multiplier, face, self.found.values, corner)

    def _multiplier(self, knob: Knob, found: Solution) -> float:
        if knob.row is not None:
            value = float(found.row_prices[knob.row])
            tolerance = PRICED * self.size / float(self.arrays.scale[knob.row])
        else:
            value = float((found.lower_prices if knob.sense == ">=" else found.upper_prices)[knob.variable])
            tolerance = PRICED * self.size
        return value if abs(value) > tolerance else 0.0

    def _reached(self, tries: Sequence[_Try]) -> list[Side]:
        """How far each try holds: at a corner in closed form, the others in one stacked call."""
        blocks: list[Block] = []
        wanted: list[tuple[int, bool]] = []
        sides = []
        for place, item in enumerate(tries):
            sides.append(Side(item.price, item.sign * np.inf))
            loosening = (item.sign > 0) == (item.knob.sense == "<=")
            if not item.multiplier and loosening:
                continue
            if item.knob.value.bent and item.knob.value.divisor(item.values) <= NIL:
                sides[place] = Side(0.0, item.sign * np.inf)  # an answer without a denominator keeps every bound
                continue
            if not item.multiplier and self.point:
                sides[place] = Side(0.0, item.knob.value.at(self.found.values))
                continue
            if item.multiplier and item.corner is not None:
                sides[place] = item.corner.walk(item.knob, item.multiplier, item.sign)
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
        low, high = row_ends(arrays, face.tight)
        lower, upper = face.lower, face.upper
        if knob.row is not None:
            low, high = low.copy(), high.copy()
            low[knob.row], high[knob.row] = -np.inf, np.inf
        else:
            place = knob.variable
            lower, upper = lower.copy(), upper.copy()
            lower[place] = knob.least if knob.sense == ">=" else arrays.lower[place]
            upper[place] = arrays.ceiling[place] if knob.sense == ">=" else FAR * max(1.0, abs(knob.bound))
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
        open_sign = arrays.lower >= arrays.ceiling
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
        at_lower, at_upper = values - arrays.lower <= NEAR, arrays.ceiling - values <= NEAR
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
        ended = np.append(point, 0.0)  # what has no place, -1, has no multiplier
        rows, lower, upper = (ended[places] for places in at)
        other = replace(self.found, row_prices=rows / self.arrays.scale, lower_prices=lower, upper_prices=upper)
        size = self.size / (self.arrays.scale[item.knob.row] if item.knob.row is not None else 1.0)
        return None if abs(self._multiplier(item.knob, other)) > 0.5 * FAR * size else other


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
