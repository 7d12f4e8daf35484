"""The targets of many recipes as rows over their ingredients, in doubles; the same quotients as in `limits`.

    sign * (numerator - bound * denominator) . w  >=  sign * bound * constant,   sign +1 for >=, -1 for <=
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ratio_solver.dish.constraints import LESS, MORE
from ratio_solver.foods.ends import End, Guaranteed, Kind, kind_of, least, most
from ratio_solver.foods.nutrients import FIBRE, spoken, unit_of
from ratio_solver.foods.policy import Policy
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.food_arrays import FoodArrays, Worst
from ratio_solver.recipe.model import RATIO


@dataclass(frozen=True)
class Column:
    """One target that recipes of the menu may have: nutrient and sense."""

    nutrient: str
    sense: str
    kind: Kind | None = None

    @property
    def name(self) -> str:
        """As in `Limit.name`."""
        return RATIO if self.nutrient == RATIO else spoken(self.nutrient)

    @property
    def unit(self) -> str:
        """As in `Limit.unit`."""
        return ":1" if self.nutrient == RATIO else unit_of(self.nutrient) or "g"

    @property
    def end(self) -> End:
        """The end of its interval that a nutrient is taken at."""
        return least(self.kind) if self.sense == MORE else most(self.kind)

    @property
    def worst(self) -> Worst | None:
        """The corner of the intervals that the ratio is taken at; None for the figures themselves."""
        return Worst(self.sense == MORE, self.kind) if self.kind else None

    def exact_terms(self, foods: FoodArrays, policy: Policy, food: int) -> tuple[Fraction, Fraction]:
        """Numerator and denominator per g of a food, exact."""
        if self.nutrient != RATIO:
            return foods.exact_least(self.nutrient, policy, self.end)[food], Fraction(0)
        return (foods.exact_ratio(policy, True, self.worst)[food],
                foods.exact_ratio(policy, False, self.worst)[food])


@dataclass(frozen=True)
class MenuRows:
    """All rows of all recipes, recipe by recipe.

    Attributes
    ----------
    columns : tuple of Column
    owner, column : ndarray of int, shape (rows,)
        Recipe of each row, and which of `columns` it is.
    sign, bound, constant : ndarray, shape (rows,)
        The bound as the cook wrote it.
    row, ingredient : ndarray of int, shape (entries,)
        An entry for every ingredient of the recipe, fixed ones included.
    above, below, value : ndarray, shape (entries,)
        Numerator, denominator, and ``sign * (above - bound * below)``.
    right : ndarray, shape (rows,)
        ``sign * bound * constant``.
    undecided : ndarray of bool, shape (recipes,)
        A maximum is set on a figure that is unknown.
    """

    columns: tuple[Column, ...]
    owner: Ints
    column: Ints
    sign: Floats
    bound: Floats
    constant: Floats
    row: Ints
    ingredient: Ints
    above: Floats
    below: Floats
    value: Floats
    right: Floats
    undecided: Bools

    def over(self, values: Floats) -> Floats:
        """Sum of each row's entries times values per ingredient."""
        return np.bincount(self.row, values[self.ingredient], minlength=len(self.owner)).astype(float)

    def total(self, entries: Floats) -> Floats:
        """Sum of figures per entry, by row."""
        return np.bincount(self.row, entries, minlength=len(self.owner)).astype(float)


def rows_of(menu: MenuArrays, foods: FoodArrays, policy: Policy, guaranteed: Guaranteed) -> MenuRows:
    """The rows of a menu's targets."""
    kind = kind_of(guaranteed)
    order = list(dict.fromkeys(nutrient for nutrient, _ in menu.targets))
    keys = [(Column(nutrient, sense, kind), menu.targets[nutrient, end])
            for nutrient in order for end, sense in (("min", MORE), ("max", LESS)) if (nutrient, end) in menu.targets]
    columns = tuple(column for column, _ in keys)
    count, rows = menu.count, len(menu.owner)
    bounds = np.array([bound for _, bound in keys]).reshape(len(keys), count)
    above, below = np.zeros((len(keys), rows)), np.zeros((len(keys), rows))
    undecided = np.zeros(count, dtype=bool)
    for place, column in enumerate(columns):
        if column.nutrient == RATIO:
            above[place] = foods.ratio(policy, True, column.worst)[menu.food] / menu.yield_
            below[place] = foods.ratio(policy, False, column.worst)[menu.food] / menu.yield_
            continue
        amounts = foods.amounts(column.nutrient, policy, column.end)[menu.food] / menu.yield_
        if column.sense == LESS and column.nutrient != FIBRE and column.nutrient not in policy.unknown_as_zero:
            unknown = np.bincount(menu.owner[np.isnan(amounts)], minlength=count) > 0
            undecided |= unknown & ~np.isnan(bounds[place])
        above[place] = foods.least(column.nutrient, policy, column.end)[menu.food] / menu.yield_
    owner, which = np.nonzero(~np.isnan(bounds.T))
    sign = np.array([1.0 if column.sense == MORE else -1.0 for column in columns])[which] if keys else np.zeros(0)
    bound = bounds[which, owner]
    is_ratio = np.array([column.nutrient == RATIO for column in columns], dtype=bool)[which] if keys else \
        np.zeros(0, dtype=bool)
    constant = np.where(is_ratio, 0.0, menu.servings[owner])
    sizes = np.diff(menu.first)[owner]
    row = np.repeat(np.arange(len(owner)), sizes)
    begins = np.cumsum(sizes) - sizes
    ingredient = np.arange(len(row)) - begins[row] + menu.first[owner[row]]
    upper, lower = above[which[row], ingredient], below[which[row], ingredient]
    value = sign[row] * (upper - bound[row] * lower)
    return MenuRows(columns, owner, which, sign, bound, constant, row, ingredient, upper, lower, value,
                    sign * bound * constant, undecided)
