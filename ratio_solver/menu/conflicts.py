"""Why recipes are impossible, for many at once: the conflict that `solve` names, by the same deletion filter.

And of each member how near to it the others let a dish come, which tells which change is the most modest.

The limits of a recipe are dropped one after the other, from the last, where the others cannot be kept without it either
(`lp.infeasible.minimal_conflict`); each round is one linear programme for every recipe (`lp.many`). That others cannot
be kept is shown by multipliers (Farkas) with rounding counted, that they can by a point clear of every row; what is
neither is left open.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ratio_solver.dish.constraints import EMPTY, Limit
from ratio_solver.lp import many
from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.lp.stack import GROUP
from ratio_solver.menu.arrays import ranges
from ratio_solver.menu.rows import MenuRows
from ratio_solver.solving.formulation import HEAVY
from ratio_solver.solving.result import Repair

CLEAR = 1e-6
"""How far clear of a row, scaled to a largest coefficient of 1, a point is looked for, g."""

MOST_AT_ONCE = 2000
"""Recipes looked at at a time, which bounds the memory."""

ITERATIONS = 12
"""Of Dinkelbach's method, at most."""


@dataclass(frozen=True)
class Conflict:
    """Why a recipe is impossible.

    Attributes
    ----------
    members : tuple of int
        Places in `limits_of` of the recipe; none where it was only asked whether there are any weights.
    least : tuple of float, one per member
        No change of that limit alone that cures is smaller, as a share of the limit; without end where none cures.
    values : tuple of float, one per member
        The best that its quantity comes to within the other limits, nearly; NaN where it cannot be told here.
    first : Repair or None
        Which member is changed first, and to what; None where it is not known.
    limits : tuple of Limit
        The members without their coefficients, where the first change is known.
    """

    members: tuple[int, ...] = ()
    least: tuple[float, ...] = ()
    values: tuple[float, ...] = ()
    first: Repair | None = None
    limits: tuple[Limit, ...] = ()


def conflicts_of(rows: MenuRows, chosen: Bools, named: bool = True) -> dict[int, Conflict]:
    """Those of the chosen recipes that are impossible beyond doubt, and why.

    Parameters
    ----------
    chosen : ndarray of bool, shape (recipes,)
    named : bool
        Whether the conflicts are asked for.
    """
    found: dict[int, Conflict] = {}
    for some in _grouped_recipes(rows, np.flatnonzero(chosen & ~rows.undecided)):
        found |= some.named() if named else dict.fromkeys(map(int, some.recipes[some.none()]), Conflict())
    return found


def can_be_kept(rows: MenuRows) -> Bools:
    """Recipes whose limits can be kept beyond doubt."""
    found = np.zeros(rows.menu.count, dtype=bool)
    for some in _grouped_recipes(rows, np.arange(rows.menu.count)):
        found[some.recipes] = some.kept()
    return found


