"""From the rows of a menu to arrays: joins with the composition table, no loop over ingredients.

A column of cells becomes numbers by parsing each distinct cell once. A recipe for which anything is unusual or
wrong is not `plain`: it is left to the per-recipe solver, which knows every key and every fault.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from ratio_solver.dish.constraints import Limit
from ratio_solver.errors import one_line
from ratio_solver.foods.heat import FULL, LOSES_FAT, as_weighed
from ratio_solver.foods.nutrients import WEIGHT
from ratio_solver.foods.sizes import MOST_INGREDIENTS
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.menu.column_table import ColumnTable, first_alike
from ratio_solver.menu.columns import MenuColumns, is_number, target_span, target_value
from ratio_solver.recipe.model import BATCH, Recipe
from ratio_solver.recipe.reader import SPANS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Texts = NDArray[np.object_]

PLAIN_KEYS = ("food", "grams", "min", "max", "label", "part", "yield", "keep", "step", "piece")
"""Ingredient keys that arrays can express; a cell under any other leaves the recipe to the per-recipe solver."""

PLAIN_OF_RECIPE = ("servings", "title", "note")
"""The same of the recipe, targets left out."""

NUMBERS = ("grams", "min", "max", "keep", "yield", "step", "piece", "servings")
"""Columns that are numbers."""

NANO = 10**9
"""Weights are whole numbers of 1e-9 g: the digits that `solve` gives."""


Ways = tuple[tuple[int, ...], ...]
"""Ways to choose: of each the places of the ingredients that it leaves out."""

OF_INGREDIENTS = ("food", "labels", "start", "low", "high", "keep", "yield_", "step")
OF_RECIPES = ("names", "plain", "servings")
OF_FILES = ("groups", "recipes", "ways")


@dataclass(frozen=True)
class MenuArrays:
    """Recipes 0 to count - 1, at least one, their ingredients one after the other.

    Attributes
    ----------
    count : int
    first : ndarray of int, shape (recipes + 1,)
        Row of each recipe's first ingredient, and the number of rows.
    owner : ndarray of int, shape (rows,)
    names : ndarray of str, shape (recipes,)
    plain : ndarray of bool, shape (recipes,)
        Whether everything about the recipe is expressed here.
    servings : ndarray, shape (recipes,)
    food : ndarray of int, shape (rows,)
        Place in the composition table, -1 where it is none; of recipes that are solved, in their `FoodArrays`.
    labels : ndarray of str, shape (rows,)
    start, low, high : ndarray, shape (rows,)
        g; low and high are NaN for a fixed ingredient.
    keep, yield_, step : ndarray, shape (rows,)
        Step or piece, NaN where neither is said.
    targets : dict of (nutrient, end) to ndarray, shape (recipes,)
        NaN where a recipe has no such target.
    groups : tuple of tuple of Limit, one per recipe
        Limits on parts and proportions, and choices; none where no recipe has any.
    recipes : tuple of Recipe
        Where each was a recipe file; else none.
    ways : tuple of Ways, one per recipe that was a file
        How the choices of each can be made.
    """

    count: int
    first: Ints
    owner: Ints
    names: Texts
    plain: Bools
    servings: Floats
    food: Ints
    labels: Texts
    start: Floats
    low: Floats
    high: Floats
    keep: Floats
    yield_: Floats
    step: Floats
    targets: dict[tuple[str, str], Floats]
    groups: tuple[tuple[Limit, ...], ...] = ()
    recipes: tuple[Recipe, ...] = ()
    ways: tuple[Ways, ...] = ()

    @cached_property
    def adjustable(self) -> Bools:
        """Ingredients whose weight may change, shape (rows,)."""
        return ~np.isnan(self.high)

    @cached_property
    def nth(self) -> Ints:
        """Which of its recipe's adjustable ingredients each is, from 0, in listing order."""
        before: Ints = np.cumsum(self.adjustable) - self.adjustable
        return np.asarray(before - before[self.first[:-1]][self.owner])

    @cached_property
    def moving(self) -> Ints:
        """How many adjustable ingredients each recipe has."""
        return np.bincount(self.owner[self.adjustable], minlength=self.count)

    @cached_property
    def targeted(self) -> dict[str, Bools]:
        """Which recipes have a target on what, shape (recipes,) each, in the order of their limits."""
        found: dict[str, Bools] = {nutrient: np.zeros(self.count, dtype=bool) for nutrient, _ in self.targets}
        for (nutrient, _), bounds in self.targets.items():
            found[nutrient] |= ~np.isnan(bounds)
        return found

    def laid(self, figures: Floats | Ints | Bools) -> Floats:
        """Figures of the adjustable ingredients, a row for each recipe; 0 after its last."""
        found = np.zeros((self.count, int(self.moving.max())))
        found[self.owner[self.adjustable], self.nth[self.adjustable]] = figures[self.adjustable]
        return found

    def sum(self, figures: Floats) -> Floats:
        """Sums over the ingredients of each recipe."""
        return np.asarray(np.add.reduceat(figures, self.first[:-1]))

    def any(self, flags: Bools) -> Bools:
        """Recipes of which at least one ingredient is flagged."""
        return np.asarray(np.logical_or.reduceat(flags, self.first[:-1]))

    def items(self, recipe: int) -> range:
        """Rows of a recipe's ingredients."""
        return range(int(self.first[recipe]), int(self.first[recipe + 1]))

    def rows_of(self, recipes: Ints) -> Ints:
        """The rows of the ingredients of some recipes, one after the other."""
        return ranges(self.first[recipes], np.diff(self.first)[recipes])

    def taken(self, recipes: Ints) -> MenuArrays:
        """Some of the recipes, in this order; one may come several times."""
        rows, sizes = self.rows_of(recipes), np.diff(self.first)[recipes]
        kept = {name: getattr(self, name)[rows] for name in OF_INGREDIENTS}
        kept |= {name: getattr(self, name)[recipes] for name in OF_RECIPES}
        kept |= {name: tuple(each[recipe] for recipe in recipes) for name in OF_FILES if (each := getattr(self, name))}
        return replace(self, count=len(sizes), first=np.concatenate(([0], np.cumsum(sizes))),
                       owner=np.repeat(np.arange(len(sizes)), sizes),
                       targets={key: bounds[recipes] for key, bounds in self.targets.items()}, **kept)


