"""Foods as arrays, and the targets of many recipes as rows over their ingredients, in doubles.

    sign * (numerator - bound * denominator) . w  >=  sign * bound * constant,   sign +1 for >=, -1 for <=

What a gram of each food does for a target or a preference is what the formulation of a single recipe says of a recipe
of all foods of the table: there is no second one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import chain
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from ratio_solver.dish.constraints import LESS, MORE, Limit, limits_of
from ratio_solver.dish.nutrition import known_amounts, known_wholly, least_amounts, ratio_vectors
from ratio_solver.exact import ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed, kind_of, most
from ratio_solver.foods.food import Food
from ratio_solver.foods.levels import Level
from ratio_solver.foods.nutrients import FIBRE
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.menu.arrays import NANO, MenuArrays, ranges
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe, Target
from ratio_solver.solving.formulation import COSTS

if TYPE_CHECKING:
    from numpy.typing import NDArray

Cached = TypeVar("Cached")

IDLE = -1.0
"""Right-hand side of a row without coefficients, which any weights keep."""

BEYOND_ANY = 1e15
"""Share of its most that 1 g of a food is of which a serving may hold nothing."""


@dataclass(frozen=True)
class PerGram:
    """A nutrient of every food of a table, per g; the least that it can be where it is unknown.

    Attributes
    ----------
    exact : tuple of Fraction, one per food
    doubles : ndarray, shape (foods,)
    known : ndarray of bool, shape (foods,)
    """

    exact: Vector
    doubles: Floats
    known: Bools


@dataclass(frozen=True)
class TargetOfFoods:
    """One end of a target over all foods of a table.

    Attributes
    ----------
    limit : Limit
        Of one serving of a recipe of all foods, with a bound of 1.
    above, below : ndarray, shape (foods,)
        Its numerator and denominator as doubles.
    unsure : ndarray of bool, shape (foods,)
        Foods with which it cannot be kept for sure, or only the per-recipe solver knows how.
    """

    limit: Limit
    above: Floats
    below: Floats
    unsure: Bools


class FoodArrays:
    """Foods as arrays, for one policy and kind of intervals; each is made on first use.

    Parameters
    ----------
    table : FoodTable
        Whose nutrients there are.
    foods : sequence of Food
    policy : Policy
    guaranteed : {"mean", "food"}, optional
    """

    def __init__(self, table: FoodTable, foods: Sequence[Food], policy: Policy, guaranteed: Guaranteed = None) -> None:
        self.table, self.foods, self.policy, self.guaranteed = table, list(foods), policy, guaranteed
        self.place = {id(food): place for place, food in enumerate(self.foods)}
        ingredients = tuple(Ingredient(food.name, food, 0.0) for food in self.foods)
        self._all = Recipe("", 1, ingredients, policy=replace(policy, unknown_as_zero=table.columns))
        self._most = most(kind_of(guaranteed))
        self._made: dict[object, Any] = {}

    def _once(self, key: object, make: Callable[[], Cached]) -> Cached:
        if key not in self._made:
            self._made[key] = make()
        made: Cached = self._made[key]
        return made

    def nutrient(self, column: str) -> PerGram:
        """A nutrient."""
        def make() -> PerGram:
            least = least_amounts(self._all, column)
            return PerGram(least, _doubles(least), np.array(known_wholly(self._all, column), dtype=bool))

        return self._once(("nutrient", column), make)

    def target(self, nutrient: str, sense: str) -> TargetOfFoods:
        """One end of a target, at the ends of the intervals that are worst for it.

        Of the formula of these menus, fat : (protein + net carbs), these do not depend on the bound.
        """
        def make() -> TargetOfFoods:
            target = Target(nutrient, 1.0, None) if sense == MORE else Target(nutrient, None, 1.0)
            limit, *_ = limits_of(replace(self._all, targets=(target,)), self.guaranteed)
            quantity = self.policy.quantity(nutrient)
            unsure = np.zeros(len(self.foods), dtype=bool)
            for column in quantity.below if sense == MORE else quantity.above:
                if column not in (FIBRE, *self.policy.unknown_as_zero):
                    unsure |= [amount is None for amount in known_amounts(self._all, column, self._most)]
            return TargetOfFoods(limit, _doubles(limit.numerator), _doubles(limit.denominator), unsure)

        return self._once(("target", nutrient, sense), make)

    def exact_costs(self, prefer: str) -> Vector:
        """What 1 g costs by a preference, of a batch of one serving, one per food."""
        return self._once(("exact costs", prefer), lambda: COSTS[prefer](self._all))

    def costs(self, prefer: str) -> Floats:
        """The same as doubles, shape (foods,); NaN without a price."""
        unpriced = [prefer == "cheapest" and food.price is None for food in self.foods]
        return self._once(("costs", prefer), lambda: np.where(unpriced, np.nan, _doubles(self.exact_costs(prefer))))

    def held(self, level: Level) -> Floats:
        """What each food holds of a substance, per g, shape (foods,); unknown counts as none."""
        return self._once(("held", level.name), lambda: _doubles(
            [(level.held(food, self.policy, self._most) or ZERO) / 100 for food in self.foods]))

    def given(self, column: str) -> Bools:
        """Which foods have a figure of their own for a column, shape (foods,)."""
        return self._once(("given", column), lambda: np.array([column in food.amounts for food in self.foods], bool))

    @cached_property
    def ratio(self) -> tuple[Floats, Floats]:
        """Numerator and denominator of the ratio as the table has it, shape (foods,); unknown counts as none."""
        above, below = ratio_vectors(self._all)
        return _doubles(above), _doubles(below)

    @cached_property
    def allergens(self) -> tuple[tuple[str, ...], Bools]:
        """The allergens by the alphabet, and which food is known to have which, shape (foods, allergens)."""
        names = tuple(sorted({name for food in self.foods for name in food.allergens or ()}))
        has = [[name in (food.allergens or ()) for name in names] for food in self.foods]
        return names, np.array(has, dtype=bool).reshape(len(self.foods), len(names))

    @cached_property
    def allergens_unknown(self) -> Bools:
        """Foods of whose allergens nobody has told all, shape (foods,)."""
        return np.array([food.allergens_unknown for food in self.foods], dtype=bool)

    @cached_property
    def most_used(self) -> Floats:
        """Share of the most of each food that 1 g of it is, shape (foods,); 0 where there is no most."""
        return np.array([0.0 if food.most is None else 1 / food.most if food.most else BEYOND_ANY
                         for food in self.foods])

    @cached_property
    def noted(self) -> Bools:
        """Foods of which something must be known however little is eaten, shape (foods,)."""
        return np.array([food.most is None and bool(food.most_because) for food in self.foods], dtype=bool)


@dataclass(frozen=True)
class MenuRows:
    """All rows of all recipes, recipe by recipe; that of a choice keeps any weights.

    Attributes
    ----------
    menu : MenuArrays
    limits : tuple of Limit
        What each number in `kind` stands for: of a target over all foods, with a bound of 1.
    targets : int
        So many of the limits are targets.
    owner, kind : ndarray of int, shape (rows,)
        Recipe of each row, and which of `limits` it is.
    sign, bound, constant : ndarray, shape (rows,)
        The bound as the cook wrote it.
    row, ingredient : ndarray of int, shape (entries,)
        An entry for every ingredient of the recipe, fixed ones included.
    above, below, value : ndarray, shape (entries,)
        Numerator, denominator, and ``sign * (above - bound * below)``.
    right : ndarray, shape (rows,)
        ``sign * bound * constant``.
    of_ratio : ndarray of bool, shape (rows,)
    undecided : ndarray of bool, shape (recipes,)
        A maximum is set on a figure that is unknown.
    """

    menu: MenuArrays
    limits: tuple[Limit, ...]
    targets: int
    owner: Ints
    kind: Ints
    sign: Floats
    bound: Floats
    constant: Floats
    row: Ints
    ingredient: Ints
    above: Floats
    below: Floats
    value: Floats
    right: Floats
    of_ratio: Bools
    undecided: Bools

    def total(self, entries: Floats) -> Floats:
        """Sum of figures per entry, by row."""
        return np.bincount(self.row, entries, minlength=len(self.owner)).astype(float)

    def any(self, flags: Bools) -> Bools:
        """Recipes of which at least one row is flagged."""
        return np.asarray(np.bincount(self.owner[flags], minlength=self.menu.count) > 0)

    def largest(self, entries: Floats) -> Floats:
        """Largest size among the figures per entry, by row; 1 where there is none but zeros."""
        size = np.zeros(len(self.owner))
        np.maximum.at(size, self.row, np.abs(entries))
        return np.where(size > 0, size, 1.0)

    @cached_property
    def nth(self) -> Ints:
        """The place of each row among those of its recipe, shape (rows,)."""
        return np.arange(len(self.owner)) - np.searchsorted(self.owner, self.owner)

    @cached_property
    def depths(self) -> Ints:
        """How many rows each recipe has."""
        return np.bincount(self.owner, minlength=self.menu.count)

    def laid(self, figures: Floats | Ints | Bools) -> Floats:
        """Figures of the rows, a row of them for each recipe; 0 after its last."""
        found = np.zeros((self.menu.count, int(self.depths.max())))
        found[self.owner, self.nth] = figures
        return found

    def matrices(self, entries: Floats) -> Floats:
        """Figures per entry as a matrix for each recipe: its rows and adjustable ingredients, both as they are laid."""
        menu, own = self.menu, np.flatnonzero(self.menu.adjustable[self.ingredient])
        row, item = self.row[own], self.ingredient[own]
        found = np.zeros((menu.count, int(self.depths.max()), int(menu.moving.max())))
        found[self.owner[row], self.nth[row], menu.nth[item]] = entries[own]
        return found

    def asked_beyond(self, weights: Floats) -> tuple[Floats, Floats]:
        """What each row asks for beyond what weights bring, and the size of the terms that this is the sum of."""
        brought = self.value * weights[self.ingredient]
        return self.right - self.total(brought), np.abs(self.right) + self.total(np.abs(brought))

    def divisor(self, weights: Floats) -> Floats:
        """The denominator of each row at weights."""
        return self.total(self.below * weights[self.ingredient]) + self.constant

    @cached_property
    def idle(self) -> Bools:
        """Rows that any weights keep, shape (rows,)."""
        return np.asarray((self.right < 0) & (self.total(np.abs(self.value)) == 0))

    def bounded(self, bound: Floats, low: Floats, high: Floats, idle: Bools | None = None) -> MenuRows:
        """The same with other bounds of the rows and of the weights, and perhaps other rows that any weights keep."""
        idle = self.idle if idle is None else idle
        value = np.where(idle[self.row], 0.0, self.sign[self.row] * (self.above - bound[self.row] * self.below))
        return replace(self, menu=replace(self.menu, low=low, high=high), bound=bound, value=value,
                       right=np.where(idle, IDLE, self.sign * bound * self.constant))

    @cached_property
    def of_choice(self) -> Bools:
        """Rows that are choices, shape (rows,)."""
        return np.array([bool(limit.members) for limit in self.limits], dtype=bool)[self.kind]

    def lines_of(self, recipes: Ints) -> Ints:
        """The rows of some of the recipes, one after the other."""
        return ranges(np.searchsorted(self.owner, recipes), self.depths[recipes])

    def taken(self, recipes: Ints) -> MenuRows:
        """The rows of some of the recipes, in this order; one may come several times."""
        menu = self.menu.taken(recipes)
        lines = self.lines_of(recipes)
        owner = np.repeat(np.arange(len(recipes)), self.depths[recipes])
        sizes = np.diff(menu.first)[owner]
        entries = ranges(np.searchsorted(self.row, lines), sizes)
        row = np.repeat(np.arange(len(lines)), sizes)
        moved = menu.first[:-1] - self.menu.first[recipes]
        return replace(
            self, menu=menu, owner=owner, row=row, ingredient=self.ingredient[entries] + moved[owner[row]],
            undecided=self.undecided[recipes],
            **{name: getattr(self, name)[lines] for name in ("kind", "sign", "bound", "constant", "right", "of_ratio")},
            **{name: getattr(self, name)[entries] for name in ("above", "below", "value")})

    def told(self, key: str) -> NDArray[np.object_]:
        """What the limit of each row has under a name."""
        return np.array([getattr(limit, key) for limit in self.limits], dtype=object)[self.kind]

    def limit(self, line: int) -> Limit:
        """The limit that a row stands for, exact, over the ingredients of its recipe."""
        menu, limit, recipe = self.menu, self.limits[int(self.kind[line])], int(self.owner[line])
        if self.kind[line] >= self.targets:
            return limit
        return replace(
            limit, bound=exact(float(self.bound[line])), constant=Fraction(int(self.constant[line])),
            numerator=exact_per_gram(menu, recipe, limit.numerator),
            denominator=exact_per_gram(menu, recipe, limit.denominator))


def rows_of(menu: MenuArrays, foods: FoodArrays) -> MenuRows:
    """The rows of a menu's targets, and of its parts, proportions and choices."""
    order = list(dict.fromkeys(nutrient for nutrient, _ in menu.targets))
    keys = [(nutrient, end, sense) for nutrient in order for end, sense in (("min", MORE), ("max", LESS))
            if (nutrient, end) in menu.targets]
    kinds = tuple(foods.target(nutrient, sense) for nutrient, _, sense in keys)
    bounds = np.array([menu.targets[nutrient, end] for nutrient, end, _ in keys]).reshape(len(keys), menu.count)
    undecided = np.zeros(menu.count, dtype=bool)
    for kind, bound in zip(kinds, bounds, strict=True):
        undecided |= ~np.isnan(bound) & menu.any(kind.unsure[menu.food])
    owner, which = np.nonzero(~np.isnan(bounds.T))
    bound = bounds[which, owner]
    sign = np.array([1.0 if sense == MORE else -1.0 for _, _, sense in keys])[which]
    of_ratio = np.array([nutrient == RATIO for nutrient, _, _ in keys], dtype=bool)[which]
    constant: Floats = np.array([float(kind.limit.constant) for kind in kinds])[which] * menu.servings[owner]
    groups = [limit for group in menu.groups for limit in group]
    if groups:
        owner = np.append(owner, np.repeat(np.arange(menu.count), [len(group) for group in menu.groups]))
        which = np.append(which, len(keys) + np.arange(len(groups)))
        bound = np.append(bound, _doubles(limit.bound for limit in groups))
        sign = np.append(sign, [1.0 if limit.sense == MORE else -1.0 for limit in groups])
        of_ratio = np.append(of_ratio, np.zeros(len(groups), dtype=bool))
        constant = np.append(constant, _doubles(limit.constant for limit in groups))
        turn = np.lexsort((which, owner))
        owner, which, of_ratio = owner[turn], which[turn], of_ratio[turn]
        bound, sign, constant = bound[turn], sign[turn], constant[turn]
    sizes = np.diff(menu.first)[owner]
    row, ingredient = np.repeat(np.arange(len(owner)), sizes), ranges(menu.first[owner], sizes)
    above = _per_gram(menu, [kind.above for kind in kinds], groups, "numerator", which[row], ingredient)
    below = _per_gram(menu, [kind.below for kind in kinds], groups, "denominator", which[row], ingredient)
    value, right = sign[row] * (above - bound[row] * below), sign * bound * constant
    limits = (*(kind.limit for kind in kinds), *groups)
    found = MenuRows(menu, limits, len(keys), owner, which, sign, bound, constant, row, ingredient, above, below, value,
                     right, of_ratio, undecided)
    return found.bounded(bound, menu.low, menu.high, found.of_choice) if groups else found


