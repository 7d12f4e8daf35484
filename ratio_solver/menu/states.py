"""The limits table of a menu, and sums by recipe, exact where a digit hangs on it."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from ratio_solver.dish.constraints import LESS, MORE
from ratio_solver.exact import exact
from ratio_solver.foods.policy import Policy
from ratio_solver.lp.bounded_vertices import UNIT
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.figures import printed, printed_all
from ratio_solver.menu.food_arrays import FoodArrays
from ratio_solver.menu.moves import NANO
from ratio_solver.menu.rows import MenuRows
from ratio_solver.menu.stacked import MenuSolution
from ratio_solver.recipe.model import RATIO

NEAR = 64 * UNIT
"""Rounding of a sum over a recipe's ingredients, relative to the sum of sizes, at most."""


class Sums:
    """Sums over the ingredients of each recipe."""

    def __init__(self, menu: MenuArrays, nano: Ints) -> None:
        self.menu, self.nano, self.starts = menu, nano, menu.first[:-1]

    def sum(self, figures: Floats) -> Floats:
        return np.asarray(np.add.reduceat(figures, self.starts))

    def any(self, flags: Bools) -> Bools:
        return np.asarray(np.logical_or.reduceat(flags, self.starts))

    def all(self, flags: Bools) -> Bools:
        return np.asarray(np.logical_and.reduceat(flags, self.starts))

    def exactly(self, recipe: int, per_gram: Sequence[Fraction | None]) -> Fraction:
        """Amount in a batch, from amounts per g of each food."""
        menu = self.menu
        total = Fraction(0)
        for i in range(int(menu.first[recipe]), int(menu.first[recipe + 1])):
            amount = per_gram[menu.food[i]]
            if amount and self.nano[i]:
                yield_ = float(menu.yield_[i])
                grams = amount * int(self.nano[i])
                total += grams if yield_ == 1.0 else grams / exact(yield_)
        return total / NANO


def _exact_state(line: int, menu: MenuArrays, rows: MenuRows, foods: FoodArrays, policy: Policy,
                 sums: Sums) -> tuple[Fraction, Fraction]:
    """Actual value and slack of a limit, computed in rationals."""
    column, bound, recipe = rows.columns[rows.column[line]], exact(float(rows.bound[line])), int(rows.owner[line])
    if column.nutrient == RATIO:
        actual = sums.exactly(recipe, foods.exact_ratio(policy, True, column.worst)) / \
            sums.exactly(recipe, foods.exact_ratio(policy, False, column.worst))
    else:
        actual = sums.exactly(recipe, foods.exact_least(column.nutrient, policy, column.end)) / \
            int(menu.servings[recipe])
    return actual, actual - bound if column.sense == MORE else bound - actual


def limits_table(menu: MenuArrays, rows: MenuRows, found: MenuSolution, foods: FoodArrays, policy: Policy,
            weights: Floats, servings: dict[str, np.ndarray], nearness: float) -> tuple[dict[str, np.ndarray], Bools]:
    w = weights[rows.ingredient]
    above, below = rows.total(rows.above * w), rows.total(rows.below * w) + rows.constant
    with np.errstate(divide="ignore", invalid="ignore"):
        actual = np.where(below > 0, above / below, np.nan)
    coefficient = np.abs(rows.above - rows.bound[rows.row] * rows.below)
    size = np.zeros(len(rows.owner))
    np.maximum.at(size, rows.row, coefficient)
    margin = np.abs(above - rows.bound * below)
    tolerance = nearness * np.where(size > 0, size, 1.0)
    doubt = NEAR * (above + rows.bound * below)
    defined = ~np.isnan(actual)
    binding = defined & (margin <= tolerance)
    unsure = defined & (np.abs(margin - tolerance) <= doubt)
    sums = Sums(menu, found.nano)
    if not nearness:  # on the steps a limit binds where it is met to the last digit: rationals say so
        for line in np.flatnonzero(unsure):
            binding[line] = _exact_state(int(line), menu, rows, foods, policy, sums)[1] == 0
        unsure[:] = False
    slack = np.where(rows.sign > 0, actual - rows.bound, rows.bound - actual)
    shown_actual, open_actual = printed_all(actual, NEAR * actual)
    shown_slack, open_slack = printed_all(slack, NEAR * (actual + rows.bound))
    price = rows.sign * found.price * found.divisor
    price_error = found.price_error * found.divisor + NEAR * np.abs(price)
    price_error += np.abs(found.price) * np.where(found.price != 0, found.divisor_error, 0.0)
    shown_price, open_price = printed_all(price, price_error)
    unsure |= open_price & (price != 0)
    for line in np.flatnonzero(defined & ~binding & ((open_actual & (actual != 0)) | open_slack)):
        exactly, left = _exact_state(int(line), menu, rows, foods, policy, sums)
        shown_actual[line], shown_slack[line] = printed(exactly), printed(left)
    names = np.array([column.name for column in rows.columns], dtype=object)
    units = np.array([column.unit for column in rows.columns], dtype=object)
    table = {
        "recipe": menu.names[rows.owner], "name": names[rows.column] if len(names) else rows.owner.astype(object),
        "kind": np.full(len(rows.owner), "target", dtype=object),
        "sense": np.where(rows.sign > 0, MORE, LESS).astype(object),
        "limit": rows.bound, "actual": np.where(binding, rows.bound, shown_actual),
        "slack": np.where(binding, 0.0, shown_slack),
        "unit": units[rows.column] if len(units) else rows.owner.astype(object), "binding": binding,
        "price": np.where(defined, np.where(binding | (not nearness), shown_price, 0.0), np.nan),
    }
    open_ = np.bincount(rows.owner[unsure], minlength=menu.count) > 0
    _settle_ratio(rows, binding, servings, open_)
    return table, open_


def _settle_ratio(rows: MenuRows, binding: Bools, servings: dict[str, np.ndarray], open_: Bools) -> None:
    """The stated ratio: the bound where that is binding and met, as in `output.dish_data.facts_data`; rounded."""
    ratio = servings["ratio"]
    is_ratio = np.array([c.nutrient == RATIO for c in rows.columns], dtype=bool)[rows.column]
    places = np.flatnonzero(is_ratio & binding)[::-1]
    bound = np.full(len(ratio), np.nan)
    bound[rows.owner[places]] = rows.bound[places]
    shown, unsure = printed_all(ratio, NEAR * ratio)
    met = np.abs(ratio - bound) < 1e-9
    servings["ratio"] = np.where(met, printed_all(bound, 0.0 * bound)[0], shown)
    open_ |= unsure & ~met & ~np.isnan(ratio) & (ratio != 0)
