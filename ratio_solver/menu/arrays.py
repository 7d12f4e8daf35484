"""From the rows of a menu to arrays: joins with the composition table, no loop over ingredients.

A column of cells becomes numbers by parsing each distinct text once. A recipe for which anything is unusual or
wrong is not `plain`: it is left to the reader of single recipes, which knows every key and every fault.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ratio_solver.errors import one_line
from ratio_solver.foods.food import Food
from ratio_solver.foods.heat import FULL, as_weighed
from ratio_solver.foods.sizes import MOST_INGREDIENTS, sensible
from ratio_solver.foods.table import FoodTable
from ratio_solver.foods.yields import LOSES_FAT
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints
from ratio_solver.menu.columns import MenuColumns
from ratio_solver.menu.one_recipe import menu_number
from ratio_solver.recipe.model import BATCH, RATIO
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.recipe.targets import HIGHEST_AMOUNT, HIGHEST_RATIO, ratio_value

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Texts = NDArray[np.object_]

PLAIN_KEYS = ("food", "grams", "min", "max", "label", "part", "yield", "keep", "step")
"""Ingredient keys that arrays can express; a cell under any other leaves the recipe to the single path."""


@dataclass(frozen=True)
class MenuArrays:
    """Recipes 0 to count - 1, their ingredients one after the other.

    Attributes
    ----------
    count : int
    names : ndarray of str, shape (recipes,)
    first : ndarray of int, shape (recipes + 1,)
        Row of each recipe's first ingredient, and the number of rows.
    owner : ndarray of int, shape (rows,)
    plain : ndarray of bool, shape (recipes,)
        Whether everything about the recipe is expressed here.
    servings : ndarray, shape (recipes,)
    food : ndarray of int, shape (rows,)
        Place in the composition table, -1 where it is none.
    labels : ndarray of str, shape (rows,)
    start, low, high : ndarray, shape (rows,)
        g; low and high are NaN for a fixed ingredient.
    keep, yield_, step : ndarray, shape (rows,)
        Step NaN where not said.
    targets : dict of (nutrient, end) to ndarray, shape (recipes,)
        NaN where a recipe has no such target.
    """

    count: int
    names: Texts
    first: Ints
    owner: Ints
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


def joined(frame: pd.DataFrame, columns: MenuColumns, foods: FoodTable, decimal_comma: bool = False) -> MenuArrays:
    """Arrays of a menu in long form.

    Parameters
    ----------
    frame : DataFrame
        A row an ingredient; the rows of a recipe stand together, and a blank name goes on with the recipe above.
    """
    cells = _Cells(frame, decimal_comma)
    names, named = cells.texts("recipe")
    codes = pd.factorize(names)[0]
    begins = named & (codes != np.concatenate(([-1], _filled(codes, named)[:-1])))
    if len(begins):
        begins[0] = True
    owner = np.cumsum(begins) - 1
    first = np.append(np.flatnonzero(begins), len(frame)).astype(np.int64)
    count = len(first) - 1
    good = np.ones(len(frame), dtype=bool)

    food, known = _foods(cells, foods)
    good &= known
    labels = _labels(cells, food, foods)
    start, low, high = (cells.numbers(key, 0.0, HEAVIEST, good) for key in ("grams", "min", "max"))
    adjustable = ~np.isnan(high)
    good &= ~np.isnan(start) & (adjustable == ~np.isnan(low)) & ~(low > high)
    keep = cells.numbers("keep", 0.001, 1000.0, good)
    yield_ = cells.numbers("yield", 0.0, 20.0, good, above=True)
    good &= _only_divided(yield_, food, foods)
    step = cells.numbers("step", 0.0, 10_000.0, good, above=True)
    for key in columns.ingredient:
        if key not in PLAIN_KEYS:
            good &= ~cells.texts(key)[1]
    good &= _distinct(labels, owner) & _apart(labels, cells, owner)

    heads = np.flatnonzero(begins)
    plain = np.diff(first) <= MOST_INGREDIENTS
    if count:
        plain &= named[heads]
        plain &= np.logical_and.reduceat(good, heads)
        plain &= np.logical_or.reduceat(adjustable, heads)
    servings = cells.numbers("servings", 1.0, 100_000.0, good)[heads]
    plain &= np.isfinite(servings) & (servings == np.round(servings))
    for column in columns.of_recipe:
        if column != "recipe":
            plain &= cells.said_once(column, heads, owner, count)
        if column not in ("recipe", "servings", "title", "note", *columns.targets.values()):
            plain &= ~cells.texts(column)[1][heads]
    targets = {}
    for (nutrient, end), column in columns.targets.items():
        ok = np.ones(len(frame), dtype=bool)
        most = HIGHEST_RATIO if nutrient == RATIO else HIGHEST_AMOUNT
        targets[nutrient, end] = cells.numbers(column, 0.0, most, ok, above=nutrient == RATIO,
                                               otherwise=ratio_value if nutrient == RATIO else None)[heads]
        plain &= ok[heads]
    for nutrient in dict.fromkeys(nutrient for nutrient, _ in targets):
        if (nutrient, "min") in targets and (nutrient, "max") in targets:
            plain &= ~(targets[nutrient, "min"] > targets[nutrient, "max"])
    return MenuArrays(
        count, names[heads], first, owner, plain, servings, food, labels, start, low, high,
        np.where(np.isnan(keep), 1.0, keep), np.where(np.isnan(yield_), 1.0, yield_), step, targets,
    )


def selected(menu: MenuArrays, chosen: Bools) -> MenuArrays:
    """The chosen recipes alone, in the same order."""
    rows = chosen[menu.owner]
    sizes = np.diff(menu.first)[chosen]
    return MenuArrays(
        int(chosen.sum()), menu.names[chosen], np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
        np.repeat(np.arange(len(sizes)), sizes), menu.plain[chosen], menu.servings[chosen], menu.food[rows],
        menu.labels[rows], menu.start[rows], menu.low[rows], menu.high[rows], menu.keep[rows], menu.yield_[rows],
        menu.step[rows], {key: bounds[chosen] for key, bounds in menu.targets.items()},
    )


class _Cells:
    """Columns of a frame as text or as numbers; each distinct cell is looked at once."""

    def __init__(self, frame: pd.DataFrame, decimal_comma: bool) -> None:
        self.frame, self.decimal_comma = frame, decimal_comma

    def coded(self, column: str) -> tuple[Ints, Texts]:
        """Codes and the distinct cells; -1 for missing ones and for columns that are not there."""
        if column not in self.frame.columns:
            return np.full(len(self.frame), -1), np.empty(0, dtype=object)
        codes, distinct = pd.factorize(self.frame[column].to_numpy())
        return codes.astype(np.int64), np.asarray(distinct, dtype=object)

    def mapped(self, column: str, look_up: Callable[[object], object], missing: object, kind: object) -> Any:
        """Each cell looked up."""
        codes, distinct = self.coded(column)
        found = np.empty(len(distinct) + 1, dtype=kind)  # type: ignore[call-overload]
        for place, cell in enumerate(distinct):
            found[place] = look_up(cell)
        found[-1] = missing
        return found[codes]

    def texts(self, column: str) -> tuple[Texts, Bools]:
        """Cells as text with single spaces, and where there is any."""
        found = self.mapped(column, lambda cell: one_line(str(cell)), "", object)
        return found, found != ""

    def numbers(self, column: str, least: float, most: float, good: Bools, *, above: bool = False,
                otherwise: Callable[[str], float | None] | None = None) -> Floats:
        """Cells as numbers within [least, most], NaN where blank; `good` is cleared in place where they are none."""

        def value(cell: object) -> float:
            if isinstance(cell, str):
                if not cell.strip():
                    return np.nan
                found = menu_number(cell, self.decimal_comma)
                if found is None and otherwise is not None:
                    found = otherwise(cell)
            else:
                found = _plain(cell)
            inside = found is not None and least <= found <= most and not (above and found == least) \
                and sensible(found)
            return found if found is not None and inside else np.inf

        found: Floats = self.mapped(column, value, np.nan, float)
        good &= ~np.isinf(found)
        return found

    def said_once(self, column: str, heads: Ints, owner: Ints, count: int) -> Bools:
        """Whether a recipe's later rows say nothing, or the same as its first."""
        texts, said = self.texts(column)
        codes = pd.factorize(texts)[0]
        differs = said & (codes != codes[heads][owner])
        return np.asarray(np.bincount(owner[differs], minlength=count) == 0)


