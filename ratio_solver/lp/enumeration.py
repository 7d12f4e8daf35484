"""Whole points in the order of what they cost above a dual bound, with none left out.

For any multipliers y >= 0 of the rows and any whole point n that keeps them,

    cost(n)  =  bound  +  sum_j excess_j(n_j)  +  y . over(n),        excess_j >= 0,   over >= 0,

so a point that costs no more than ``bound + spare`` spends no more than `spare` on its excesses: there are few ways
to do that, and all are gone through, variable by variable, each within what the rows leave it. Where y are the
multipliers of the linear programme, the weights between their bounds there have no excess; what the priced rows
leave over is little, and these rows, solved for those weights, say where they can be. The last variable lies in an
interval, of which the best point is taken. `spare` is raised until there is a point; then it is the best of all. Where
every whole point of the bounds was gone through and none found, there is none.

Doubles with a sure bound on their rounding leave a way open where it may be one, and every point that is given is
checked in rationals. A row that is an equation, or two that leave less room than a step, are rows like any other here,
whereas a search that splits ranges comes upon their few points by chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import repeat

import numpy as np

from ratio_solver.exact import Vector
from ratio_solver.lp.clock import out_of_time
from ratio_solver.lp.lattice import SUM_ROUNDING, WIDEST, Lattice
from ratio_solver.lp.model import Floats, Ints
from ratio_solver.lp.search import WholeModel

FEW_WAYS, MANY_WAYS = 20_000, 50_000
"""Ways that are gone through at once: where the most promising ones will do, and where all have to be."""

MOST_NUMBERS = 1_000_000
"""Numbers of so many ways together, which bounds the memory."""

RAISED = 1.6
"""What `spare` is multiplied with from one round to the next."""

ROUNDS = 40

ALIKE = 1e-9
"""Costs that differ by less, relative, are told apart in rationals."""

MOST_ALIKE = 3_000
"""Points with equal costs that are told apart."""

DETERMINED = 1e-7
"""A weight whose excess a step away is less than this share of the dearest is one that the rows determine."""


@dataclass(frozen=True)
class Enumerated:
    """What going through whole points came to.

    Attributes
    ----------
    values : tuple of Fraction or None
        The best point that was found, all variables of the model.
    bound : float
        No whole point costs less.
    complete : bool
        Whether the point is the best of all for every cost, or there is none at all.
    """

    values: Vector | None
    bound: float
    complete: bool


class TooMany(Exception):
    """More ways, or points to be judged in rationals, than may be gone through."""


def _cost(linear: Floats, keep: Floats, start: Floats, n: Floats | Ints) -> Floats:
    """``linear n + keep |n - start|``: what whole numbers add to a cost, each variable by itself."""
    return np.asarray(linear * n + keep * np.abs(n - start))


@dataclass(frozen=True)
class _Costs:
    """The first cost above the dual bound: what each variable adds to it, and the least of each."""

    linear: Floats
    keep: Floats
    start: Floats
    least: Floats

    def excess(self, j: int, n: Floats | Ints) -> Floats:
        return np.asarray(_cost(self.linear[j], self.keep[j], self.start[j], n) - self.least[j])


def enumerated(whole: WholeModel, lattice: Lattice, prices: Sequence[float], most: int = MANY_WAYS,
               first: float | None = None, grid: float = 0.0, beam: bool = False) -> Enumerated:
    """The best whole point for the costs of a model one after the other.

    Parameters
    ----------
    whole : WholeModel
    lattice : Lattice
        Of its model.
    prices : sequence of float
        Multipliers of its rows, any; of the linear programme the ways are few.
    most : int
        Ways that are gone through at most.
    first : float, optional
        A first cost that no point is below: where to begin.
    grid : float
        What first costs are a multiple of, where that is known.
    beam : bool
        Whether only the most promising ways are followed where there are more: then nothing is complete.
    """
    if lattice.empty:
        return Enumerated(None, np.inf, True)
    y = lattice.multipliers(prices)
    search = _Ways(lattice, y, most, beam)
    base = search.bound
    spare = search.noise + (search.smallest if first is None else max(0.0, first - base))
    bound = base
    for _ in range(ROUNDS):
        if out_of_time():
            break
        try:
            best = best_of(whole, lattice, search.within(spare), base + spare)
        except TooMany:
            break
        if best is not None or search.everything(spare):
            return Enumerated(best, base + spare if best is None else float(whole.cost(0, best)), not search.cut)
        bound = bound if search.cut else base + spare
        spare = max(spare * RAISED, spare + (grid or search.smallest))
    return Enumerated(None, bound, False)


class _Ways:
    """Going through the points of a lattice within a spare excess."""

    def __init__(self, lattice: Lattice, y: Floats, most: int, beam: bool) -> None:
        self.lattice, self.y, self.beam = lattice, y, beam
        numbers = MOST_NUMBERS * FEW_WAYS // MANY_WAYS if beam else MOST_NUMBERS
        self.most = min(most, max(numbers // max(1, len(lattice.low)), 1))
        self.cut = False
        linear = lattice.linear[0] - y @ lattice.matrix
        keep, start = lattice.keep[0], lattice.start
        self.origin = _least_places(linear, keep, start, lattice.low, lattice.high)
        least = _cost(linear, keep, start, self.origin)
        self.costs = _Costs(linear, keep, start, least)
        self.bound = float(least.sum() + y @ lattice.least)
        reach = np.maximum(np.abs(lattice.low), np.abs(lattice.high))
        self.noise = SUM_ROUNDING * float((np.abs(linear) + keep) @ reach + keep @ np.abs(start)
                                      + y @ np.abs(lattice.least))
        steps = np.minimum(self._step_excess(1), self._step_excess(-1))
        dearest = float((np.abs(lattice.linear[0]) + keep).max(initial=0.0)) or 1.0
        movable = lattice.low < lattice.high
        self.flat = movable & (steps <= DETERMINED * dearest)
        rising = steps[movable & ~self.flat]
        self.smallest = max(float(rising.min(initial=dearest)), dearest / 256)
        self.order = self._ordered(steps)

    def _step_excess(self, way: int) -> Floats:
        """The excess of a step one way from the least; nothing to spend where there is no step."""
        there = self.origin + way
        inside = (there >= self.lattice.low) & (there <= self.lattice.high)
        return np.where(inside, _cost(self.costs.linear, self.costs.keep, self.costs.start, there) - self.costs.least,
                        np.inf)

    def _ordered(self, steps: Floats) -> list[int]:
        """Variables in the order in which they are set: dear ones first, then those that the rows determine."""
        movable = np.flatnonzero(self.lattice.low < self.lattice.high)
        spans = (self.lattice.high - self.lattice.low)[movable]
        weights = np.abs(self.lattice.matrix).sum(axis=0)[movable]
        keys = np.lexsort((weights, spans, -np.where(self.flat[movable], 0.0, steps[movable]), self.flat[movable]))
        return [int(movable[k]) for k in keys]

    def everything(self, spare: float) -> bool:
        """Whether no whole point of the bounds costs more than the spare excess allows."""
        lattice = self.lattice
        ends = [_cost(lattice.linear[0], lattice.keep[0], lattice.start, n) for n in (lattice.low, lattice.high)]
        return bool(np.maximum(*ends).sum() + self.noise <= self.bound + spare)

    def within(self, spare: float) -> Ints:
        """Points, shape (points, variables), of which one is the best of all that cost no more."""
        give = spare + self.noise
        rows = self._rows(give)
        low, high = self._ranges(give)
        if (low > high).any():
            return np.zeros((0, len(low)), dtype=np.int64)
        points, spent = low[None, :], np.zeros(1)  # what cannot spend a step stays where it costs least
        order, fixed = [j for j in self.order if low[j] < high[j]], low == high
        sums = (rows.matrix[:, fixed] @ low[fixed])[None, :]
        most_of_each = np.maximum(rows.matrix * low, rows.matrix * high)[:, order]
        most_rest = most_of_each[:, ::-1].cumsum(axis=1)[:, ::-1] - most_of_each
        for number, j in enumerate(order):
            last = number == len(order) - 1
            a = rows.matrix[:, j]
            left = rows.least - rows.noise - most_rest[:, number] - sums + spent[:, None] * rows.tighter
            least, most = _interval(a, left, low[j], high[j])
            keep = least <= most
            if not keep.all():
                points, spent, sums, least, most = points[keep], spent[keep], sums[keep], least[keep], most[keep]
            if last:
                return self._ends(points, j, least, most)
            counts = most - least + 1
            total = int(counts.sum())
            if total > self.most:
                if not self.beam:
                    raise TooMany
                points, spent, sums, least, counts = self._fewer(points, spent, sums, least, counts)
                total = int(counts.sum())
            parent = np.repeat(np.arange(len(counts)), counts)
            n = np.arange(total) - np.repeat(np.cumsum(counts) - counts, counts) + least[parent]
            now = spent[parent] + self.costs.excess(j, n)
            kept = now <= give
            parent, n, spent = parent[kept], n[kept], now[kept]
            points, sums = points[parent], sums[parent] + n[:, None] * a
            points[:, j] = n
            if out_of_time():
                raise TooMany
        kept = (sums - rows.least + rows.noise >= spent[:, None] * rows.tighter).all(axis=1)
        return np.asarray(points[kept])

    def _fewer(self, points: Ints, spent: Floats, sums: Floats, least: Ints, counts: Ints,
               ) -> tuple[Ints, Floats, Floats, Ints, Ints]:
        """The ways that have spent least, as many as may be followed."""
        self.cut = True
        order = np.argsort(spent, kind="stable")
        chosen = order[:max(1, int(np.searchsorted(np.cumsum(np.minimum(counts, 64)[order]), self.most)))]
        return points[chosen], spent[chosen], sums[chosen], least[chosen], np.minimum(counts, 64)[chosen]

    def _ranges(self, give: float) -> tuple[Ints, Ints]:
        """The whole numbers of each variable that spend no more."""
        lattice, costs, found = self.lattice, self.costs, []
        for way in (1, -1):
            before, after = way * costs.linear - costs.keep, way * costs.linear + costs.keep
            there = np.maximum(0.0, way * (costs.start - self.origin))  # to the start, where the slope changes
            spent = before * there  # less than nothing where the start lies between the steps
            with np.errstate(divide="ignore", invalid="ignore"):
                short = np.where(before > 0, give / before, np.inf)
                long = np.where(after > 0, there + (give - spent) / after, np.inf)
            steps = np.where(spent >= give, short, long) * (1 + SUM_ROUNDING) + SUM_ROUNDING
            found.append(np.floor(np.minimum(steps, float(WIDEST))).astype(np.int64))
        return np.maximum(lattice.low, self.origin - found[1]), np.minimum(lattice.high, self.origin + found[0])

    def _rows(self, give: float) -> _Rows:
        """The rows, those with a price from above too, and those solved for the weights that they determine."""
        lattice, y = self.lattice, self.y
        reach = np.maximum(np.abs(lattice.low), np.abs(lattice.high)).astype(float)
        matrix, least, noise, tighter = [lattice.matrix], [lattice.least], [lattice.noise], [0 * lattice.least]
        priced = np.flatnonzero(y > 0)
        if len(priced):
            over = give / y[priced]
            matrix.append(-lattice.matrix[priced])
            least.append(-lattice.least[priced] - over)
            noise.append(lattice.noise[priced] + SUM_ROUNDING * over)
            tighter.append(1 / y[priced])
            flat = np.flatnonzero(self.flat)
            if len(flat) > 1:
                tight = lattice.matrix[priced]
                inverse = np.linalg.pinv(tight[:, flat])
                solved, size = inverse @ tight, np.abs(inverse) @ np.abs(tight)
                ends = np.abs(inverse) @ (np.abs(lattice.least[priced]) + over)
                slip = SUM_ROUNDING * (size @ reach + ends)
                down, up = np.minimum(inverse * over, 0).sum(axis=1), np.maximum(inverse * over, 0).sum(axis=1)
                middle = inverse @ lattice.least[priced]
                matrix += [solved, -solved]
                least += [middle + down, -middle - up]
                noise += [slip, slip]
                tighter += [-down / give, up / give]
        return _Rows(*map(np.concatenate, (matrix, least, noise, tighter)))

    def _ends(self, points: Ints, j: int, least: Ints, most: Ints) -> Ints:
        """Of each way the points of the last variable that may be the best: nearest to where it costs least."""
        if not len(points):
            return points
        start, lines = self.lattice.start[j], zip(self.lattice.linear[:, j], self.lattice.keep[:, j], strict=True)
        cost, keep = next((line for line in lines if any(line)), (0.0, 0.0))
        if cost >= keep:
            aims = [least]
        elif -cost >= keep:
            aims = [most]
        else:
            aims = [np.full(len(least), int(np.floor(start))), np.full(len(least), int(np.ceil(start)))]
        aims = [np.clip(aim, least, most) for aim in aims]
        # Rounding may have put an end one too far out, so that its neighbour is the best.
        aims += [np.clip(aim + way, least, most) for aim in aims[:2] for way in (1, -1)]
        nothing = int(self.lattice.nothing[j])
        if any(j in members for members, _ in self.lattice.choices):
            aims.append(np.where((least <= nothing) & (nothing <= most), nothing, aims[0]))
        tries = np.sort(aims, axis=0)
        number, way = np.nonzero(np.diff(tries, axis=0, prepend=tries[:1] - 1))  # each of them once
        found = points[way]
        found[:, j] = tries[number, way]
        return found


@dataclass(frozen=True)
class _Rows:
    """``matrix n >= least + spent tighter - noise``: what is spent on excesses, priced rows do not leave over."""

    matrix: Floats
    least: Floats
    noise: Floats
    tighter: Floats


def _interval(a: Floats, left: Floats, low: int, high: int) -> tuple[Ints, Ints]:
    """The whole numbers n with ``a n >= left`` in every row, shape (ways,) each."""
    least, most = np.full(len(left), float(low)), np.full(len(left), float(high))
    up, down, none = a > 0, a < 0, a == 0
    if up.any():
        least = np.maximum(least, np.ceil(left[:, up] / a[up] - SUM_ROUNDING * np.abs(left[:, up] / a[up])).max(axis=1))
    if down.any():
        most = np.minimum(most, np.floor(left[:, down] / a[down] + SUM_ROUNDING * np.abs(left[:, down] / a[down])
                                         ).min(axis=1))
    if none.any():
        most = np.where((left[:, none] > 0).any(axis=1), least - 1, most)
    # What is beyond the range, or not a number where a row has no end, is the range's own end.
    least = np.where(np.isnan(least), low, np.clip(least, low, high + 1))
    most = np.where(np.isnan(most), high, np.clip(most, low - 1, high))
    return least.astype(np.int64), np.maximum(most, least - 1).astype(np.int64)


def _least_places(linear: Floats, keep: Floats, start: Floats, low: Ints, high: Ints) -> Ints:
    """Where `_cost` is least, shape (variables,)."""
    tries = np.stack([low, high, np.clip(np.floor(start), low, high).astype(np.int64),
                      np.clip(np.ceil(start), low, high).astype(np.int64)])
    costs = _cost(linear, keep, start, tries)
    return np.asarray(tries[costs.argmin(axis=0), np.arange(len(low))])


def best_of(whole: WholeModel, lattice: Lattice, points: Ints, most: float = np.inf) -> Vector | None:
    """The best of some points for the costs one after the other, of those that keep every row exactly.

    Where doubles tell that some cost the same, the first of them that keeps every row is as good as any.

    Raises
    ------
    TooMany
        Where very many miss a row by less than doubles can tell.
    """
    points = lattice.chosen(points)
    if not len(points):
        return None
    weights = points.astype(float)
    moves = np.abs(weights - lattice.start)
    costs = [weights @ line + moves @ keep for line, keep in zip(lattice.linear, lattice.keep, strict=True)]
    tolerance = [ALIKE * max(1.0, float(np.abs(cost).max())) for cost in costs]
    open_ = costs[0] <= most + tolerance[0]
    tried = 0
    while open_.any():
        alike = open_.copy()
        for cost, near in zip(costs, tolerance, strict=True):
            alike &= cost <= cost[alike].min() + near
        places = np.flatnonzero(alike)
        equal = len(places) > 1 and all(map(_told_apart, repeat(whole), whole.model.costs, tolerance))
        kept = []
        for point in map(np.ndarray.tolist, points[places] if equal or len(places) == 1 else
                         np.unique(points[places], axis=0)):
            values = whole.completed(lattice.values(whole.model, point))
            if whole.model.keeps(values):
                kept.append(values)
                if equal:
                    break
        if kept:
            return kept[0] if len(kept) == 1 else \
                min(kept, key=lambda values: [whole.cost(place, values) for place in range(len(costs))])
        open_ &= ~alike
        tried += len(places)
        if tried > MOST_ALIKE:
            raise TooMany
    return None


def _told_apart(whole: WholeModel, cost: Vector, near: float) -> bool:
    """Whether whole points whose costs are no farther apart than rounding and this cost the same."""
    grid = whole.grid(cost)
    return not any(cost) or (grid is not None and 2 * near < grid)
