"""What the weights of many recipes amount to: the rows of a menu's tables, by arrays.

Every figure is the exact value rounded once, to `TABLE_DECIMALS`. The arrays hold doubles; where a double's error
leaves the last digit open the figure is computed in rationals, or the recipe is left open, for the per-recipe solver.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import SHORT, STRONG_FROM
from ratio_solver.dish.constraints import EMPTY, LESS, MORE
from ratio_solver.dish.most import ALMOST
from ratio_solver.dish.nutrition import LEADING, NEVER_ABSENT, WHOLLY_KNOWN
from ratio_solver.dish.status import RATIO_MET, limited_quantity
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.levels import LEVELS
from ratio_solver.foods.nutrients import ALCOHOL, FAT, FIBRE, NET_CARBS, PROTEIN
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.quantities import RATIO, quantity_of
from ratio_solver.lp.bounded_vertices import SUM_ROUNDING, UNIT
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.menu.arrays import NANO, MenuArrays
from ratio_solver.menu.column_table import ColumnTable
from ratio_solver.menu.moves import exact_cost, exact_largest, gram_costs, relative_moves
from ratio_solver.menu.results import (
    TABLE_DECIMALS,
    allergens_cell,
    fact_columns,
    reckoned,
    table_columns,
    table_figure,
)
from ratio_solver.menu.rows import FoodArrays, MenuRows, exact_total, exact_weights
from ratio_solver.menu.stacked import MenuSolution
from ratio_solver.recipe.model import Ingredient, Recipe, Target
from ratio_solver.solving.formulation import OBJECTIVE_UNITS

MICRO = 10**TABLE_DECIMALS

Columns = dict[str, np.ndarray]


def table_figures(values: Floats, error: Floats) -> tuple[Floats, Bools]:
    """Many figures as the tables give them, and where the error leaves the last digit open."""
    scaled = values * MICRO
    whole = np.rint(scaled)
    unsure = np.abs(np.abs(scaled - whole) - 0.5) <= (error + 4 * UNIT * np.abs(values)) * MICRO
    return whole / MICRO + 0.0, unsure


def quotient(above: Ints, below: Ints | int) -> Floats:
    """Figures that are quotients of whole numbers, exactly rounded (half to even)."""
    scaled_down, rest = np.divmod(above, below)
    twice = 2 * rest
    up = (twice > below) | ((twice == below) & (scaled_down % 2 == 1))
    return np.asarray((scaled_down + up) / MICRO + 0.0)


def _listed(flagged: Iterable[tuple[str, Bools]], count: int) -> np.ndarray:
    """Names, each in the cells of the recipes that are flagged for it."""
    cells = np.full(count, "", dtype=object)
    for name, flags in flagged:
        cells[flags] = [f"{text}; {name}" if text else name for text in cells[flags]]
    return cells


@dataclass(frozen=True)
class Solved:
    """A menu that is solved, and what its tables are made with.

    Attributes
    ----------
    rows : MenuRows
    found : MenuSolution
    foods : FoodArrays
    prefer : str
    tolerance : float
        How near counts as at a bound or a limit; 0 for weights on the steps.
    """

    rows: MenuRows
    found: MenuSolution
    foods: FoodArrays
    prefer: str
    tolerance: float

    @property
    def menu(self) -> MenuArrays:
        """The recipes."""
        return self.rows.menu

    @cached_property
    def grams(self) -> Floats:
        """Weights in g, shape (rows,): fixed ones as they were written, to any decimals."""
        return np.where(self.menu.adjustable, self.found.nano / NANO, self.menu.start)

    @cached_property
    def finer(self) -> Ints:
        """Weights that have more decimals than nanograms tell: rationals tell what is shown of them."""
        return np.flatnonzero(self.grams != self.found.nano / NANO)

    def tables(self, numbers: Ints) -> tuple[dict[str, ColumnTable], Bools]:
        """Tables of the recipes by their numbers in the menu, and those of which a digit is open: they are left out."""
        limits, open_ = self._limits()
        servings, doubtful = self._servings(limits["binding"])
        open_ |= doubtful
        columns, tables = table_columns(self.foods.table), {}
        for name, table, owner in (("weights", self._weights(), self.menu.owner),
                                   ("servings", servings, np.arange(self.menu.count)),
                                   ("limits", limits, self.rows.owner)):
            kept = ~open_[owner]
            tables[name] = ColumnTable(numbers[owner[kept]],
                                       {column: table[column][kept] for column in columns[name]})
        return tables, open_

    def _weights(self) -> Columns:
        menu, weights = self.menu, self.grams
        at = np.full(len(weights), "fixed", dtype=object)
        at[menu.adjustable] = ""
        at[self._within_tolerance(menu.high, -1)] = "max"
        at[self._within_tolerance(menu.low, 1)] = "min"
        names = np.array([food.name for food in self.foods.foods], dtype=object)
        shown = quotient(self.found.nano, NANO // MICRO)
        for item in self.finer:
            shown[item] = table_figure(exact(float(menu.start[item])))
        return {"recipe": menu.names[menu.owner], "ingredient": menu.labels, "food": names[menu.food],
                "start": menu.start, "grams": shown, "min": menu.low,
                "max": menu.high, "at": at}

    def _within_tolerance(self, bounds: Floats, side: int) -> Bools:
        """Weights that are at bounds, being above them (side 1) or below (-1); rationals tell where doubles cannot.

        On the steps both are the doubles next to whole nanograms, and the same where these are.
        """
        room = side * (self.grams - bounds)
        at = room <= self.tolerance
        unsure = (np.abs(room - self.tolerance) <= SUM_ROUNDING * bounds) & (self.tolerance > 0)
        for item in np.flatnonzero(unsure):
            exactly = Fraction(int(self.found.nano[item]), NANO) - exact(float(bounds[item]))
            at[item] = side * exactly <= TOLERANCE
        return np.asarray(at)

    def _limits(self) -> tuple[Columns, Bools]:
        """The limits, and the recipes of which a figure is open."""
        rows, found = self.rows, self.found
        w = self.grams[rows.ingredient]
        w = np.where(rows.of_choice[rows.row], w > 0, w)
        above, below = rows.total(rows.above * w), rows.total(rows.below * w) + rows.constant
        with np.errstate(divide="ignore", invalid="ignore"):
            actual = np.where(below > 0, above / below, np.nan)
        defined = ~np.isnan(actual)
        margin, tolerance = np.abs(above - rows.bound * below), self.tolerance * rows.largest(rows.value)
        binding = defined & (margin <= tolerance)
        unsure = defined & (np.abs(margin - tolerance) <= SUM_ROUNDING * (above + rows.bound * below))
        slack = rows.sign * (actual - rows.bound)
        shown_actual, open_actual = table_figures(actual, SUM_ROUNDING * actual)
        shown_slack, open_slack = table_figures(slack, SUM_ROUNDING * (actual + rows.bound))
        closely = ~binding & (open_actual | open_slack)
        if not self.tolerance:  # on the steps a limit binds where it is met to the last digit: rationals say so
            closely, unsure = closely | unsure, np.zeros(len(unsure), dtype=bool)
        for line in np.flatnonzero(closely).tolist():
            limit = rows.limit(line)
            exactly = limit.actual(exact_weights(self.menu, found.nano, int(rows.owner[line]))) or ZERO
            left = limit.slack(exactly)
            shown_actual[line], shown_slack[line] = table_figure(exactly), table_figure(left)
            binding[line] = not self.tolerance and left == 0
        for line, met in self._seen_from_the_other_end(binding, above, below) if self.tolerance else ():
            shown_actual[line], shown_slack[line] = table_figure(met), table_figure(rows.limit(line).slack(met))
        shown_price, open_price = table_figures(found.price, found.price_error)
        for line in np.flatnonzero(open_price).tolist():
            costs = found.exact_price(rows, line, self.foods)
            if costs is not None:  # of a price that `solve` tells the double next to it is shown
                shown_price[line], open_price[line] = table_figure(float(costs)), False
        priced = defined & ~rows.of_choice
        table = {
            "recipe": self.menu.names[rows.owner], "binding": binding,
            "name": rows.told("name"), "unit": rows.told("unit"), "kind": rows.told("kind"),
            "sense": np.where(rows.sign > 0, MORE, LESS).astype(object), "limit": rows.bound,
            "actual": np.where(binding, rows.bound, shown_actual), "slack": np.where(binding, 0.0, shown_slack),
            "price": np.where(priced, np.where(binding | (not self.tolerance), shown_price, 0.0), np.nan),
        }
        return table, rows.any(unsure | open_price)

    def _seen_from_the_other_end(self, binding: Bools, above: Floats, below: Floats) -> Iterator[tuple[int, Fraction]]:
        """Rows that do not bind, each with the bound at which another row on the very same quantity does."""
        rows = self.rows
        order = np.lexsort((below, above, rows.owner))
        alike = np.all([each[order][1:] == each[order][:-1] for each in (rows.owner, above, below)], axis=0)
        lines = np.unique(np.append(order[:-1][alike], order[1:][alike]))
        met = {(rows.owner[line], limited_quantity(rows.limit(line))): rows.limit(line).bound
               for line in lines[binding[lines]].tolist()}
        near = np.isin(rows.owner[lines], [recipe for recipe, _ in met])
        for line in lines[near & ~binding[lines]].tolist():
            seen = met.get((rows.owner[line], limited_quantity(rows.limit(line))))
            if seen is not None:
                yield line, seen

    def _servings(self, binding: Bools) -> tuple[Columns, Bools]:
        """The servings, and the recipes of which a figure is open."""
        menu = self.menu
        table: Columns = {"recipe": menu.names, "outcome": np.full(menu.count, "solved", dtype=object)}
        table["ratio"], table["caution"], open_ = self._ratio(binding)
        table |= self._facts()
        table["weight_g"] = quotient(np.add.reduceat(self.found.nano, menu.first[:-1]),
                                     menu.servings.astype(np.int64) * (NANO // MICRO))
        for recipe in np.unique(menu.owner[self.finer]).tolist():
            whole = sum(exact_weights(menu, self.found.nano, recipe), ZERO)
            table["weight_g"][recipe] = table_figure(whole / int(menu.servings[recipe]))
        table["objective"] = self._objective()
        table["proven"] = np.full(menu.count, True)
        for column, text in (("unit", OBJECTIVE_UNITS[self.prefer]), ("message", "")):
            table[column] = np.full(menu.count, text, dtype=object)
        table["reckoned"] = self._reckoned()
        table["allergens"], table["warnings"] = self._allergens(), self._warnings()
        return table, open_

    def _reckoned(self) -> np.ndarray:
        """How figures are reckoned: that of the policy, with what the targets of a recipe count beside it."""
        menu = self.menu
        told = [(key, has) for key, has in menu.targeted.items() if key != RATIO and quantity_of(key).reckoned]
        found = np.full(menu.count, reckoned(Recipe("", 1, (), policy=self.foods.policy)), dtype=object)
        for recipe in np.flatnonzero(np.any([has for _, has in told], axis=0)) if told else ():
            targets = tuple(Target(key) for key, has in told if has[recipe])
            found[recipe] = reckoned(Recipe("", 1, (), targets, self.foods.policy))
        return found

    def _ratio(self, binding: Bools) -> tuple[Floats, np.ndarray, Bools]:
        """The ratio reached, or the bound itself where that is binding and met; the caution; and what is open of it.

        The caution is that of `dish.cautions.cautions_for`: the stronger one, too, where fat : (protein + net carbs) is
        that of therapy, whatever formula the recipe has.
        """
        menu, rows, strong_from = self.menu, self.rows, float(STRONG_FROM)
        above, below = (menu.sum(each[menu.food] / menu.yield_ * self.grams) for each in self.foods.ratio)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(below > 0, above / below, np.nan)
        wanted, bound = np.zeros(menu.count), np.full(menu.count, np.nan)
        np.maximum.at(wanted, rows.owner[rows.of_ratio], rows.bound[rows.of_ratio])
        first = np.flatnonzero(rows.of_ratio & binding)[::-1]
        bound[rows.owner[first]] = rows.bound[first]
        met = np.abs(ratio - bound) < RATIO_MET
        shown, unsure = table_figures(np.where(met, bound, ratio), np.where(met, 0.0, SUM_ROUNDING * ratio))
        empty = (wanted > 0) & (above + below <= 2 * float(EMPTY))  # an empty dish is no answer
        strong = np.isnan(ratio) | (ratio >= strong_from) | (wanted >= strong_from)
        open_ = empty | (unsure & ~met) | (np.abs(ratio - strong_from) <= SUM_ROUNDING * 10)
        if self.foods.policy.ratio_formula != Policy.ratio_formula:
            fat, *rest = (menu.sum(self.foods.nutrient(column).doubles[menu.food] / menu.yield_ * self.grams)
                          for column in (FAT, PROTEIN, NET_CARBS))
            by_grams = fat - strong_from * sum(rest)
            strong |= by_grams >= 0
            open_ |= np.abs(by_grams) <= SUM_ROUNDING * (fat + strong_from * sum(rest))
        return shown, np.array(SHORT, dtype=object)[strong.astype(int)], open_

    def _facts(self) -> Columns:
        """Nutrients per serving, and of which of them a part is unknown."""
        menu, raw = self.menu, self.grams / self.menu.yield_
        table: Columns = {}
        partly: list[tuple[str, Bools]] = []
        for column in fact_columns(self.foods.table):
            given = self.foods.given(column)[menu.food]
            if column not in LEADING and not given.any():
                table[column] = np.full(menu.count, np.nan)
                continue
            nutrient = self.foods.nutrient(column)
            total = menu.sum(nutrient.doubles[menu.food] * raw) / menu.servings
            shown, unsure = table_figures(total, SUM_ROUNDING * total)
            for recipe in np.flatnonzero(unsure):
                amount = exact_total(menu, self.found.nano, int(recipe), nutrient.exact)
                shown[recipe] = table_figure(amount / int(menu.servings[recipe]))
            known = nutrient.known[menu.food]
            absent = np.zeros(menu.count, dtype=bool) if column in LEADING else ~menu.any(given)
            if not known.all():
                missing = menu.any(~known & (raw > 0))
                absent |= ~menu.any(known) & (column not in NEVER_ABSENT) | (missing & (column in WHOLLY_KNOWN))
                partly.append((column, missing & ~absent))
            table[column] = np.where(absent, np.nan, shown)
        return table | {"at_least": _listed(partly, menu.count)}

    def _objective(self) -> Floats:
        """The objective."""
        menu, weights = self.menu, self.grams
        if self.prefer == "even":
            largest = np.maximum.reduceat(relative_moves(menu, weights), menu.first[:-1])
            shown, unsure = table_figures(largest, SUM_ROUNDING * (1 + largest))
            for recipe in np.flatnonzero(unsure):
                shown[recipe] = table_figure(exact_largest(menu, self.found.nano, int(recipe)))
            return shown
        if self.prefer != "closest":
            total = menu.sum(np.nan_to_num(gram_costs(menu, self.foods, self.prefer)) * weights)
            shown, unsure = table_figures(total, SUM_ROUNDING * total)
            for recipe in np.flatnonzero(unsure):
                shown[recipe] = table_figure(
                    exact_cost(menu, self.foods, self.prefer, self.found.nano, int(recipe)))
            return shown
        keep = np.where(menu.adjustable, menu.keep, 0.0)
        shown, unsure = table_figures(menu.sum(keep * np.abs(weights - menu.start)),
                                      SUM_ROUNDING * menu.sum(keep * (weights + menu.start)))
        for recipe in np.flatnonzero(unsure):
            shown[recipe] = table_figure(sum((
                exact(float(keep[i])) * abs(Fraction(int(self.found.nano[i]), NANO) - exact(float(menu.start[i])))
                for i in menu.items(int(recipe)) if keep[i]), ZERO))
        return shown

    @cached_property
    def _unsaid(self) -> dict[int, list[str]]:
        """Labels of the used ingredients of whose allergens nobody has told all, by recipe."""
        menu = self.menu
        unsaid = (self.found.nano > 0) & self.foods.allergens_unknown[menu.food]
        return {int(recipe): [menu.labels[i] for i in menu.items(int(recipe)) if unsaid[i]]
                for recipe in np.flatnonzero(menu.any(unsaid))}

    def _allergens(self) -> np.ndarray:
        menu = self.menu
        names, has = self.foods.allergens
        used = has[menu.food] & (self.found.nano > 0)[:, None]
        there = np.logical_or.reduceat(used, menu.first[:-1], axis=0)
        found = _listed(zip(names, there.T, strict=True), menu.count)
        for recipe, labels in self._unsaid.items():
            found[recipe] = allergens_cell(filter(None, [found[recipe]]), labels)
        found[found == ""] = allergens_cell(())
        return found

    def _much(self) -> Bools:
        """Recipes of which a serving may hold more than the most of a food or a substance, shape (recipes,).

        A few that do not are among them: `notices.warnings` has the last word. Of foods with a most the shares that are
        used of it are added up, as if all were one food.
        """
        menu, foods, raw = self.menu, self.foods, self.grams / self.menu.yield_
        found = menu.sum(raw * foods.most_used[menu.food]) > menu.servings * ALMOST
        found |= menu.any((raw > 0) & foods.noted[menu.food])  # what to know of a food wherever it is eaten
        for level in LEVELS:
            found |= menu.sum(foods.held(level)[menu.food] * raw) > menu.servings * (ALMOST * float(level.most))
        return found

    def _warnings(self) -> np.ndarray:
        """Warnings; by `notices.warnings` for the recipes that have any but that of allergens that are not known."""
        menu, foods = self.menu, self.foods
        eaten = self.grams > 0
        alcohol = foods.nutrient(ALCOHOL).doubles[menu.food] > 0
        told = self._much() | menu.any(eaten & alcohol) | bool(foods.guaranteed)
        if menu.recipes:  # a recipe file may say more than arrays have
            weights = (exact_weights(menu, self.found.nano, recipe) for recipe in range(menu.count))
            return np.array([
                "; ".join(notices.warnings(recipe, grams, guaranteed=foods.guaranteed, eating=bool(of_serving)))
                for recipe, grams, of_serving in zip(menu.recipes, weights, told, strict=True)], dtype=object)
        used = eaten | menu.adjustable
        several = told | menu.any(used & ~foods.given(FIBRE)[menu.food])
        for nutrient, has in menu.targeted.items():
            for column in notices.told_columns(nutrient):
                several |= has & menu.any(used & ~foods.given(column)[menu.food])
        found = np.full(menu.count, "", dtype=object)
        for recipe, labels in self._unsaid.items():
            found[recipe] = notices.allergen_warning(labels)
        for recipe in map(int, np.flatnonzero(several)):
            found[recipe] = "; ".join(notices.warnings(
                self._dish(recipe), exact_weights(menu, self.found.nano, recipe), guaranteed=foods.guaranteed))
        return found

    def _dish(self, recipe: int) -> Recipe:
        """What warnings look at in a recipe: which foods, which of them adjustable, what targets are on."""
        menu = self.menu
        ends = {i: 0.0 if menu.adjustable[i] else None for i in menu.items(recipe)}
        ingredients = tuple(
            Ingredient(menu.labels[i], self.foods.foods[menu.food[i]], 0.0, end, end,
                       yield_=float(menu.yield_[i])) for i, end in ends.items())
        targets = tuple(Target(nutrient) for nutrient, has in menu.targeted.items() if has[recipe])
        return Recipe("", int(menu.servings[recipe]), ingredients, targets, self.foods.policy)