def _plain(cell: object) -> float | None:
    """A number of a data frame as a double, None where it is none or too large for one."""
    if isinstance(cell, bool) or not isinstance(cell, int | float | np.integer | np.floating):
        return None
    try:
        return float(cell)
    except OverflowError:
        return None


def _filled(codes: Ints, named: Bools) -> Ints:
    """Codes with blanks taken from the row above."""
    places = np.maximum.accumulate(np.where(named, np.arange(len(codes)), 0))
    return codes[places]


def _foods(cells: _Cells, foods: FoodTable) -> tuple[Ints, Bools]:
    places = {id(food): place for place, food in enumerate(foods)}

    def look_up(cell: object) -> int:
        food: Food | None = foods.get(cell) if isinstance(cell, str) else None
        return -1 if food is None else places[id(food)]

    found: Ints = cells.mapped("food", look_up, -1, np.int64)
    return found, found >= 0


def _only_divided(yield_: Floats, food: Ints, foods: FoodTable) -> Bools:
    """Whether a yield does no more than divide: heat takes no fat along, and 100 g hold what would be in them."""
    divided = ~np.isnan(yield_) & (yield_ != 1) & (food >= 0)
    least = np.zeros(len(foods))
    for place in np.unique(food[divided]):
        item = foods.foods[place]
        least[place] = np.inf if item.role in LOSES_FAT else as_weighed(item, 1) / FULL
    return np.asarray(~divided | (yield_ > least[food]))


def _labels(cells: _Cells, food: Ints, foods: FoodTable) -> Texts:
    names = np.empty(len(foods) + 1, dtype=object)
    names[:-1] = [item.name for item in foods]
    names[-1] = ""
    labels, said = cells.texts("label")
    return np.where(said, labels, names[food])


def _distinct(labels: Texts, owner: Ints) -> Bools:
    """Whether no other row of the recipe has the label."""
    codes, distinct = pd.factorize(labels)
    lower = pd.factorize(np.array([str(text).lower() for text in distinct], dtype=object))[0]
    return ~pd.Series(owner * (len(distinct) + 1) + lower[codes]).duplicated(keep=False).to_numpy()


def _apart(labels: Texts, cells: _Cells, owner: Ints) -> Bools:
    """Whether the label is neither "batch" nor the name of a part of the recipe."""
    parts, said = cells.texts("part")
    codes, distinct = pd.factorize(np.concatenate((labels, parts)))
    lower, names = pd.factorize(np.array([str(text).lower() for text in distinct], dtype=object))
    both = lower[codes]
    keys = np.concatenate((owner, owner)) * (len(names) + 1) + both
    batch = names.tolist().index(BATCH) if BATCH in names.tolist() else -1
    taken = keys[len(labels):][said]
    return np.asarray(~np.isin(keys[: len(labels)], taken) & (both[: len(labels)] != batch))
