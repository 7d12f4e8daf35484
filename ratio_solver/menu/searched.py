"""Weights on any steps for many recipes at once, by branch and bound: pieces, mixed and coarse steps, odd weights.

The answer is that of `solving.scale_steps`, and is found as it is defined: first the fewest grams moved, each weighed
by its `keep`; then, with these held by one more row, the least listed moves. Weights are counted in steps. What a move
costs is linear but at the start, and where that lies between two steps linear between those as well.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ratio_solver.dish.constraints import Limit
from ratio_solver.lp.branching import Programmes, searched
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints
from ratio_solver.menu.arrays import NANO
from ratio_solver.menu.rows import MenuRows, exact_weights
from ratio_solver.menu.stacked import listed_roots

MILLI = 1000
"""`keep` counts in thousandths: one that has more decimals is left to the per-recipe solver."""

GREATEST = 9e18
"""The greatest whole number in an array."""

LISTED_TIE = 1e-7
"""Sums of listed moves nearer than this are left to the per-recipe solver to tell apart."""

MIRRORED = 1e-5
"""What listed weights weigh beside listed moves where a start lies half way between two steps."""

SHAPE = 4
"""Recipes are searched together with those of as many adjustable ingredients, counted by so many."""


@dataclass(frozen=True)
class Stepped:
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


def stepped(rows: MenuRows) -> Stepped:
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
    return Stepped(step, rest, base, -(-low // step), high // step, ~menu.any(adjustable & ~good) & (grid > 0), grid)


def nano_searched(rows: MenuRows, chosen: Bools) -> tuple[Ints, Bools]:
    """Weights in 1e-9 g of the chosen recipes on their steps, and the recipes that are not settled here."""
    menu, found, places = rows.menu, np.zeros(len(rows.menu.owner), dtype=np.int64), stepped(rows)
    open_ = ~chosen | ~places.good
    sizes = np.bincount(menu.owner[menu.adjustable], minlength=menu.count)
    lines = np.bincount(rows.owner, minlength=menu.count)
    between = menu.any(menu.adjustable & (places.rest > 0))
    shape = (-(-sizes // SHAPE) * 1000 + lines) * 2 + between
    for each in np.unique(shape[~open_]):
        recipes = np.flatnonzero(~open_ & (shape == each))
        programmes, variable = _programmes(rows, places, recipes)
        k, settled = _best(rows, places, recipes, programmes, variable)
        mine = np.flatnonzero(variable >= 0)
        at = variable.ravel()[mine]
        found[at] = np.rint(k.ravel()[mine]).astype(np.int64) * places.step[at]
        open_[recipes[~settled]] = True
    fixed = ~menu.adjustable
    found[fixed] = np.rint(menu.start[fixed] * NANO).astype(np.int64)
    return found, open_


def _programmes(rows: MenuRows, places: Stepped, recipes: Ints) -> tuple[Programmes, Ints]:
    """The programmes of some recipes; and the ingredient that each variable is, -1 for none."""
    menu = rows.menu
    number = np.full(menu.count, -1)
    number[recipes] = np.arange(len(recipes))
    mine = menu.adjustable & (number[menu.owner] >= 0)
    variables = int(menu.nth[mine].max()) + 1
    at = number[menu.owner[mine]], menu.nth[mine]
    variable = np.full((len(recipes), variables), -1)
    variable[at] = np.flatnonzero(mine)

    def laid(figures: Floats | Ints) -> Floats:
        out = np.zeros(variable.shape)
        out[at] = figures[mine]
        return out

    slot = np.arange(len(rows.owner)) - np.searchsorted(rows.owner, rows.owner)
    ours = np.flatnonzero(number[rows.owner] >= 0)
    depth = int(slot[ours].max(initial=-1)) + 1
    here = number[rows.owner[ours]], slot[ours]
    standing = np.where(menu.adjustable, places.base * (places.step / NANO), menu.start)
    terms = rows.value * standing[rows.ingredient]
    per_step = np.zeros((len(recipes), depth, variables))
    entries = np.flatnonzero(mine[rows.ingredient])
    row = rows.row[entries]
    per_step[number[rows.owner[row]], slot[row], menu.nth[rows.ingredient[entries]]] = \
        rows.value[entries] * places.step[rows.ingredient[entries]] / NANO
    scale = np.abs(per_step).max(axis=2, initial=0.0)
    scale[scale == 0] = 1.0
    bound, size = np.zeros((len(recipes), depth)), np.zeros((len(recipes), depth))
    bound[here] = (rows.right - rows.total(terms))[ours]
    size[here] = (np.abs(rows.right) + rows.total(np.abs(terms)))[ours]
    per_step /= scale[:, :, None]
    between = laid(places.rest) > 0
    blocks = [per_step, -per_step, np.where(between[:, None, :], per_step, 0.0)]
    several = bool(between.any())
    cost = moved_cost(places, mine, laid, menu.keep, several)
    weight = laid(menu.keep * places.step / NANO)
    return Programmes(np.concatenate(blocks if several else blocks[:2], axis=2), bound / scale, size / scale, cost,
                      laid(places.base), laid(places.low), laid(places.high), between if several else None,
                      weight), variable


def moved_cost(places: Stepped, mine: Bools, laid: Callable[[Floats], Floats], weight: Floats,
               several: bool) -> Floats:
    """Grams moved, each weighed, as a cost of the columns, from what they are at `base`."""
    each = laid(weight * (places.step / NANO))
    between = laid(weight * ((places.step - 2 * places.rest) / NANO) * (places.rest > 0))
    return np.concatenate((each, each, between) if several else (each, each), axis=1)


def _best(rows: MenuRows, places: Stepped, recipes: Ints, given: Programmes, variable: Ints) -> tuple[Floats, Bools]:
    """The answers in steps, and which of them are settled."""
    menu, limits = rows.menu, dict[int, list[Limit]]()

    def keeps(problem: int, k: Floats) -> bool:
        """In rationals."""
        recipe = int(recipes[problem])
        if recipe not in limits:
            limits[recipe] = [rows.limit(int(line)) for line in np.flatnonzero(rows.owner == recipe)]
        nano = np.rint(menu.start * NANO).astype(np.int64)
        mine = variable[problem] >= 0
        at = variable[problem][mine]
        nano[at] = k[mine].astype(np.int64) * places.step[at]
        weights = exact_weights(menu, nano, recipe)
        return all(limit.margin(weights) >= 0 for limit in limits[recipe])

    grid = places.grid[recipes]
    everything = np.ones(given.count, dtype=bool)
    first = searched(given, -grid * (1 - 1e-6), keeps, everything)
    settled = first.complete & np.isfinite(first.cost)
    listed = listed_roots(menu)
    within = variable >= 0
    root = np.where(within, listed[np.maximum(variable, 0)], 0.0)
    step = np.where(within, places.step[np.maximum(variable, 0)] / NANO, 0.0)
    rest = np.where(within, places.rest[np.maximum(variable, 0)] / NANO, 0.0)
    several = given.between is not None
    blocks = [root * step, root * step]
    mirrored = np.zeros(given.count, dtype=bool)
    if several:
        half = (2 * rest == step) & within & (rest > 0)
        mirrored = half.any(axis=1)
        blocks.append(np.where(rest > 0, np.where(half, MIRRORED * root * step, root * (step - 2 * rest)), 0.0))
    largest = np.abs(given.cost).max(axis=1)
    loose = np.minimum(grid / 4, 1e-7 * (1 + np.abs(np.where(settled, first.cost, 0.0))))
    held = given.with_row(-given.cost / largest[:, None], -(np.where(settled, first.cost, 0.0) + loose) / largest,
                          np.concatenate(blocks, axis=1))
    second = searched(held, np.full(given.count, LISTED_TIE), keeps, settled)
    settled &= second.complete & np.isfinite(second.cost) & ~second.tied
    mirrored &= settled
    if mirrored.any():  # none has less of the listed moves alone
        moves = held.cost * np.concatenate((np.ones((given.count, 2 * within.shape[1])), ~half), axis=1)
        here = (moves * held.columns(np.arange(given.count), second.values)).sum(axis=1)
        less = searched(replace(held, cost=moves), np.full(given.count, -LISTED_TIE), keeps, mirrored, here)
        settled &= ~mirrored | (less.complete & (less.cost == here))
    return second.values, settled
