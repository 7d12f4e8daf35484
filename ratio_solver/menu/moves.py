"""Moves of weights as the variables of a stack: what may move, how far, and what it costs.

An adjustable weight is ``w = base + up - down``, base its start brought within its bounds: two variables in boxes
and no row, so that a recipe has as many rows as it has limits. Of "even" there is one variable more, the largest
relative move, and a row for each weight that says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np

from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.lp.model import Floats, Ints
from ratio_solver.lp.stack import Stack
from ratio_solver.menu.arrays import NANO, MenuArrays
from ratio_solver.menu.rows import FoodArrays, MenuRows, exact_total
from ratio_solver.solving.formulation import roots


@dataclass(frozen=True)
class Moves:
    """The recipes as a stack.

    Attributes
    ----------
    base : ndarray, shape (rows,)
        The start, brought within the bounds; of a fixed ingredient its weight.
    up, down : ndarray of int, shape (rows,)
        Place of the variable, -1 where the weight cannot move that way.
    largest : ndarray of int, shape (recipes,)
        Place of the largest relative move; -1 where it is not asked for.
    stack : Stack
    size : ndarray, shape (rows of the stack,)
        Of the terms that each bound is the sum of.
    lines : ndarray of int, shape (target rows,)
        Which rows of the stack are limits; the others are about relative moves.
    constant : ndarray, shape (recipes,)
        What the weights cost at `base`.
    later : tuple of ndarray, shape (variables,)
        The costs by which ties are broken: grams moved, each weighed, unless they are the first; then moves as they are
        listed.
    """

    base: Floats
    up: Ints
    down: Ints
    largest: Ints
    stack: Stack
    size: Floats
    lines: Ints
    constant: Floats
    later: tuple[Floats, ...] = ()

    def cost(self, up: Floats, down: Floats) -> Floats:
        """A cost of the variables from what a gram of each weight costs up and down."""
        cost = np.zeros(len(self.stack.cost))
        for places, each in ((self.up, up), (self.down, down)):
            cost[places[places >= 0]] = each[places >= 0]
        return cost

    def variables(self, menu: MenuArrays, weights: Floats) -> Floats:
        """The values of the variables from weights."""
        moved = weights - self.base
        values = self.cost(np.maximum(moved, 0.0), np.maximum(-moved, 0.0))
        if len(values) and (self.largest >= 0).all():
            values[self.largest] = np.maximum.reduceat(relative_moves(menu, weights), menu.first[:-1])
        return values

    @cached_property
    def line_of(self) -> Ints:
        """Which limit each row of the stack is, -1 of the others."""
        found = np.full(len(self.stack.bound), -1)
        found[self.lines] = np.arange(len(self.lines))
        return found

    @cached_property
    def items(self) -> Ints:
        """The ingredient whose move each variable is, -1 of the largest relative move."""
        found = np.full(len(self.stack.cost), -1)
        for places in (self.up, self.down):
            found[places[places >= 0]] = np.flatnonzero(places >= 0)
        return found


def shared_by(menu: MenuArrays, prefer: str) -> Floats:
    """How many share what a batch costs: a price is that of the batch, all else of a serving; shape (recipes,)."""
    return np.ones(menu.count) if prefer == "cheapest" else menu.servings


def gram_costs(menu: MenuArrays, foods: FoodArrays, prefer: str) -> Floats:
    """Cost of 1 g of each ingredient, in the unit of the preference; NaN without a price."""
    return np.asarray(foods.costs(prefer)[menu.food] / menu.yield_ / shared_by(menu, prefer)[menu.owner])


def exact_cost(menu: MenuArrays, foods: FoodArrays, prefer: str, nano: Ints, recipe: int) -> Fraction:
    """What a batch costs by a preference, in its unit, in rationals."""
    return exact_total(menu, nano, recipe, foods.exact_costs(prefer)) / int(shared_by(menu, prefer)[recipe])


def listed_roots(menu: MenuArrays) -> Floats:
    """What a gram of each adjustable ingredient costs where the first listed is to move: dearer down the list."""
    return np.array([float(root) for root in roots(int(menu.nth.max()) + 1)])[menu.nth]


def shares(menu: MenuArrays) -> Floats:
    """Share that a gram of change is, as in `formulation.relative`; 0 for a fixed ingredient."""
    return np.where(menu.adjustable, menu.keep / relative_to(menu), 0.0)


def relative_to(menu: MenuArrays) -> Floats:
    """What a move is a share of: the start, or the maximum where that is 0."""
    return np.where(menu.start > 0, menu.start, np.where(menu.high > 0, menu.high, 1.0))


def relative_moves(menu: MenuArrays, weights: Floats) -> Floats:
    """How far weights are from their starts, each as a share."""
    return shares(menu) * np.abs(weights - menu.start)


def exact_share(menu: MenuArrays, item: int) -> Fraction:
    """The same share in rationals."""
    return exact(float(menu.keep[item])) / (exact(float(menu.start[item])) or exact(float(menu.high[item])) or ONE)


def exact_largest(menu: MenuArrays, nano: Ints, recipe: int) -> Fraction:
    """The largest relative move in rationals."""
    return max((exact_share(menu, i) * abs(Fraction(int(nano[i]), NANO) - exact(float(menu.start[i])))
                for i in menu.items(recipe) if menu.adjustable[i]), default=ZERO)


def moves_of(rows: MenuRows, prefer: str, per_gram: Floats | None) -> Moves:
    """The recipes as a stack, with the first cost of a preference."""
    menu, adjustable = rows.menu, rows.menu.adjustable
    base = np.where(adjustable, np.clip(menu.start, menu.low, menu.high), menu.start)
    room = np.column_stack((menu.high - base, base - menu.low))
    has = room > 0  # a fixed weight has none
    even = prefer == "even"
    off = np.abs(base - menu.start)
    each = np.zeros(len(base)) if even else menu.keep if per_gram is None else np.nan_to_num(per_gram)
    slopes = np.column_stack((each, each if per_gram is None else -each))
    constant = menu.sum(np.where(adjustable, each * (off if per_gram is None else base), 0.0))
    # Of "even" a variable for each recipe, and a row for each ingredient that may move.
    share, recipes = shares(menu), np.arange(menu.count if even else 0)
    items = np.flatnonzero(has.any(axis=1)) if even else np.zeros(0, dtype=np.int64)
    farthest = np.maximum.reduceat(share * np.maximum(np.nan_to_num(menu.high) - menu.start,
                                                      menu.start - np.nan_to_num(menu.low)), menu.first[:-1])
    owner, place = _sorted(np.concatenate((np.repeat(menu.owner, has.sum(axis=1)), recipes)))
    row_owner, row_place = _sorted(np.concatenate((rows.owner, menu.owner[items])))
    of_move = np.where(has, place[np.cumsum(has.ravel()) - 1].reshape(has.shape), -1) if has.any() else has - 1
    largest = place[len(place) - len(recipes):] if even else np.full(menu.count, -1)
    entries, moving = has[rows.ingredient], has[items]
    own = row_place[len(rows.owner):]
    row = np.concatenate((np.repeat(row_place[rows.row], entries.sum(axis=1)), own, np.repeat(own, moving.sum(axis=1))))
    turn = np.argsort(row, kind="stable")
    column = np.concatenate((of_move[rows.ingredient][entries], largest[menu.owner[items]], of_move[items][moving]))
    value = np.concatenate((np.column_stack((rows.value, -rows.value))[entries], np.ones(len(items)),
                            np.repeat(-share[items], moving.sum(axis=1))))
    beyond, of_terms = rows.asked_beyond(base)
    lower_rows = np.concatenate((beyond, (share * off)[items]))
    size = np.concatenate((of_terms, (share * (base + menu.start))[items]))
    stack = Stack(
        menu.count, _scattered(place, np.concatenate((slopes[has], np.ones(len(recipes))))), np.zeros(len(place)),
        _scattered(place, np.concatenate((room[has], farthest[recipes]))), owner, _scattered(row_place, lower_rows),
        np.zeros(len(row_place), dtype=bool), row_owner, row[turn], column[turn], value[turn])
    found = Moves(base, of_move[:, 0], of_move[:, 1], largest, stack, _scattered(row_place, size),
                 row_place[:len(rows.owner)], constant)
    ties = (listed_roots(menu),) if prefer == "closest" else (menu.keep, listed_roots(menu))
    return replace(found, later=tuple(found.cost(weight, weight) for weight in ties))


def _sorted(owner: Ints) -> tuple[Ints, Ints]:
    """Owners in ascending order, and the place that each comes to."""
    order = np.argsort(owner, kind="stable")
    return owner[order], np.argsort(order, kind="stable")


def _scattered(place: Ints, figures: Floats) -> Floats:
    """Figures, each at its place."""
    found = np.empty_like(figures)
    found[place] = figures
    return found