def _per_gram(menu: MenuArrays, of_foods: Sequence[Floats], groups: Sequence[Limit], of_group: str, which: Ints,
              ingredient: Ints) -> Floats:
    """What a gram of each ingredient does for the numerator or denominator of a target, or of a limit of a group."""
    of_target, found = which < len(of_foods), np.zeros(len(which))
    if of_foods:
        found[of_target] = np.array(of_foods)[which[of_target], menu.food[ingredient[of_target]]]
        found[of_target] /= menu.yield_[ingredient[of_target]]
    if groups:
        figures = [getattr(limit, of_group) for limit in groups]
        begins = np.cumsum([0, *map(len, figures)])
        mine = ingredient[~of_target]
        found[~of_target] = _doubles(chain.from_iterable(figures))[
            begins[which[~of_target] - len(of_foods)] + mine - menu.first[menu.owner[mine]]]
    return found


def exact_weights(menu: MenuArrays, nano: Ints, recipe: int) -> Vector:
    """Weights of a recipe in g, in rationals: fixed ones as they were written, to any decimals."""
    return tuple(Fraction(int(nano[i]), NANO) if menu.adjustable[i] else exact(float(menu.start[i]))
                 for i in menu.items(recipe))


def exact_per_gram(menu: MenuArrays, recipe: int, per_gram: Vector) -> Vector:
    """Amounts per g of each ingredient of a recipe as weighed, from amounts per g of each food."""
    return tuple(_as_weighed(per_gram[menu.food[i]], menu.yield_[i]) for i in menu.items(recipe))


def exact_total(menu: MenuArrays, nano: Ints, recipe: int, per_gram: Vector) -> Fraction:
    """Amount in a batch in rationals, from amounts per g of each food."""
    return dot(exact_per_gram(menu, recipe, per_gram), exact_weights(menu, nano, recipe))


def _as_weighed(per_gram: Fraction, yield_: float) -> Fraction:
    """An amount per g as weighed, from that per g before preparation."""
    return per_gram if yield_ == 1.0 else per_gram / exact(float(yield_))


def _doubles(figures: Iterable[Fraction]) -> Floats:
    return np.array([0.0 if value is ZERO else float(value) for value in figures])