def ranges(first: Ints, sizes: Ints) -> Ints:
    """Ranges of whole numbers, from their firsts and sizes, one after the other."""
    return np.arange(sizes.sum()) + np.repeat(first - np.cumsum(sizes) + sizes, sizes)


def joined(table: ColumnTable, columns: MenuColumns, foods: FoodTable, decimal_comma: bool = False) -> MenuArrays:
    """Arrays of a menu in long form.

    Parameters
    ----------
    table : ColumnTable
        A row an ingredient, at least one; the rows of a recipe stand together, and a blank name goes on with the
        recipe above.
    """
    cells = _MenuCells(table, decimal_comma)
    names, named = cells.texts("recipe")
    codes = first_alike(names.tolist())[0]
    above = codes[np.maximum.accumulate(np.where(named, np.arange(len(codes)), 0))]
    begins = named & (codes != np.concatenate(([-1], above[:-1])))
    begins[0] = True
    owner, heads = np.cumsum(begins) - 1, np.flatnonzero(begins)
    first = np.append(heads, len(table))
    good = np.ones(len(table), dtype=bool)

    food: Ints = cells.mapped("food", lambda cell: _place_of_food(foods, cell), -1, np.int64)
    labels, said = cells.texts("label")
    labels = np.where(said, labels, cells.mapped("food", lambda cell: _name_of_food(foods, cell), "", object))
    start, low, high, keep, yield_, step, piece, servings = (cells.numbers(key, good, SPANS[key]) for key in NUMBERS)
    targets = {key: cells.numbers(column, good, target_span(key[0]), key[0], columns.units.get(column, 1))
               for key, column in columns.targets.items()}
    adjustable = ~np.isnan(high)
    good &= (food >= 0) & ~np.isnan(start) & (adjustable == ~np.isnan(low)) & ~(low > high)
    good &= np.isnan(piece) | (adjustable & np.isnan(step))  # of a fixed one it must be said that it is no whole piece
    good &= _only_divided(yield_, food, foods) & _unlike(labels, *cells.texts("part"), owner)
    for key in columns.ingredient:
        if key not in PLAIN_KEYS:
            good &= ~cells.texts(key)[1]

    plain = (np.diff(first) <= MOST_INGREDIENTS) & named[heads] & np.logical_and.reduceat(good, heads)
    servings = servings[heads]
    plain &= np.logical_or.reduceat(adjustable, heads) & (servings == np.round(servings))
    for column in columns.of_recipe:
        plain &= cells.said_once(column, heads, owner)
    for column in columns.recipe:
        if column not in ("recipe", *PLAIN_OF_RECIPE):
            plain &= ~cells.texts(column)[1][heads]
    targets = {key: bounds[heads] for key, bounds in targets.items()}
    for (nutrient, _), bounds in targets.items():
        if nutrient == WEIGHT:  # as weighed: the rows divide by the yield what was there before
            plain &= np.isnan(bounds) | ~np.logical_or.reduceat(~np.isnan(yield_) & (yield_ != 1), heads)
    for nutrient, end in targets:
        if end == "min" and (nutrient, "max") in targets:
            plain &= ~(targets[nutrient, "min"] > targets[nutrient, "max"])
    return MenuArrays(
        len(heads), first, owner, names[heads], plain, servings, food, labels, start, low, high,
        np.where(np.isnan(keep), 1.0, keep), np.where(np.isnan(yield_), 1.0, yield_),
        np.where(np.isnan(piece), step, piece), targets,
    )


