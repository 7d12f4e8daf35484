"""Branch and bound for many small programmes in whole numbers at once, each with a separable cost.

    minimise    sum_j f_j(k_j)    subject to   rows . x(k) >= bound,    low <= k <= high,    k whole

f_j is convex and linear on each side of its `base` (and of the next whole number, where the least of it lies
between): the columns x_j are how far k_j is above, how far below, and the step between. A node has narrower bounds; its
linear programme goes on from that of its parent (`lp.many`), and many nodes of all problems are solved at a time (Land
AH, Doig AG, Econometrica 28 (1960) 497-520; from memory). Points come from linear programmes whose values are whole,
and from rounding.

**What is proven.** A node is left out only where `many.least` shows, from its multipliers and with rounding counted,
that all in it cost more than the best point found and a margin (or that it is empty): no word of the method is taken
for it. A point counts where its rows are kept by more than rounding can be, else where `keeps` says so in rationals. A
node whose linear programme has whole values is no end: it is searched for others too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from itertools import product

import numpy as np

from ratio_solver.lp import many
from ratio_solver.lp.model import Bools, Floats, Ints

WHOLE = 1e-7
"""Values nearer to a whole number than this are taken for it."""

A_WHOLE_STEP = 1e-6
"""What is short of a whole step by less is one, so that rounding narrows no bound too far."""

MOST_NODES = 4_000
"""Nodes of a problem after which it is given up: the per-recipe solver then takes less time than more of them."""

TOGETHER = 4096
"""Nodes solved at a time."""

ROUNDED_BOTH_WAYS = 3
"""Values between whole numbers that are tried rounded up and down; further ones go to the nearest."""


@dataclass(frozen=True)
class Programmes:
    """Problems of one shape.

    Attributes
    ----------
    rows : ndarray, shape (problems, rows, columns)
        Columns above, below and, where `between` is, between, a block of `variables` each. The first `told` of them can
        be judged in rationals.
    bound, size : ndarray, shape (problems, rows)
        And the size of the terms that each is the sum of.
    cost : ndarray, shape (problems, columns)
    base : ndarray, shape (problems, variables)
        Whole numbers.
    low, high : ndarray, shape (problems, variables)
    between : ndarray of bool, shape (problems, variables) or None
        Variables whose cost has a piece of its own from `base` to the next whole number.
    weight : ndarray, shape (problems, variables)
        What a step of each is worth, for the choice of where to split.
    """

    rows: Floats
    bound: Floats
    size: Floats
    cost: Floats
    base: Floats
    low: Floats
    high: Floats
    between: Bools | None
    weight: Floats
    told: int

    @property
    def count(self) -> int:
        """Number of problems."""
        return len(self.bound)

    def with_row(self, row: Floats, bound: Floats, cost: Floats) -> Programmes:
        """The same with one more row each and another cost."""
        return replace(self, rows=np.concatenate((self.rows, row[:, None, :]), axis=1),
                       bound=np.concatenate((self.bound, bound[:, None]), axis=1),
                       size=np.concatenate((self.size, np.abs(bound[:, None])), axis=1), cost=cost)

    def columns(self, places: Ints, k: Floats) -> Floats:
        """The columns of values, shape (places, columns); of bounds those that the columns have."""
        base = self.base[places]
        if self.between is None:
            return np.concatenate((np.maximum(k - base, 0), np.maximum(base - k, 0)), axis=1)
        between = self.between[places]
        return np.concatenate((np.maximum(k - base - between, 0), np.maximum(base - k, 0),
                               np.where(between, np.clip(k - base, 0, 1), 0)), axis=1)

    def box(self, places: Ints, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Bounds of the columns from those of the variables."""
        from_low, from_high = self.columns(places, low), self.columns(places, high)
        return np.minimum(from_low, from_high), np.maximum(from_low, from_high)

    def values(self, places: Ints, x: Floats) -> Floats:
        """The values that columns stand for."""
        n = self.base.shape[1]
        k = self.base[places] + x[:, :n] - x[:, n:2 * n]
        return k if self.between is None else k + x[:, 2 * n:3 * n]


