"""Weights on the steps for many recipes at once, each proven the best of all, by branch and bound.

The answer is that of `solving.scale_steps`, and is found as it is defined: of a preference that is a cost the lowest
interval; then the fewest grams moved, each weighed by its `keep`; then the least listed moves; what is found is held by
one more row each time. Weights are counted in steps, of whatever lengths. What a move costs is linear but at the start,
and where that lies between two steps linear between those as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from ratio_solver.dish.constraints import Limit
from ratio_solver.lp.branching import Found, Programmes, searched
from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.menu.arrays import NANO, MenuArrays
from ratio_solver.menu.choices import leaders, unlike
from ratio_solver.menu.moves import exact_cost, gram_costs, listed_roots, relative_to, shares
from ratio_solver.menu.rows import FoodArrays, MenuRows, exact_weights
from ratio_solver.solving.scale_steps import RESOLUTION

MILLI = 1000
"""`keep` counts in thousandths: one that has more decimals is left to the per-recipe solver."""

GREATEST = 9e18
"""The greatest whole number in an array."""

LISTED_TIE = 1e-7
"""Sums of listed moves nearer than this are left to the per-recipe solver to tell apart."""

MIRRORED = 1e-5
"""What listed weights weigh beside listed moves where a start lies half way between two steps."""

NEAR_AN_END = 1e-9
"""A cost that is nearer to the end of an interval than this, in intervals, is reckoned in rationals."""

SAME_MOVE = 1e-9
"""Relative moves that are nearer than this must be the same, else the per-recipe solver tells them apart."""

MOST_HALVINGS = 60

SHAPE = 16
"""Recipes are searched together with those of as many adjustable ingredients, counted by so many."""


@dataclass(frozen=True)
class InSteps:
    """Weights counted in steps, shape (rows,) each; of fixed ingredients nothing.

    Attributes
    ----------
    step, rest : ndarray of int
        In 1e-9 g; how far the start is above `base`.
    base, low, high : ndarray of int
        Steps: the last that is not above the start; the first and the last within the bounds.
    good : ndarray of bool, shape (recipes,)
        Recipes that can be told so.
    grid : ndarray, shape (recipes,)
        Grams moved, as they are weighed, are multiples of this.
    """

    step: Ints
    rest: Ints
    base: Ints
    low: Ints
    high: Ints
    good: Bools
    grid: Floats

    def taken(self, menu: MenuArrays, recipes: Ints) -> InSteps:
        """Those of some of the recipes."""
        rows = menu.rows_of(recipes)
        return InSteps(self.step[rows], self.rest[rows], self.base[rows], self.low[rows], self.high[rows],
                       self.good[recipes], self.grid[recipes])


def in_steps(rows: MenuRows) -> InSteps:
    """The weights of a menu in steps."""
    menu, adjustable = rows.menu, rows.menu.adjustable
    grams = np.where(np.isnan(menu.step), 1.0, menu.step)
    step = np.where(adjustable, np.rint(grams * NANO), NANO).astype(np.int64)
    good = (step > 0) & (step / NANO == grams)
    step = np.maximum(step, 1)
    whole = []
    for figures in (menu.start, menu.low, menu.high):
        figures = np.where(adjustable, figures, 0.0)
        whole.append(np.rint(figures * NANO).astype(np.int64))
        good &= whole[-1] / NANO == figures
    start, low, high = whole
    base, rest = np.divmod(start, step)
    keep = np.rint(menu.keep * MILLI).astype(np.int64)
    good &= keep / MILLI == menu.keep
    apart = np.gcd(step, rest)
    good &= keep.astype(float) * apart < GREATEST
    unit = np.where(adjustable & good, keep * apart, 0)
    grid = np.gcd.reduceat(unit, menu.first[:-1]) / (MILLI * NANO)
    return InSteps(step, rest, base, -(-low // step), high // step, ~menu.any(adjustable & ~good) & (grid > 0), grid)


def nano_on_steps(rows: MenuRows, recipe: Ints, chosen: Bools, foods: FoodArrays, prefer: str,
                  least: Floats) -> tuple[Ints, Bools]:
    """Weights in 1e-9 g of the chosen recipes on their steps, and the recipes that are not settled here.

    Parameters
    ----------
    rows : MenuRows
        Of dishes, in which each recipe stands in every way to choose.
    recipe : ndarray of int, shape (dishes,)
    chosen : ndarray of bool, shape (recipes,)
    least : ndarray, shape (dishes,)
        No weights have a lower first cost.
    """
    menu, places = rows.menu, in_steps(rows)
    found = np.where(menu.adjustable, 0, np.rint(menu.start * NANO)).astype(np.int64)
    best, doubt = np.zeros(menu.count, dtype=bool), ~places.good
    shape, asked = shapes(rows, places), chosen[recipe] & places.good
    for each in np.unique(shape[asked]):
        dishes = np.flatnonzero(asked & (shape == each))
        search = OnSteps(rows.taken(dishes), places.taken(menu, dishes), recipe[dishes], foods, prefer)
        found[menu.rows_of(dishes)] = search.nano(search.best(least[dishes]))
        best[dishes], doubt[dishes] = search.going, search.doubt
    lead = leaders(recipe, np.where(best, 0.0, 1.0))
    doubt |= best & unlike(menu, found, lead[recipe])
    open_ = ~chosen | ~best[lead] | (np.bincount(recipe[doubt], minlength=len(chosen)) > 0)
    return found[menu.rows_of(lead)], open_


def shapes(rows: MenuRows, places: InSteps) -> Ints:
    """Which dishes are searched together, shape (dishes,)."""
    menu = rows.menu
    between = menu.any(menu.adjustable & (places.rest > 0))
    return (-(-menu.moving // SHAPE) * 1000 + rows.depths) * 2 + between


class OnSteps:
    """Dishes of one shape, as programmes in steps; of each recipe those go on that may be its best."""

    def __init__(self, rows: MenuRows, places: InSteps, family: Ints, foods: FoodArrays, prefer: str) -> None:
        self.foods, self.prefer, self.family = foods, prefer, np.unique(family, return_inverse=True)[1]
        self.rows, self.menu, self.places = rows, rows.menu, places
        self.going, self.doubt = np.ones(self.menu.count, dtype=bool), np.zeros(self.menu.count, dtype=bool)
        self.step, self.rest = self.menu.laid(places.step / NANO), self.menu.laid(places.rest / NANO)
        self.several = bool((self.rest > 0).any())
        self.standing = np.where(self.menu.adjustable, places.base * (places.step / NANO), self.menu.start)
        self.still = np.where(self.menu.adjustable, 0, np.rint(self.menu.start * NANO)).astype(np.int64)
        self.limits: dict[int, Limit] = {}
        self.ends: list[Fraction] = []

    def moved(self, weight: Floats) -> Floats:
        """Grams moved, each weighed, as a cost of the columns, less what they are at `base`."""
        blocks = [weight * self.step, weight * self.step, weight * (self.step - 2 * self.rest) * (self.rest > 0)]
        return np.concatenate(blocks if self.several else blocks[:2], axis=1)

    def linear(self, per_gram: Floats) -> Floats:
        """A cost per g as one of the columns."""
        each = per_gram * self.step
        blocks = [each, -each, each * (self.rest > 0)]
        return np.concatenate(blocks if self.several else blocks[:2], axis=1)

    def keeps(self, problem: int, k: Floats, unsure: Bools) -> bool:
        """Whether a point keeps the limits of some rows, in rationals."""
        nano = self.nano_of(problem, k)
        weights = exact_weights(self.menu, nano, problem)
        first = int(np.searchsorted(self.rows.owner, problem))
        for line in map(int, np.flatnonzero(unsure[:self.rows.depths[problem]]) + first):
            if line not in self.limits:
                self.limits[line] = self.rows.limit(line)
            if self.limits[line].margin(weights) < 0:
                return False
        return not self.ends or exact_cost(self.menu, self.foods, self.prefer, nano, problem) < self.ends[problem]

    def nano(self, values: Floats) -> Ints:
        """Weights in 1e-9 g of all ingredients from whole numbers of steps, shape (dishes, variables)."""
        menu, own = self.menu, self.menu.adjustable
        found = self.still.copy()
        found[own] = np.rint(values[menu.owner[own], menu.nth[own]]).astype(np.int64) * self.places.step[own]
        return found

    def nano_of(self, dish: int, k: Floats) -> Ints:
        """The same with the steps of one dish alone."""
        items, found = self.menu.items(dish), self.still.copy()
        own = items.start + np.flatnonzero(self.menu.adjustable[items.start:items.stop])
        found[own] = k[:len(own)].astype(np.int64) * self.places.step[own]
        return found

    def go_on(self, found: Found, cost: Floats, near: Floats | float) -> None:
        """Leave out the dishes that have no weights, or cost more than the best of their recipe."""
        self.doubt |= self.going & ~found.complete
        self.going &= found.complete & np.isfinite(found.cost)
        costs = np.where(self.going, cost, np.inf)
        self.going &= costs <= costs[leaders(self.family, costs)][self.family] + near

    def best(self, least: Floats) -> Floats:
        """The answers in steps; no weights have a lower first cost than the `least`."""
        given = self.programmes()
        if self.prefer == "even":
            given = self._most_even(given, least)
        if self.prefer in RESOLUTION:
            given = self._cheapest(given, RESOLUTION[self.prefer])
        grid = self.places.grid
        given = replace(given, cost=self.moved(self.menu.laid(self.menu.keep)))
        first = searched(given, lambda best: best - grid * (1 - 1e-6), self.keeps, self.going)
        self.go_on(first, first.cost, grid / 2)
        least = np.where(self.going, first.cost, 0.0)
        held = _with_cost_held(given, least + np.minimum(grid / 4, 1e-7 * (1 + np.abs(least))))
        root = self.menu.laid(listed_roots(self.menu))
        half = (2 * self.rest == self.step) & (self.rest > 0)
        moves = self.moved(root)
        mirrored = np.zeros(moves.shape)
        if self.several:
            mirrored[:, 2 * root.shape[1]:] = np.where(half, MIRRORED * root * self.step, 0.0)
        second = searched(replace(held, cost=moves + mirrored), lambda best: best + LISTED_TIE, self.keeps, self.going)
        self.doubt |= self.going & second.tied
        self.go_on(second, second.cost, LISTED_TIE)
        either = self.going & half.any(axis=1)
        if either.any():  # none has less of the listed moves alone
            here = (moves * held.columns(np.arange(given.count), second.values)).sum(axis=1)
            less = searched(replace(held, cost=moves), lambda best: best - LISTED_TIE, self.keeps, either, here)
            self.doubt |= either & ~(less.complete & (less.cost == here))
        return second.values

    def _cheapest(self, given: Programmes, resolution: Fraction) -> Programmes:
        """The programmes held to the lowest interval of a cost.

        Many costs are whole hundredths, so that points lie on the very end of an interval: rationals decide there.
        """
        menu, size = self.menu, float(resolution)
        cost = np.nan_to_num(gram_costs(menu, self.foods, self.prefer))
        offset = menu.sum(cost * self.standing)

        def cut(best: Floats) -> Floats:
            with np.errstate(invalid="ignore"):
                return np.asarray(np.floor((best + offset) / size + NEAR_AN_END) * size - offset)

        given = replace(given, cost=self.linear(menu.laid(cost)))
        found = searched(given, cut, self.keeps, self.going)
        turns = np.where(np.isfinite(found.cost), found.cost + offset, 0.0) / size
        interval = np.floor(turns)
        for problem in np.flatnonzero(np.abs(turns - np.rint(turns)) <= NEAR_AN_END * np.maximum(1.0, np.abs(turns))):
            nano = self.nano_of(int(problem), found.values[problem])
            interval[problem] = exact_cost(menu, self.foods, self.prefer, nano, int(problem)) // resolution
        self.go_on(found, interval, 0.5)
        self.ends = [(int(number) + 1) * resolution for number in interval]
        held = _with_cost_held(given, (interval + 1) * size - offset)
        return replace(held, told=held.told + 1)

    def _most_even(self, given: Programmes, least: Floats) -> Programmes:
        """The programmes with no weight farther from its start than the least largest relative move.

        That is found by halving, from below by doubling: a move that is too small leaves no points between the bounds.
        """
        lo, most = np.maximum(least, 0.0) * (1 - SAME_MOVE) - SAME_MOVE, np.full(given.count, np.inf)
        smallest = np.where(self.step > 0, self.menu.laid(shares(self.menu)) * self.step, np.inf).min(axis=1)
        given = replace(given, cost=self.moved(self.menu.laid(self.menu.keep)))
        going = self.going.copy()
        for _ in range(MOST_HALVINGS):
            low, high = self._within(given, most * (1 - 4 * SAME_MOVE))
            below = self._within(given, lo)
            going &= (most > 0) & ((low != below[0]) | (high != below[1])).any(axis=1)
            if not going.any():
                break
            tried = np.where(np.isinf(most), lo + smallest, (lo + most) / 2)
            low, high = self._within(given, tried)
            found = searched(replace(given, low=low, high=high), lambda best: np.where(np.isinf(best), np.inf, -np.inf),
                             self.keeps, going)
            there = going & np.isfinite(found.cost)
            most[there] = self._largest(found.values)[there]
            self.doubt |= going & ~there & ~found.complete
            going &= there | found.complete
            lo, smallest = np.where(going & ~there, tried, lo), smallest * 2
        self.doubt |= going
        self.going &= np.isfinite(most)
        most[~self.going] = np.inf
        self.going &= most <= most[leaders(self.family, most)][self.family]
        low, high = self._within(given, most)
        for end in (low, high):  # what is hardly farther must be as far
            move, farthest = self._moves(end), most[:, None]
            self.doubt |= self.going & ((move > farthest * (1 - SAME_MOVE)) & (move != farthest)).any(axis=1)
        return replace(given, low=low, high=high)

    def _within(self, given: Programmes, most: Floats) -> tuple[Floats, Floats]:
        """Bounds of the steps within a largest relative move, and hardly more."""
        each, step = self.menu.laid(shares(self.menu)) * self.step, np.where(self.step > 0, self.step, 1.0)
        reach = np.where(each > 0, most[:, None] * (1 + SAME_MOVE) / np.where(each > 0, each, 1.0), np.inf)
        start = self.menu.laid(self.places.base) + self.rest / step
        return (np.maximum(given.low, np.ceil(start - reach)),
                np.minimum(given.high, np.floor(start + reach)))

    def _moves(self, k: Floats) -> Floats:
        """Relative moves, each rounded but once, so that what is the same comes to the same."""
        menu = self.menu
        step, base, rest, whole, keep = map(menu.laid, (
            self.places.step, self.places.base, self.places.rest, np.rint(relative_to(menu) * NANO),
            np.rint(menu.keep * MILLI)))
        moved = np.abs((k - base) * step - rest) * keep
        return np.where(whole > 0, moved / np.where(whole > 0, whole, 1.0) / MILLI, 0.0)

    def _largest(self, k: Floats) -> Floats:
        return np.asarray(self._moves(k).max(axis=1))

    def programmes(self) -> Programmes:
        """Without a cost."""
        rows, menu, places = self.rows, self.menu, self.places
        bound, size = map(rows.laid, rows.asked_beyond(self.standing))
        per_step = rows.matrices(rows.value * places.step[rows.ingredient] / NANO)
        scale = np.abs(per_step).max(axis=2, initial=0.0)
        scale[scale == 0] = 1.0
        per_step /= scale[:, :, None]
        between = self.rest > 0
        blocks = [per_step, -per_step, np.where(between[:, None, :], per_step, 0.0)]
        columns = np.concatenate(blocks if self.several else blocks[:2], axis=2)
        none = np.zeros((menu.count, columns.shape[2]))
        return Programmes(columns, bound / scale, size / scale, none, menu.laid(places.base), menu.laid(places.low),
                          menu.laid(places.high), between if self.several else None, menu.laid(menu.keep) * self.step,
                          columns.shape[1])


def _with_cost_held(given: Programmes, most: Floats) -> Programmes:
    """The programmes with their cost held to a most, and none."""
    largest = np.abs(given.cost).max(axis=1)
    largest[largest == 0] = 1.0
    return given.with_row(-given.cost / largest[:, None], -most / largest, np.zeros(given.cost.shape))