def _place_of_food(foods: FoodTable, cell: object) -> int:
    """Where the food of a cell stands in its table; -1 where it is none."""
    place = foods.place(cell) if isinstance(cell, str) else None
    return -1 if place is None else place


def _name_of_food(foods: FoodTable, cell: object) -> str:
    """The table's name of the food of a cell."""
    place = _place_of_food(foods, cell)
    return "" if place < 0 else foods.foods[place].name


class _MenuCells:
    """Columns of a menu as text or as numbers; each distinct cell is looked at once."""

    def __init__(self, table: ColumnTable, decimal_comma: bool) -> None:
        self.table, self.decimal_comma = table, decimal_comma

    def mapped(self, column: str, look_up: Callable[[Any], object], missing: object, kind: object) -> Any:
        """Each cell looked up; `missing` where there is none, and for a column that is not there."""
        found = np.full(len(self.table), missing, dtype=kind)  # type: ignore[call-overload]
        if column not in self.table.columns:
            return found
        places, distinct = first_alike(self.table[column].tolist())
        for cell, place in distinct.items():
            if cell is not None:
                found[place] = look_up(cell)
        return found[places]

    def texts(self, column: str) -> tuple[Texts, Bools]:
        """Cells as text with single spaces, and where there is any."""
        found = self.mapped(column, lambda cell: one_line(str(cell)), "", object)
        return found, found != ""

    def numbers(self, column: str, good: Bools, span: tuple[float, float, bool], nutrient: str = "",
                unit: int = 1) -> Floats:
        """Cells as numbers, of a target on a nutrient or the ratio where one is named; NaN where blank.

        `good` is cleared in place where they are none within the span.
        """

        def number(cell: object) -> float:
            value = target_value(nutrient, cell, self.decimal_comma, unit)
            if value is None:
                return np.nan
            return float(value) if is_number(value, *span) else np.inf

        found: Floats = self.mapped(column, number, np.nan, float)
        good &= ~np.isinf(found)
        return found

    def said_once(self, column: str, heads: Ints, owner: Ints) -> Bools:
        """Whether a recipe's later rows say nothing, or the same as its first."""
        texts, said = self.texts(column)
        codes = first_alike(texts.tolist())[0]
        return ~np.logical_or.reduceat(said & (codes != codes[heads][owner]), heads)


def _only_divided(yield_: Floats, food: Ints, foods: FoodTable) -> Bools:
    """Whether a yield does no more than divide: heat takes no fat along, and 100 g hold what would be in them."""
    divided = ~np.isnan(yield_) & (yield_ != 1) & (food >= 0)
    least = np.zeros(len(foods))
    for place in np.unique(food[divided]):
        item = foods.foods[place]
        least[place] = np.inf if item.role in LOSES_FAT else as_weighed(item, 1) / FULL
    return np.asarray(~divided | (yield_ > least[food]))


def _unlike(labels: Texts, parts: Texts, said: Bools, owner: Ints) -> Bools:
    """Whether a label is neither another one's of its recipe nor a part's, nor "batch"."""
    places, distinct = first_alike([*labels.tolist(), *parts.tolist(), BATCH])
    lower = np.zeros(len(places), dtype=np.int64)
    lower[list(distinct.values())] = first_alike([text.lower() for text in distinct])[0]
    codes = lower[places]
    label, part = np.split(np.concatenate((owner, owner)) * len(codes) + codes[:-1], 2)
    _, place, times = np.unique(label, return_inverse=True, return_counts=True)
    return np.asarray((times[place] == 1) & ~np.isin(label, part[said]) & (codes[:len(labels)] != codes[-1]))
