"""Choices in a menu: each way to choose is a dish of its own, in which what it leaves out weighs nothing.

A choice of at most k of n ingredients has as many ways as there are sets of k, as a dish may use less of them. All are
solved together, and the best is the answer; where two come to the same with other weights the recipe is left open.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

import numpy as np

from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.menu.arrays import MenuArrays, Ways
from ratio_solver.menu.rows import MenuRows
from ratio_solver.menu.stacked import MenuSolution
from ratio_solver.recipe.model import Recipe

MOST_DISHES = 32
"""Ways to choose of a recipe; of more the per-recipe solver takes the promising ones."""

AS_GOOD_WAYS = 1e-7
"""Ways with other weights whose costs are nearer than this, relative, are left to the per-recipe solver."""


def ways_to_choose(recipe: Recipe) -> Ways:
    """How the choices of a recipe can be made; none where there are too many ways, or where arrays cannot say."""
    ways: list[tuple[int, ...]] = [()]
    place_of = {item.label: place for place, item in enumerate(recipe.ingredients)} if recipe.chooses else {}
    named: set[int] = set()
    for choose in recipe.chooses:
        items = {place_of[label]: recipe.ingredients[place_of[label]] for label in choose.labels}
        free = [place for place, item in items.items() if item.adjustable and not item.minimum]
        used = sum(1 for item in items.values() if not item.adjustable and item.start > 0)
        fewer = max(0, len(free) + used - choose.at_most)
        forced = any(item.minimum for item in items.values())
        if named & items.keys() or fewer > len(free) or forced or len(ways) * math.comb(len(free), fewer) > MOST_DISHES:
            return ()
        named |= items.keys()
        ways = [(*way, *out) for way in ways for out in combinations(free, fewer)]
    return tuple(ways)


def dishes_of(rows: MenuRows) -> tuple[MenuRows, Ints]:
    """The rows of a dish for each way to choose, and which recipe each is of; as they are where nothing is chosen."""
    menu = rows.menu
    ways = menu.ways or (((),),) * menu.count
    recipe = np.repeat(np.arange(menu.count), [len(each) for each in ways])
    if not any(way for each in ways for way in each):
        return rows, recipe
    dishes = rows.taken(recipe)
    menu = dishes.menu
    low, high = menu.low.copy(), menu.high.copy()
    for first, way in zip(menu.first.tolist(), (way for each in ways for way in each), strict=False):
        for end in (low, high):
            end[[first + place for place in way]] = 0.0
    return dishes.bounded(dishes.bound, low, high), recipe


def best_dishes(dishes: MenuRows, recipe: Ints, found: MenuSolution, none: Bools) -> MenuSolution:
    """Of each recipe the best of its dishes, open where it is not known to be that.

    Parameters
    ----------
    dishes : MenuRows
    recipe : ndarray of int, shape (dishes,)
    found : MenuSolution
        Of the dishes.
    none : ndarray of bool, shape (dishes,)
        Dishes that have no weights beyond doubt.
    """
    cost = np.where(found.open, np.inf, found.cost)
    lead = leaders(recipe, cost)
    least = np.where(found.open, np.where(none, np.inf, found.least), found.cost)
    near = least <= (cost[lead] * (1 + AS_GOOD_WAYS) + AS_GOOD_WAYS)[recipe]
    doubt = near & (found.open | unlike(dishes.menu, found.nano, lead[recipe]))
    chosen = found.taken(lead, dishes)
    return replace(chosen, open=chosen.open | (np.bincount(recipe[doubt], minlength=len(lead)) > 0))


def leaders(recipe: Ints, cost: Floats) -> Ints:
    """Of each recipe the dish with the least cost, the first of several."""
    order = np.lexsort((np.arange(len(cost)), cost, recipe))
    return order[np.searchsorted(recipe, np.arange(int(recipe[-1]) + 1))]


def unlike(menu: MenuArrays, nano: Ints, other: Ints) -> Bools:
    """Whether the weights of dishes are not those of others, each of the same recipe."""
    return menu.any(nano != nano[menu.rows_of(other)])