def _grouped_recipes(rows: MenuRows, recipes: Ints) -> Iterator[_Impossible]:
    """Recipes of about the same size together, so many at a time."""
    groups = -(-rows.menu.moving[recipes] // GROUP)
    for group in np.unique(groups):
        mine = recipes[groups == group]
        for first in range(0, len(mine), MOST_AT_ONCE):
            yield _Impossible(rows, mine[first:first + MOST_AT_ONCE])


class _Impossible:
    """Some recipes, as rows over the weights of their adjustable ingredients; each in every way to choose."""

    def __init__(self, rows: MenuRows, recipes: Ints) -> None:
        rows, self.recipes = rows.taken(recipes), recipes
        menu = rows.menu
        self.low, self.high, self.there = menu.laid(menu.low), menu.laid(menu.high), menu.laid(menu.adjustable) > 0
        fixed = np.where(menu.adjustable, 0.0, menu.start)
        beyond, of_terms = rows.asked_beyond(fixed)
        above, below = (rows.total(each * fixed[rows.ingredient]) for each in (rows.above, rows.below))
        held = above + below
        # The rows of the limits, and of each ratio that the dish is not empty.
        hollow = (rows.told("unit") == ":1") & (held < float(EMPTY))
        substance = np.where(hollow[rows.row], rows.above + rows.below, 0.0)
        ratios = np.flatnonzero(rows.laid(hollow).any(axis=0))
        self.line_of = np.append(np.arange(int(rows.depths.max())), ratios)
        matrix = np.concatenate((rows.matrices(rows.value), rows.matrices(substance)[:, ratios]), axis=1)
        bound, size = (np.concatenate((rows.laid(each), rows.laid(np.where(hollow, empty, 0.0))[:, ratios]), axis=1)
                       for each, empty in ((beyond, float(EMPTY) - held), (of_terms, float(EMPTY) + held)))
        scale = np.abs(matrix).max(axis=2)
        scale[scale == 0] = 1.0
        self.matrix, self.bound, self.size = matrix / scale[:, :, None], bound / scale, size / scale
        self.above, self.below = rows.matrices(rows.above), rows.matrices(rows.below)
        self.fixed = np.array([rows.laid(above), rows.laid(below + rows.constant)])
        self.sign, self.asked = rows.laid(rows.sign), rows.laid(rows.bound)
        self.lines = rows.laid(np.ones(len(rows.owner))) > 0
        self._choose(rows)
        self.cost = np.random.default_rng(1).uniform(0.5, 1.5, self.low.shape)  # any: it keeps pivots from circling

    def _choose(self, rows: MenuRows) -> None:
        """What each way to choose leaves out, and the row of the choice that says so."""
        menu = rows.menu
        ways = menu.ways or (((),),) * menu.count
        self.ways = np.array([len(each) for each in ways])
        self.way = np.cumsum(self.ways) - self.ways
        self.out = np.zeros((int(self.ways.sum()), self.low.shape[1]), dtype=bool)
        self.ray = np.zeros((len(self.out), self.bound.shape[1]))  # what last showed that there is no point
        self.choice, self.chooses = np.zeros(self.low.shape, dtype=np.int64), np.zeros(self.lines.shape, dtype=bool)
        for number in (number for number, each in enumerate(ways) if any(each)):
            first = menu.first[number]
            for line in np.flatnonzero(rows.of_choice & (rows.owner == number)):
                members = menu.nth[[first + place for place in rows.limits[rows.kind[line]].members
                                    if menu.adjustable[first + place]]]
                self.choice[number, members], self.chooses[number, rows.nth[line]] = rows.nth[line], True
            for way, places in enumerate(ways[number], self.way[number]):
                self.out[way, menu.nth[[first + place for place in places]]] = True

    def none(self) -> Bools:
        """Which recipes have no weights beyond doubt."""
        possible, known = self._possible(np.arange(len(self.recipes)), self.lines, self.there, self.there)
        return known & ~possible

    def kept(self) -> Bools:
        """Of which recipes the limits can be kept beyond doubt."""
        return self._possible(np.arange(len(self.recipes)), self.lines, self.there, self.there)[0]

    def named(self) -> dict[int, Conflict]:
        """The conflicts that are beyond doubt, by recipe."""
        rows, lows, highs, sure = self._filtered()
        depth, columns = rows.shape[1], lows.shape[1]
        members = np.concatenate((rows, np.stack((lows, highs), axis=2).reshape(len(rows), -1)), axis=1)
        where, which = np.nonzero(members & sure[:, None])
        least, values = self._least_changes(where, which)
        ends = self.lines.sum(axis=1)[:, None] + 2 * (np.cumsum(self.there, axis=1) - 1)
        number = np.concatenate((np.tile(np.arange(depth), (len(rows), 1)),
                                 np.stack((ends, ends + 1), axis=2).reshape(len(rows), 2 * columns)), axis=1)
        found = {}
        for recipe in np.flatnonzero(sure):
            mine = slice(*np.searchsorted(where, (recipe, recipe + 1)))
            found[int(self.recipes[recipe])] = Conflict(tuple(number[recipe, which[mine]].tolist()),
                                                        tuple(least[mine].tolist()), tuple(values[mine].tolist()))
        return found

    def _least_changes(self, where: Ints, which: Ints) -> tuple[Floats, Floats]:
        """The least change of each member alone with which the others can be kept, as a share of it, and to what.

        The share is a little less than that, as nothing here is exact; of a quotient by Dinkelbach's iterations (1967).
        """
        depth = self.lines.shape[1]
        every, row = np.arange(len(where)), which < depth
        column, of_max = (which - depth) // 2, (which - depth) % 2 == 1
        line = np.where(row, which, 0)
        rows, lows, highs = self.lines[where], self.there[where], self.there[where]
        rows[every[row], which[row]] = False
        lows[every[~row & ~of_max], column[~row & ~of_max]] = False
        highs[every[~row & of_max], column[~row & of_max]] = False
        above, below = self.above[where, line], self.below[where, line]
        above[~row], below[~row] = 0.0, 0.0
        above[every[~row], column[~row]] = 1.0
        fixed = np.where(row, self.fixed[:, where, line], np.array([[0.0], [1.0]]))
        sign = np.where(row, self.sign[where, line], np.where(of_max, -1.0, 1.0))
        asked = np.where(row, self.asked[where, line], np.where(
            of_max, self.high[where, np.maximum(column, 0)], self.low[where, np.maximum(column, 0)]))
        chosen = row & self.chooses[where, line]
        at, _, matrix, bound, _, lower, upper = self._programmes(where, rows, lows, highs)
        value = asked.copy()
        for _ in range(ITERATIONS):
            cost = -sign[:, None] * (above - value[:, None] * below)
            cost /= np.maximum(np.abs(cost).max(axis=1, keepdims=True), 1e-300)
            point, _, empty = self._point(matrix, bound, cost[at], lower, upper)
            with np.errstate(divide="ignore", invalid="ignore"):
                reached = ((above[at] * point).sum(axis=1) + fixed[0, at]) / \
                    ((below[at] * point).sum(axis=1) + fixed[1, at])
            best = np.full(len(where), -np.inf)
            np.maximum.at(best, at, np.where(empty | ~np.isfinite(reached), -np.inf, sign[at] * reached))
            reached = np.where(np.isfinite(best), sign * best, asked)
            if np.allclose(reached, value, rtol=1e-12, atol=0):
                break
            value = reached
        change = np.abs(value - asked)
        share = np.where(asked > 0, change / np.where(asked > 0, asked, 1.0), 10.0**6 + change) * (1 - 1e-6)
        none = np.flatnonzero(~chosen & ~np.isfinite(best))
        if len(none):  # a share without end where the others cannot be kept either
            possible, known = self._possible(where[none], rows[none], lows[none], highs[none])
            share[none[known & ~possible]] = np.inf
        share[chosen] = 1 / asked[chosen]  # a choice goes by whole numbers
        return share, np.where(chosen | ~np.isfinite(best) | (value == asked), np.nan, value)

    def _filtered(self) -> tuple[Bools, Bools, Bools, Bools]:
        """Rows, least and greatest weights that are in the conflict of each recipe, and where that is sure."""
        depth, columns = self.lines.shape[1], self.low.shape[1]
        rows, lows, highs = self.lines.copy(), self.there.copy(), self.there.copy()
        sure = self.none()
        for column in range(columns - 1, -1, -1):
            for ends in (highs, lows):
                self._tried(rows, lows, highs, ends, column, sure)
        for line in range(depth - 1, -1, -1):
            self._tried(rows, lows, highs, rows, line, sure)
        return rows, lows, highs, sure

    def _tried(self, rows: Bools, lows: Bools, highs: Bools, ends: Bools, place: int, sure: Bools) -> None:
        """Drop one limit where the others cannot be kept without it either."""
        had = ends[:, place].copy()
        ends[:, place] = False
        asked = had & sure
        possible, known = np.zeros(len(had), dtype=bool), np.ones(len(had), dtype=bool)
        if asked.any():
            some = np.flatnonzero(asked)
            possible[some], known[some] = self._possible(some, rows[some], lows[some], highs[some])
        sure &= known
        ends[:, place] = had & possible

    def _programmes(self, some: Ints, rows: Bools, lows: Bools,
                    highs: Bools) -> tuple[Ints, Ints, Floats, Floats, Floats, Floats, Floats]:
        """Programmes of recipes with these limits alone, one for each way to choose.

        Of each the place among `some`, the way, rows, bounds, the sizes of these, and least and greatest weights.
        """
        at = np.repeat(np.arange(len(some)), self.ways[some])
        way, recipe = ranges(self.way[some], self.ways[some]), some[at]
        there = rows[at][:, self.line_of]
        upper = np.where(highs[at], self.high[recipe], np.where(self.there[recipe], float(HEAVY), 0.0))
        out = self.out[way] & rows[at[:, None], self.choice[recipe]]
        return (at, way, np.where(there[:, :, None], self.matrix[recipe], 0.0),
                np.where(there, self.bound[recipe], 0.0), np.where(there, self.size[recipe], 0.0),
                np.where(lows[at], self.low[recipe], 0.0), np.where(out, 0.0, upper))

    def _possible(self, some: Ints, rows: Bools, lows: Bools, highs: Bools) -> tuple[Bools, Bools]:
        """Whether some recipes can keep these limits, and whether that is known."""
        at, way, matrix, bound, size, lower, upper = self._programmes(some, rows, lows, highs)
        left = np.flatnonzero(~self._shown(matrix, bound, size, self.ray[way], lower, upper))
        some_point = np.zeros(len(at), dtype=bool)
        asked = (figures[left] for figures in (matrix, bound, size, lower, upper))
        some_point[left] = self._has_point(some[at[left]], *asked)
        possible = np.bincount(at[some_point], minlength=len(some)) > 0
        known, left = possible.copy(), left[~possible[at[left]]]
        if len(left):
            cost = self.cost[some[at[left]]]
            _, ray, _ = self._point(matrix[left], bound[left], cost, lower[left], upper[left])
            self.ray[way[left]] = ray
            left = left[~self._shown(matrix[left], bound[left], size[left], ray, lower[left], upper[left])]
        return possible, known | (np.bincount(at[left], minlength=len(some)) == 0)

    def _shown(self, matrix: Floats, bound: Floats, size: Floats, ray: Floats, lower: Floats, upper: Floats) -> Bools:
        """Whether multipliers show that there is no point: those that did so with more limits are tried first."""
        least, _ = many.least(matrix, bound, size, np.zeros(lower.shape), ray, lower, upper)
        return np.asarray(least > 0)

    def _has_point(self, recipe: Ints, matrix: Floats, bound: Floats, size: Floats, lower: Floats,
                   upper: Floats) -> Bools:
        """Whether a point is found that is clear of every row."""
        needed = np.where(np.abs(matrix).max(axis=2) > 0, bound + CLEAR, bound)
        point = self._point(matrix, needed, self.cost[recipe], lower, upper)[0]
        over = np.matmul(matrix, point[:, :, None])[:, :, 0] - bound
        doubt = many.ROUNDING * (np.matmul(np.abs(matrix), point[:, :, None])[:, :, 0] + size)
        return np.asarray(((over > doubt) | ((over == 0) & (doubt == 0))).all(axis=1))

    def _point(self, matrix: Floats, bound: Floats, cost: Floats, lower: Floats,
               upper: Floats) -> tuple[Floats, Floats, Bools]:
        """The best point within the bounds that keeps the rows; the multipliers where there is none; and where."""
        values, empty, ray, _ = many.solve(many.begun(matrix, bound, cost), lower, upper)
        return np.clip(values[:, :lower.shape[1]], lower, upper), ray, empty