@dataclass(frozen=True)
class Found:
    """What a search found.

    Attributes
    ----------
    values : ndarray, shape (problems, variables)
    cost : ndarray, shape (problems,)
        Infinite where there is none.
    complete : ndarray of bool, shape (problems,)
        Whether nothing was left open.
    tied : ndarray of bool, shape (problems,)
        Whether another point was met that is no farther from the best than the margin.
    """

    values: Floats
    cost: Floats
    complete: Bools
    tied: Bools


@dataclass
class _Nodes:
    """Nodes that are still to be split."""

    tableaus: many.Tableaus
    problem: Ints
    low: Floats
    high: Floats
    least: Floats
    depth: Ints
    split: Ints
    at: Floats

    def taken(self, places: Ints | Bools) -> _Nodes:
        return _Nodes(self.tableaus.taken(places), *(getattr(self, name)[places] for name in _OF_NODES))


_OF_NODES = [field.name for field in fields(_Nodes)][1:]


def _joined(parts: list[_Nodes]) -> _Nodes:
    tableaus = many.Tableaus(*(np.concatenate([getattr(part.tableaus, field.name) for part in parts])
                               for field in fields(many.Tableaus)))
    return _Nodes(tableaus, *(np.concatenate([getattr(part, name) for part in parts]) for name in _OF_NODES))


