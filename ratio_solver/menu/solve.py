"""A whole menu: many recipes solved together, each with the answer it has alone."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar

import numpy as np

from ratio_solver.dish.confidence import Confidence, confidence_of
from ratio_solver.errors import BadInput, NotProven, unforeseen
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.sizes import MOST_INGREDIENTS
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.lp.model import Bools, Ints
from ratio_solver.menu.array_tables import Solved
from ratio_solver.menu.arrays import MenuArrays, joined
from ratio_solver.menu.by_file import arrays_of_recipes, solved_together
from ratio_solver.menu.choices import best_dishes, dishes_of
from ratio_solver.menu.column_table import ColumnTable, first_alike, table_of_frame
from ratio_solver.menu.columns import Changes, MenuColumns, changed_menu, menu_columns
from ratio_solver.menu.conflicts import Conflict, conflicts_of
from ratio_solver.menu.first_changes import first_changes
from ratio_solver.menu.kept_arrays import arrays_of
from ratio_solver.menu.one_recipe import Problem, RecipeRows
from ratio_solver.menu.read import Opened, name_of_file
from ratio_solver.menu.results import TABLE_NAMES, MenuTables, Numbered, merged, rows_of_answer, table_columns
from ratio_solver.menu.rows import FoodArrays, rows_of
from ratio_solver.menu.stacked import solved
from ratio_solver.menu.steps import nano_on_steps
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import read_recipe
from ratio_solver.recipe.targets import with_energy
from ratio_solver.solving.infeasible.without_weights import answer_known_impossible, without_weights
from ratio_solver.solving.result import Answer, Diagnosis
from ratio_solver.solving.solve import solve

if TYPE_CHECKING:
    import pandas as pd

StepResult = TypeVar("StepResult")

NAMED_BEFORE = "expected another name: a recipe of this name stands further up, and its rows must stand together"

Diagnose = Literal["none", "first", "full"]


@dataclass(frozen=True)
class MenuOptions:
    """How a menu is solved.

    Attributes
    ----------
    prefer : str
        As in `solve`.
    guaranteed : {"mean", "food"}, optional
        As in `solve`.
    exact : bool
        As in `solve`.
    confidence : float or Confidence, optional
        As in `solve`; each recipe then is solved by itself.
    decimal_comma : bool
        Whether text cells have a comma as decimal sign.
    folder : str
        Where names of recipe files start from.
    changed : tuple of (nutrient, "min" or "max", amount or None)
        Ends of targets that are put in place of those of every recipe; None takes an end away from the recipes
        where the other end, as given here, is past it.
    energy : str or None
        Whence energy, in place of the policy of every recipe.
    diagnose : {"none", "first", "full"}
        What is said of an impossible recipe: that there are no weights; which limits are in conflict and the most
        modest change that cures; or every change that does by itself.
    time_limit : float or None
        As in `solve`, for each recipe.
    """

    prefer: str = "closest"
    guaranteed: Guaranteed = None
    exact: bool = False
    decimal_comma: bool = False
    folder: str = ""
    changed: Changes = ()
    energy: str | None = None
    confidence: float | Confidence | None = None
    diagnose: Diagnose = "first"
    time_limit: float | None = None

    def of_menu(self, menu: Opened) -> MenuOptions:
        """The same for the menu of a file: its decimal sign, and unless said its folder for names of recipe files."""
        return replace(self, decimal_comma=menu.delimiter == ";",
                       folder=self.folder or str(Path(menu.source).absolute().parent))


NO_OPTIONS = MenuOptions()


def solve_menu(frame: pd.DataFrame, foods: FoodTable | None = None, options: MenuOptions = NO_OPTIONS) -> MenuTables:
    """Solve every recipe of a menu.

    Parameters
    ----------
    frame : DataFrame
        The columns of a menu (see the README), text or numbers. The index is taken for the line of each row.
    foods : FoodTable, optional
        The bundled table unless given.
    options : MenuOptions

    Returns
    -------
    MenuTables
        In the order of the menu. What is wrong with a recipe is in `problems`; the others are solved.

    Raises
    ------
    BadInput
        Where the columns are not those of a menu.

    Examples
    --------
    >>> import pandas as pd
    >>> from ratio_solver import solve_menu
    >>> found = solve_menu(pd.read_csv("examples/week-menu.csv"))
    >>> found.servings["outcome"].unique().tolist()
    ['solved', 'impossible']
    """
    confidence_of(options.confidence, options.guaranteed)
    table = foods if foods is not None else _usual_foods()
    menu_columns([str(name) for name in frame.columns], table.columns)
    return solve_table(table_of_frame(frame), table, options)


def solve_table(menu: ColumnTable, foods: FoodTable, options: MenuOptions, odd: Mapping[int, str] = {},
                refused: Mapping[str, str] = {}) -> MenuTables:
    """`solve_menu` of rows by their lines.

    Parameters
    ----------
    menu : ColumnTable
    foods : FoodTable
    options : MenuOptions
    odd : mapping of int to str
        Lines that are wrong as such, and how.
    refused : mapping of str to str
        Recipes that are not to be solved, and why.
    """
    confidence_of(options.confidence, options.guaranteed)
    columns = menu_columns(list(menu.columns), foods.columns)
    if options.changed:
        menu, columns = changed_menu(menu, columns, options.changed, options.decimal_comma)
    asked = _Menu(menu, columns, foods, options, odd, refused, {name: [] for name in TABLE_NAMES})
    if not len(menu):
        return merged(foods, (), asked.rows)
    return asked.of_files() if columns.by_file else asked.of_ingredients()


def solve_frame(frame: pd.DataFrame, foods: FoodTable | None = None,
                options: MenuOptions = NO_OPTIONS) -> pd.DataFrame:
    """Weights of every recipe of a menu, one frame in and one frame out.

    The function is pure and can be pickled, so that partitions of a menu may be mapped over processes or
    machines; a partition holds whole recipes.

    Parameters
    ----------
    frame : DataFrame
        The columns of a menu, as in `solve_menu`.
    foods : FoodTable, optional
        The bundled table unless given.
    options : MenuOptions

    Returns
    -------
    DataFrame
        A row per ingredient of the solved recipes, with ``outcome`` and ``message``; of every other recipe one
        row that says why it has no weights.

    Raises
    ------
    BadInput
        Where the columns are not those of a menu.

    Examples
    --------
    >>> import pandas as pd
    >>> from ratio_solver import solve_frame
    >>> solve_frame(pd.read_csv("examples/week-menu.csv"))["outcome"].unique().tolist()
    ['solved', 'impossible']
    """
    import pandas as pd

    table = foods if foods is not None else _usual_foods()
    found = solve_menu(frame, table, options)
    weights = found.weights.assign(outcome="solved", message="")
    impossible = found.servings[found.servings["outcome"] != "solved"][["recipe", "outcome", "message"]]
    unreadable = found.problems.groupby(level=0).first()[["recipe", "message"]].assign(outcome="unreadable") \
        if len(found.problems) else found.problems[["recipe", "message"]].assign(outcome="")
    whole = pd.concat([weights, impossible, unreadable]).sort_index(kind="stable")
    return whole[[*table_columns(table)["weights"], "outcome", "message"]].reset_index(drop=True)


@lru_cache(maxsize=1)
def _usual_foods() -> FoodTable:
    return load_foods()


def _given_up(error: Exception) -> None:
    """Warn that the arrays met a defect: the recipes still have their answers, but slowly."""
    warnings.warn(f"recipes are solved one by one: {unforeseen(error)}", RuntimeWarning, stacklevel=3)


@dataclass(frozen=True)
class _Menu:
    """A menu, everything it is solved with, the rows that are written one by one, and of which the arrays told why."""

    table: ColumnTable
    columns: MenuColumns
    foods: FoodTable
    options: MenuOptions
    odd: Mapping[int, str]
    refused: Mapping[str, str]
    rows: Numbered
    told: set[int] = field(default_factory=set)

    def of_ingredients(self) -> MenuTables:
        """A menu with a row an ingredient: what a stack settles, and the rest by the per-recipe solver."""
        menu = joined(self.table, self.columns, self.foods, self.options.decimal_comma)
        repeated = (first_alike(menu.names.tolist())[0] < np.arange(menu.count)) & (menu.names != "")
        refused = [name in self.refused for name in menu.names]
        plain = menu.plain & ~repeated & ~np.array(refused) & ~menu.any(np.isin(self.table.index, list(self.odd)))
        done: dict[str, ColumnTable] = {}
        settled, why = np.zeros(menu.count, dtype=bool), dict[int, Conflict]()
        if plain.any():
            try:
                part = menu.taken(np.flatnonzero(plain))
                places = np.unique(part.food)
                foods = arrays_of(self.foods, [self.foods.foods[place] for place in places],
                                  Policy(energy=self.options.energy or "table"), self.options.guaranteed)
                food = np.array([foods.place[id(self.foods.foods[place])] for place in places])
                done, settled[plain], why = self.stacked(
                    replace(part, food=food[np.searchsorted(places, part.food)]), foods, np.flatnonzero(plain))
            except Exception as error:  # the per-recipe solver meets it again where it is one recipe's
                _given_up(error)
                settled[:] = False
        for number in np.flatnonzero(~settled):
            refusal = NAMED_BEFORE if repeated[number] else self.refused.get(menu.names[number], "")
            self.solve_recipe(int(number), str(menu.names[number]), menu.items(int(number)), refusal,
                              why.get(int(number)))
        return merged(self.foods, [done], self.rows, self.told)

    def of_files(self) -> MenuTables:
        """A menu with a row a recipe file; a name that comes again gets its line.

        Recipes of one policy are solved together, and the rest by the per-recipe solver. A file is read once.
        """
        own = self.table["recipe"] if "recipe" in self.columns.recipe else [None] * len(self.table)
        names = [name_of_file({"recipe": recipe, "file": file})
                 for recipe, file in zip(own, self.table["file"], strict=True)]
        seen, read = set(self.refused), cache(lambda path: read_recipe(path, self.foods))
        recipes: dict[int, tuple[str, Recipe]] = {}
        for number, name in enumerate(names):
            distinct = f"{name} (line {self.table.index[number]})" if name in seen else name
            seen.add(name)
            rows = self._rows_of(distinct, range(number, number + 1))
            recipe = self._guarded(number, rows, partial(self._read, rows, "", read))
            if recipe is not None:
                recipes[number] = distinct, recipe
        whole = {number: recipe for number, (_, recipe) in recipes.items()}
        done, why = list[dict[str, ColumnTable]](), dict[int, Conflict]()
        for some in solved_together(whole, self.options.guaranteed):
            members, together = some.members, [recipes[number] for number in some.members]
            eaten = [item.food for _, recipe in together for item in recipe.ingredients]
            foods = arrays_of(self.foods, eaten, some.policy, self.options.guaranteed)
            try:
                part = arrays_of_recipes(together, some.order, foods)
                tables, settled, conflicts = self.stacked(part, foods, np.array(members))
            except Exception as error:  # the per-recipe solver meets it again where it is one recipe's
                _given_up(error)
                continue
            done.append(tables)
            why |= conflicts
            for number in np.array(members)[settled]:
                del recipes[number]
        for number, (name, recipe) in recipes.items():
            rows = self._rows_of(name, range(number, number + 1))
            self._guarded(number, rows, partial(self._answered, number, rows, recipe, why.get(number)))
        return merged(self.foods, done, self.rows, self.told, whole.values())

    def stacked(self, part: MenuArrays, foods: FoodArrays,
                numbers: Ints) -> tuple[dict[str, ColumnTable], Bools, dict[int, Conflict]]:
        """Tables of the recipes that a stack settles, which these are, and why others have no weights."""
        options = self.options
        if options.confidence:
            return {}, np.zeros(part.count, dtype=bool), {}
        rows = rows_of(part, foods)
        dishes, recipe = dishes_of(rows)
        found = solved(dishes, foods, options.prefer)
        missed = np.bincount(recipe[~found.missed], minlength=part.count) == 0
        why = {} if options.diagnose == "full" else conflicts_of(rows, missed, options.diagnose == "first")
        why = first_changes(rows, why, foods, not options.exact)
        least = found.least
        if len(recipe) > part.count:
            none = np.zeros(len(recipe), dtype=bool)
            none[list(conflicts_of(dishes, found.missed & ~missed[recipe], named=False))] = True
            found = best_dishes(dishes, recipe, found, none)
        if not options.exact:
            nano, left = nano_on_steps(dishes, recipe, ~found.open, foods, options.prefer, least)
            found = replace(found, nano=nano, open=left)
        tolerance = float(TOLERANCE) if options.exact else 0.0
        settled, conflicts = ~found.open, {int(numbers[recipe]): conflict for recipe, conflict in why.items()}
        if not settled.any():
            return {}, settled, conflicts
        some = np.flatnonzero(settled)
        done, open_ = Solved(rows.taken(some), found.taken(some, rows), foods, options.prefer,
                             tolerance).tables(numbers[some])
        settled[some[open_]] = False
        return done, settled, conflicts

    def solve_recipe(self, number: int, name: str, place: range, refused: str = "",
                     why: Conflict | None = None) -> None:
        """One recipe by the per-recipe solver: its rows of the tables, or its problems."""
        rows = self._rows_of(name, place)

        def answer() -> None:
            recipe = self._read(rows, refused)
            if recipe is not None:
                self._answered(number, rows, recipe, why)

        self._guarded(number, rows, answer)

    def _rows_of(self, name: str, place: range) -> RecipeRows:
        rows = slice(place.start, place.stop)
        lines, cells = self.table.index[rows].tolist(), self.table.records(rows)
        return RecipeRows(name, lines, cells, self.columns, self.options.decimal_comma)

    def _guarded(self, number: int, rows: RecipeRows, do: Callable[[], StepResult]) -> StepResult | None:
        """What a step for one recipe comes to; what is wrong with the recipe then, or was before, are its problems."""
        found = None
        try:
            found = do()
        except BadInput as bad:
            rows.problems.extend(rows.located(fault, cells=False) for fault in bad.faults)
        except Exception as error:  # not proven; or, as a last resort, whatever one recipe meets: the others are solved
            why = str(error) if isinstance(error, NotProven) else unforeseen(error)
            rows.problems.append(Problem(rows.lines[0], rows.name, "", "", why, rows.file))
        self.rows["problems"].extend((number, vars(problem)) for problem in rows.problems)
        return found

    def _read(self, rows: RecipeRows, refused: str,
              read: Callable[[Path], Recipe] | None = None) -> Recipe | None:
        """The recipe that rows are, held to what the menu's options say; None where it has problems."""
        name, lines = rows.name, rows.lines
        rows.problems.extend(Problem(line, name, "", "", self.odd[line]) for line in lines if line in self.odd)
        if not name:
            rows.problems.append(Problem(lines[0], name, "recipe", "", "expected the name of a recipe"))
        if refused:
            rows.problems.append(Problem(lines[0], name, "recipe", name, refused))
        if len(lines) > MOST_INGREDIENTS:
            rows.problems.append(Problem(lines[MOST_INGREDIENTS], name, "food", "", f"expected at most "
                                         f"{MOST_INGREDIENTS:,} ingredients in a recipe; there are more"))
        recipe = None if rows.problems else rows.recipe(self.foods, Path(self.options.folder), read)
        return None if recipe is None else with_energy(recipe, self.options.energy)

    def _answered(self, number: int, rows: RecipeRows, recipe: Recipe, why: Conflict | None) -> None:
        """The rows of the tables for one recipe by the per-recipe solver."""
        options = self.options
        answer: Answer
        if why is None:
            answer = solve(recipe, options.prefer, guaranteed=options.guaranteed, exact=options.exact,
                           confidence=options.confidence, ranges=False, time_limit=options.time_limit)
        elif why.members and why.first is None:
            answer = answer_known_impossible(
                recipe, options.prefer, list(zip(why.members, why.least, strict=True)), guaranteed=options.guaranteed,
                exact=options.exact, time_limit=options.time_limit)
        else:
            self.told.add(number)
            first = () if why.first is None else (why.first,)
            answer = without_weights(recipe, options.prefer, Diagnosis(why.limits, repairs=first, proven=True),
                                     options.guaranteed)
        for table, more in rows_of_answer(rows.name, answer, self.foods, options.diagnose).items():
            self.rows[table].extend((number, row) for row in more)
