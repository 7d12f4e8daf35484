"""What the weights of many recipes amount to: the columns of a menu's tables, by arrays."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import pandas as pd

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import STRONG_FROM
from ratio_solver.dish.constraints import EMPTY
from ratio_solver.dish.most import ALMOST
from ratio_solver.dish.nutrition import LEADING, WHOLLY_KNOWN
from ratio_solver.exact import exact
from ratio_solver.foods.ends import Guaranteed, kind_of, most
from ratio_solver.foods.levels import LEVELS
from ratio_solver.foods.nutrients import ALCOHOL, CARBS, ENERGY, NET_CARBS
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.figures import MICRO, allergens_cell, printed, printed_all, quotient
from ratio_solver.menu.food_arrays import FoodArrays
from ratio_solver.menu.moves import NANO
from ratio_solver.menu.rows import MenuRows
from ratio_solver.menu.stacked import MenuSolution
from ratio_solver.menu.states import NEAR, Sums, limits_table
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe, Target
from ratio_solver.solving.formulation import UNITS

WEIGHTS = ("recipe", "ingredient", "food", "start", "grams", "min", "max", "at")
LIMITS = ("recipe", "name", "kind", "sense", "limit", "actual", "slack", "unit", "binding", "price")
PROBLEMS = ("line", "recipe", "column", "value", "message", "file", "place")


def fact_columns(foods: FoodTable) -> tuple[str, ...]:
    """Nutrient columns of the facts, the leading ones first."""
    return tuple(dict.fromkeys([*LEADING, *foods.columns]))


def serving_columns(foods: FoodTable) -> tuple[str, ...]:
    """Columns of the servings table."""
    return ("recipe", "outcome", "ratio", *fact_columns(foods), "weight_g", "objective", "unit", "proven", "message",
            "at_least", "allergens", "warnings", "reckoned", "caution")


CAUTIONS = ("no medical advice", "no medical advice; 3:1 and above only under a physician and dietitian")
"""The usual caution and the stronger one for a cell; the whole of `dish.cautions` goes beside the tables."""


def reckoned(policy: Policy) -> str:
    """How figures are reckoned, for a cell; nothing where it is as usual."""
    return "" if policy == Policy() else policy.described()


@dataclass(frozen=True)
class MenuTables:
    """Rows of the tables; the index of each frame is the number of the recipe in the menu.

    Attributes
    ----------
    weights, servings, limits, problems : DataFrame
    """

    weights: pd.DataFrame
    servings: pd.DataFrame
    limits: pd.DataFrame
    problems: pd.DataFrame


def tables(menu: MenuArrays, rows: MenuRows, found: MenuSolution, foods: FoodArrays, policy: Policy, prefer: str,
           guaranteed: Guaranteed, numbers: Ints, costs: Floats | None, tolerance: float) -> tuple[MenuTables, Bools]:
    """Tables of the settled recipes, and the recipes for which a digit is left open.

    Parameters
    ----------
    numbers : ndarray of int, shape (recipes,)
        Number of each recipe in the menu.
    costs : ndarray, shape (rows,)
        Cost of 1 g, for a preference that has one.
    tolerance : float
        How near counts as at a bound or a limit; 0 for weights on the steps.
    """
    weights = found.nano / NANO
    servings, open_ = _servings(menu, rows, found, foods, policy, prefer, guaranteed, costs, weights)
    limits, doubtful = limits_table(menu, rows, found, foods, policy, weights, servings, tolerance)
    open_ |= doubtful | found.open
    parts = (_weights(menu, found, foods, weights, tolerance), servings, limits)
    owners = (menu.owner, np.arange(menu.count), rows.owner)
    frames = []
    for part, owner, names in zip(parts, owners, (WEIGHTS, serving_columns(foods.foods), LIMITS), strict=True):
        kept = ~open_[owner]
        frames.append(pd.DataFrame({name: part[name][kept] for name in names},
                                   index=numbers[owner[kept]], copy=False))
    return MenuTables(frames[0], frames[1], frames[2], pd.DataFrame(columns=list(PROBLEMS))), open_


def _weights(menu: MenuArrays, found: MenuSolution, foods: FoodArrays, weights: Floats,
             tolerance: float) -> dict[str, np.ndarray]:
    names = np.array([food.name for food in foods.foods], dtype=object)
    at = np.full(len(weights), "fixed", dtype=object)
    adjustable = ~np.isnan(menu.high)
    at[adjustable] = ""
    at[adjustable & (menu.high - weights <= tolerance)] = "max"
    at[adjustable & (weights - menu.low <= tolerance)] = "min"
    return {
        "recipe": menu.names[menu.owner], "ingredient": menu.labels, "food": names[menu.food], "start": menu.start,
        "grams": quotient(found.nano, np.full(len(weights), NANO // MICRO)), "min": menu.low, "max": menu.high,
        "at": at,
    }


def _servings(menu: MenuArrays, rows: MenuRows, found: MenuSolution, foods: FoodArrays, policy: Policy, prefer: str,
              guaranteed: Guaranteed, costs: Floats | None, weights: Floats) -> tuple[dict[str, np.ndarray], Bools]:
    open_ = np.zeros(menu.count, dtype=bool)
    by_recipe = Sums(menu, found.nano)
    table: dict[str, np.ndarray] = {
        "recipe": menu.names, "outcome": np.full(menu.count, "solved", dtype=object),
    }
    above = by_recipe.sum(foods.ratio(policy, True)[menu.food] / menu.yield_ * weights)
    below = by_recipe.sum(foods.ratio(policy, False)[menu.food] / menu.yield_ * weights)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(below > 0, above / below, np.nan)
    table["ratio"] = ratio
    asked = np.zeros(menu.count, dtype=bool)
    asked[rows.owner[np.array([c.nutrient == RATIO for c in rows.columns], dtype=bool)[rows.column]]] = True
    open_ |= asked & (above + below <= 2 * float(EMPTY))  # an empty dish is no answer
    partly: dict[str, Bools] = {}
    for column in fact_columns(foods.foods):
        if column not in LEADING and not foods.given(column)[menu.food].any():
            table[column] = np.full(menu.count, np.nan)
            continue
        unknown = np.isnan(foods.amounts(column, policy)[menu.food])
        total = by_recipe.sum(foods.least(column, policy)[menu.food] / menu.yield_ * weights) / menu.servings
        shown, unsure = printed_all(total, NEAR * total)
        for recipe in np.flatnonzero(unsure & (total > 0)):
            exactly = by_recipe.exactly(int(recipe), foods.exact_least(column, policy)) / int(menu.servings[recipe])
            shown[recipe] = printed(exactly)
        table[column] = shown
        if column not in LEADING:
            table[column] = np.where(by_recipe.any(foods.given(column)[menu.food] > 0), table[column], np.nan)
        if unknown.any():
            missing = by_recipe.any(unknown & (weights > 0))
            absent = by_recipe.all(unknown) & (column != CARBS)
            if column in WHOLLY_KNOWN:
                absent |= missing
            table[column] = np.where(absent, np.nan, table[column])
            partly[column] = missing & ~absent
    servings = menu.servings.astype(np.int64)
    table["weight_g"] = quotient(np.add.reduceat(found.nano, menu.first[:-1]), servings * (NANO // MICRO))
    table["objective"], unsure = _objective(menu, found, costs, by_recipe, weights)
    open_ |= unsure
    table["unit"] = np.full(menu.count, UNITS[prefer], dtype=object)
    table["proven"] = np.full(menu.count, True)
    table["message"] = np.full(menu.count, "", dtype=object)
    table["at_least"] = _at_least(partly, menu.count)
    table["allergens"] = _allergens(menu, foods, weights)
    table["warnings"] = _warnings(menu, rows, found, foods, policy, weights, guaranteed)
    table["reckoned"] = np.full(menu.count, reckoned(policy), dtype=object)
    wanted = np.zeros(menu.count)
    is_ratio = np.array([c.nutrient == RATIO for c in rows.columns], dtype=bool)[rows.column]
    np.maximum.at(wanted, rows.owner[is_ratio], rows.bound[is_ratio])
    # Stacked menus are reckoned by fat : (protein + net carbs), so this is what `notices.cautions` looks at too.
    strong = np.isnan(ratio) | (ratio >= float(STRONG_FROM)) | (wanted >= float(STRONG_FROM))
    open_ |= np.abs(ratio - float(STRONG_FROM)) <= NEAR * 10
    table["caution"] = np.array(CAUTIONS, dtype=object)[strong.astype(int)]
    return table, open_


def _objective(menu: MenuArrays, found: MenuSolution, costs: Floats | None, sums: Sums,
               weights: Floats) -> tuple[Floats, Bools]:
    """The objective, and where its last digit is open."""
    if costs is not None:
        total = sums.sum(costs * weights)
        shown, unsure = printed_all(total, NEAR * total)
        return shown, unsure & (total > 0)
    adjustable = ~np.isnan(menu.high)
    start = np.rint(menu.start * NANO).astype(np.int64)
    moved = np.where(adjustable, np.abs(found.nano - start), 0)
    exactly = sums.all(~adjustable | ((start / NANO == menu.start) & (menu.keep == 1)))
    whole = quotient(np.add.reduceat(moved, sums.starts), np.full(menu.count, NANO // MICRO))
    each = np.where(adjustable, menu.keep * np.abs(weights - menu.start), 0.0)
    shown, unsure = printed_all(sums.sum(each), NEAR * sums.sum(np.where(adjustable, menu.keep * (weights + menu.start),
                                                                         0.0)))
    for recipe in np.flatnonzero(unsure & ~exactly):
        items = range(int(menu.first[recipe]), int(menu.first[recipe + 1]))
        shown[recipe] = printed(sum((
            exact(float(menu.keep[i])) * abs(Fraction(int(found.nano[i]), NANO) - exact(float(menu.start[i])))
            for i in items if adjustable[i]), Fraction(0)))
    return np.where(exactly, whole, shown), np.zeros(menu.count, dtype=bool)


def _at_least(partly: dict[str, Bools], count: int) -> np.ndarray:
    found = np.full(count, "", dtype=object)
    for column, flags in partly.items():
        found[flags] = [f"{text}; {column}" if text else column for text in found[flags]]
    return found


def _allergens(menu: MenuArrays, foods: FoodArrays, weights: Floats) -> np.ndarray:
    has, names = foods.allergens()
    used = weights > 0
    unsaid = used & foods.allergens_unknown()[menu.food]
    there = np.logical_or.reduceat(has[menu.food] & used[:, None], menu.first[:-1], axis=0)
    some_unsaid = np.logical_or.reduceat(unsaid, menu.first[:-1])
    bits = np.packbits(np.column_stack((there, some_unsaid)), axis=1)  # never without a column
    _, sample, place = np.unique(bits, axis=0, return_index=True, return_inverse=True)
    known = [[name for name, is_there in zip(names, there[recipe], strict=True) if is_there] for recipe in sample]
    place = place.ravel()
    found = np.array([allergens_cell(said) for said in known], dtype=object)[place]
    for recipe in np.flatnonzero(some_unsaid):
        rows = np.arange(menu.first[recipe], menu.first[recipe + 1])
        found[recipe] = allergens_cell(known[place[recipe]], menu.labels[rows[unsaid[rows]]].tolist())
    return found


def _much(menu: MenuArrays, foods: FoodArrays, policy: Policy, weights: Floats, guaranteed: Guaranteed) -> Bools:
    """Recipes of which a serving may hold more than the most of a food or a substance, shape (recipes,).

    A few that do not are among them: `notices.warnings` has the last word. Of foods with a most the shares that are
    used of it are added up, as if all were one food.
    """
    raw = weights / menu.yield_
    share = np.where(weights > 0, raw * foods.most_used()[menu.food], 0.0)
    # Also where nothing is beyond: what to know of a food wherever it is eaten.
    found = np.logical_or.reduceat((weights > 0) & foods.noted()[menu.food], menu.first[:-1])
    found |= np.add.reduceat(share, menu.first[:-1]) > menu.servings * ALMOST
    for level in LEVELS:
        held = foods.of_level(level, policy, most(kind_of(guaranteed)))[menu.food]
        found |= np.add.reduceat(held * raw, menu.first[:-1]) > menu.servings * (ALMOST * float(level.most))
    return found


def _warnings(menu: MenuArrays, rows: MenuRows, solution: MenuSolution, foods: FoodArrays, policy: Policy,
              weights: Floats, guaranteed: Guaranteed) -> np.ndarray:
    """Warnings; by `notices.warnings` for the recipes that have any but that of allergens that are not known."""
    used = (weights > 0) | ~np.isnan(menu.high)
    flagged = used & (foods.given("fibre_g")[menu.food] == 0)
    flagged |= (weights > 0) & (foods.amounts(ALCOHOL, policy)[menu.food] > 0)
    if guaranteed:
        flagged |= used
    recipes = np.logical_or.reduceat(flagged, menu.first[:-1]) | _much(menu, foods, policy, weights, guaranteed)
    for place, column in enumerate(rows.columns):
        if column.nutrient not in (RATIO, "fibre_g", ENERGY, NET_CARBS, "carbs_g"):
            has = np.zeros(menu.count, dtype=bool)
            has[rows.owner[rows.column == place]] = True
            unknown = used & (foods.given(column.nutrient)[menu.food] == 0)
            recipes |= has & np.logical_or.reduceat(unknown, menu.first[:-1])
    found = np.full(menu.count, "", dtype=object)
    unsaid = (weights > 0) & foods.allergens_unknown()[menu.food]
    for number in np.flatnonzero(np.logical_or.reduceat(unsaid, menu.first[:-1]) & ~recipes):
        items_ = slice(menu.first[number], menu.first[number + 1])
        found[number] = notices.allergen_warning(menu.labels[items_][unsaid[items_]].tolist())
    for number in np.flatnonzero(recipes):
        items = range(menu.first[number], menu.first[number + 1])
        ends = [None if np.isnan(menu.high[i]) else 0.0 for i in items]
        ingredients = tuple(
            Ingredient(menu.labels[i], foods.foods.foods[menu.food[i]], 0.0, end, end, yield_=float(menu.yield_[i]))
            for i, end in zip(items, ends, strict=True))
        nutrients = dict.fromkeys(key for key, bounds in menu.targets.items() if not np.isnan(bounds[number]))
        recipe = Recipe("", int(menu.servings[number]), ingredients,
                        tuple(Target(name) for name in dict.fromkeys(n for n, _ in nutrients)), policy)
        exactly = [Fraction(int(solution.nano[i]), NANO) for i in items]
        said = notices.warnings(recipe, exactly, guaranteed=guaranteed)
        found[number] = "; ".join(said)
    return found