class _Search:
    """A search under way."""

    def __init__(self, given: Programmes, past: Callable[[Floats], Floats],
                 keeps: Callable[[int, Floats, Bools], bool]) -> None:
        self.given, self.keeps, self._past = given, keeps, past
        self.best = np.zeros(given.base.shape)
        self.cost = np.full(given.count, np.inf)
        self.tied = np.zeros(given.count, dtype=bool)
        self.open = np.zeros(given.count, dtype=bool)
        self.nodes = np.zeros(given.count, dtype=np.int64)

    @property
    def past(self) -> Floats:
        """Costs from which on nothing is looked for."""
        return self._past(self.cost)

    def solved(self, problem: Ints, low: Floats, high: Floats, depth: Ints, tableaus: many.Tableaus) -> _Nodes:
        """Solve the linear programmes of nodes; those of them that must be split."""
        given = self.given
        lower, upper = given.box(problem, low, high)
        x, empty, ray, lost = many.solve(tableaus, lower, upper)
        rows, bound, cost = given.rows[problem], given.bound[problem], given.cost[problem]
        prices = many.multipliers(tableaus)
        if empty.any():
            prices[empty] = ray[empty]
        least, reduced = many.least(rows, bound, given.size[problem], np.where(empty[:, None], 0.0, cost), prices,
                                    lower, upper)
        self.open[problem[lost | (empty & ~(least > 0))]] = True
        columns = x[:, :lower.shape[1]]
        k = given.values(problem, columns)
        there = ~empty & ~lost
        self._points(problem, k, there)
        spare = self.past[problem] - least
        going = np.flatnonzero(there & (spare >= 0) & ~self.open[problem])
        problem, low, high, spare = problem[going], low[going], high[going], spare[going]
        low, high = self._narrowed(problem, low, high, lower[going], upper[going], reduced[going], spare)
        k = np.clip(k[going], low, high)
        split, at, more = self._where(problem, k, low, high, reduced[going])
        kept = np.flatnonzero(more)
        going = going[kept]
        return _Nodes(tableaus.taken(going), problem[kept], low[kept], high[kept], least[going], depth[going],
                      split[kept], at[kept])

    def _points(self, problem: Ints, k: Floats, there: Bools) -> None:
        """Look at the points that the values round to."""
        off = np.abs(k - np.rint(k))
        places = np.flatnonzero(there)
        order = np.argsort(-off[places], axis=1)[:, :ROUNDED_BOTH_WAYS]
        down = np.floor(k[places] + WHOLE)
        nearest = np.rint(k[places])
        whole = np.take_along_axis(off[places], order, 1) <= WHOLE
        ways = np.array(list(product((0, 1), repeat=order.shape[1])))
        fits, way = np.nonzero(~(whole[:, None, :] & (ways == 1)).any(axis=2))  # a whole value is not rounded up
        tried = nearest[fits]
        np.put_along_axis(tried, order[fits], np.take_along_axis(down, order, 1)[fits] + ways[way], 1)
        self._looked_at(problem[places[fits]], tried)

    def _looked_at(self, problem: Ints, k: Floats) -> None:
        """Keep the best of points that keep their rows."""
        given = self.given
        x = given.columns(problem, k)
        cost = (given.cost[problem] * x).sum(axis=1)
        near = np.flatnonzero((cost <= np.maximum(self.past, self.cost)[problem])
                              & (k >= given.low[problem]).all(axis=1) & (k <= given.high[problem]).all(axis=1))
        if not len(near):
            return
        problem, k, x, cost = problem[near], k[near], x[near], cost[near]
        rows, bound = given.rows[problem], given.bound[problem]
        over = np.matmul(rows, x[:, :, None])[:, :, 0] - bound
        doubt = many.ROUNDING * (np.matmul(np.abs(rows), np.abs(x)[:, :, None])[:, :, 0] + given.size[problem])
        good = (over > doubt).all(axis=1)
        unsure = np.flatnonzero(~good & (over >= -doubt).all(axis=1))
        for place in unsure:
            good[place] = self.keeps(int(problem[place]), k[place], (over <= doubt)[place, :given.told])
            self.open[problem[place]] |= (over <= doubt)[place, given.told:].any()
        problem, k, cost = problem[good], k[good], cost[good]
        turn = np.lexsort((cost, problem))
        problem, k, cost = problem[turn], k[turn], cost[turn]
        first = np.append(True, problem[1:] != problem[:-1])[:len(problem)]
        better = first & (cost < self.cost[problem])
        mine, before = problem[better], self.cost[problem[better]]
        self.best[mine], self.cost[mine] = k[better], cost[better]
        past = self.past
        self.tied[mine] = before <= past[mine]
        other = (cost <= past[problem]) & (k != self.best[problem]).any(axis=1)
        self.tied[problem[other]] = True

    def _narrowed(self, problem: Ints, low: Floats, high: Floats, lower: Floats, upper: Floats, reduced: Floats,
                  spare: Floats) -> tuple[Floats, Floats]:
        """Bounds without what would cost more than there is to spare."""
        given, n = self.given, low.shape[1]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            room = np.floor(spare[:, None] / np.abs(reduced) + A_WHOLE_STEP)
        room = np.where(np.isfinite(room), room, many.WIDE)
        most = np.where(reduced > 0, np.minimum(upper, lower + room), upper)
        least = np.where(reduced < 0, np.maximum(lower, upper - room), lower)
        base = given.base[problem]
        after = base if given.between is None else base + given.between[problem]
        high = np.where(high > after, np.minimum(high, after + most[:, :n]), high)
        low = np.where(low < base, np.maximum(low, base - most[:, n:2 * n]), low)
        low = np.where(least[:, :n] > 0, np.maximum(low, after + least[:, :n]), low)
        high = np.where(least[:, n:2 * n] > 0, np.minimum(high, base - least[:, n:2 * n]), high)
        if given.between is not None:
            here = given.between[problem]
            high = np.where(here & (most[:, 2 * n:] < 1), np.minimum(high, base), high)
            low = np.where(here & (least[:, 2 * n:] > 0), np.maximum(low, after), low)
        return low, high

    def _where(self, problem: Ints, k: Floats, low: Floats, high: Floats,
               reduced: Floats) -> tuple[Ints, Floats, Bools]:
        """At which variable each node is split, and its value there; nodes of which there is nothing to split."""
        n = low.shape[1]
        off = np.abs(k - np.rint(k))
        movable = high > low
        score = np.where(off > WHOLE, (1 + off) * self.given.weight[problem], 0.0)
        size = np.abs(reduced[:, :n]) + np.abs(reduced[:, n:2 * n])
        around = np.where(movable, 1 / (1 + size), 0.0)  # whole values: the one that is cheapest to move
        between = (off > WHOLE).any(axis=1)
        split = np.where(between, score.argmax(axis=1), around.argmax(axis=1))
        every = np.arange(len(k))
        at = k[every, split]
        at = np.where(between, at, np.rint(at))
        return split, at, np.asarray(movable.any(axis=1) & (low <= high).all(axis=1))

    def children(self, nodes: _Nodes) -> tuple[Ints, Floats, Floats, Ints, many.Tableaus]:
        """Nodes split in two at a value between whole numbers, in three around a whole one."""
        whole = nodes.at == np.rint(nodes.at)
        every = np.arange(len(nodes.problem))
        parts = []
        for side in (-1, 0, 1):
            low, high = nodes.low.copy(), nodes.high.copy()
            if side < 0:
                high[every, nodes.split] = np.where(whole, nodes.at - 1, np.floor(nodes.at))
            elif side > 0:
                low[every, nodes.split] = np.where(whole, nodes.at + 1, np.ceil(nodes.at))
            else:
                low[every, nodes.split] = high[every, nodes.split] = nodes.at
            fits = np.flatnonzero((low[every, nodes.split] <= high[every, nodes.split]) & (whole | (side != 0)))
            parts.append((fits, low[fits], high[fits]))
        places, low, high = (np.concatenate([part[i] for part in parts]) for i in range(3))
        return nodes.problem[places], low, high, nodes.depth[places] + 1, nodes.tableaus.taken(places)

    def run(self, start: Bools) -> Found:
        """Search the problems."""
        given = self.given
        places = np.flatnonzero(start & (given.low <= given.high).all(axis=1))
        self.nodes[places] += 1
        tableaus = many.begun(given.rows[places], given.bound[places], given.cost[places])
        nodes = self.solved(places, given.low[places], given.high[places], np.zeros(len(places), dtype=np.int64),
                            tableaus)
        while len(nodes.problem):
            alive = (nodes.least <= self.past[nodes.problem]) & ~self.open[nodes.problem]
            order = np.flatnonzero(alive)
            order = order[np.lexsort((-nodes.depth[order], np.round(nodes.least[order], 9), nodes.problem[order]))]
            problem = nodes.problem[order]
            begins = np.concatenate(([True], problem[1:] != problem[:-1])) if len(order) else np.zeros(0, dtype=bool)
            first = np.flatnonzero(begins)
            turn = np.arange(len(order)) - np.repeat(first, np.diff(np.append(first, len(order))))
            each = max(1, TOGETHER // max(1, len(first)) // 2)
            now, later = order[turn < each], order[turn >= each]
            if not len(now):
                break
            problem, low, high, depth, tableaus = self.children(nodes.taken(now))
            self.nodes += np.bincount(problem, minlength=given.count)
            self.open |= self.nodes > MOST_NODES
            fresh = self.solved(problem, low, high, depth, tableaus)
            nodes = _joined([nodes.taken(later), fresh])
        return Found(self.best, self.cost, ~self.open, self.tied)


def searched(given: Programmes, past: Callable[[Floats], Floats], keeps: Callable[[int, Floats, Bools], bool],
             chosen: Bools, below: Floats | None = None) -> Found:
    """The best points of the chosen problems.

    Parameters
    ----------
    past : callable
        From the costs of the best points found, shape (problems,), to those from which on nothing is looked for: below
        the best where a better one is known to be better by so much; above it nothing that near is missed, and
        `Found.tied` tells of any.
    keeps : callable
        Whether a point, of a problem by its number, keeps those of the rows that are `told` and flagged, in rationals.
    below : ndarray, shape (problems,), optional
        Costs that points are known for; only better ones are looked for.
    """
    search = _Search(given, past, keeps)
    if below is not None:
        search.cost = below.copy()
    return search.run(chosen)
