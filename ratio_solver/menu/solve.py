"""A whole menu: many recipes solved together, each with the answer it has alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ratio_solver.dish.confidence import Confidence, confidence_of
from ratio_solver.errors import BadInput, NotProven, one_line, unforeseen
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.sizes import MOST_INGREDIENTS
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.lp.stack import Bools
from ratio_solver.menu.arrays import MenuArrays, joined, selected
from ratio_solver.menu.changes import Changes, changed_menu
from ratio_solver.menu.columns import BY_FILE, MenuColumns, menu_columns
from ratio_solver.menu.food_arrays import FoodArrays
from ratio_solver.menu.moves import gram_costs
from ratio_solver.menu.one_recipe import BadRecipe, Problem, cell_text, located, recipe_of_rows
from ratio_solver.menu.results import LIMITS, PROBLEMS, WEIGHTS, MenuTables, serving_columns, tables
from ratio_solver.menu.rows import rows_of
from ratio_solver.menu.single import RowData, single_rows
from ratio_solver.menu.stacked import STACKED, solved
from ratio_solver.menu.steps import on_steps
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.targets import with_energy
from ratio_solver.solving.solve import solve

AGAIN = "expected another name: a recipe of this name stands further up, and its rows must stand together"

ON_STEPS = ("closest",)
"""Preferences for which weights on the steps are found by arrays; the others take the single path."""


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
    """

    prefer: str = "closest"
    guaranteed: Guaranteed = None
    exact: bool = False
    decimal_comma: bool = False
    folder: str = ""
    changed: Changes = ()
    energy: str | None = None
    confidence: float | Confidence | None = None


DEFAULT = MenuOptions()


@dataclass
class _Rows:
    """Rows of the single path, with the number of the recipe that each belongs to."""

    weights: list[tuple[int, RowData]] = field(default_factory=list)
    servings: list[tuple[int, RowData]] = field(default_factory=list)
    limits: list[tuple[int, RowData]] = field(default_factory=list)
    problems: list[tuple[int, RowData]] = field(default_factory=list)


@dataclass(frozen=True)
class _Asked:
    """A menu and everything it is solved with."""

    frame: pd.DataFrame
    lines: np.ndarray
    columns: MenuColumns
    foods: FoodTable
    options: MenuOptions
    odd: Mapping[int, str]
    refused: Mapping[str, str]


def solve_menu(
    frame: pd.DataFrame, foods: FoodTable | None = None, options: MenuOptions = DEFAULT, *,
    odd: Mapping[int, str] = {}, refused: Mapping[str, str] = {},
) -> MenuTables:
    """Solve every recipe of a menu.

    Parameters
    ----------
    frame : DataFrame
        The columns of a menu (see the README), text or numbers. The index is taken for the line of each row.
    foods : FoodTable, optional
        The bundled table unless given.
    options : MenuOptions
    odd : mapping of int to str
        Lines that are wrong as such, and how.
    refused : mapping of str to str
        Recipes that are not to be solved, and why.

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
    table = foods if foods is not None else _bundled()
    lines = frame.index.to_numpy() if frame.index.name == "line" else np.arange(2, len(frame) + 2)
    columns = menu_columns([str(name) for name in frame.columns], table.columns)
    if options.changed:
        frame, columns = changed_menu(frame, columns, options.changed, options.decimal_comma)
    asked = _Asked(frame, lines, columns, table, options, odd, refused)
    if not len(frame):
        return _together([], _Rows(), table)
    return _by_file(asked) if columns.form == BY_FILE else _long(asked)


def _long(asked: _Asked) -> MenuTables:
    """A menu with a row an ingredient: what a stack settles, and the rest by the single path."""
    menu = joined(asked.frame, asked.columns, asked.foods, asked.options.decimal_comma)
    repeated = pd.Series(menu.names).duplicated(keep="first").to_numpy() & (menu.names != "")
    plain = menu.plain & ~repeated & ~_touched(menu, asked)
    done, settled = _stacked_or_none(menu, plain, asked)
    rows = _Rows()
    for number in np.flatnonzero(~settled):
        place = slice(int(menu.first[number]), int(menu.first[number + 1]))
        _single(int(number), str(menu.names[number]), place, asked, rows, again=bool(repeated[number]))
    return _together([done] if done else [], rows, asked.foods)


def _by_file(asked: _Asked) -> MenuTables:
    """A menu with a row a recipe file, each by the single path; a name that comes again gets its line."""
    rows = _Rows()
    seen = set(asked.refused)
    unnamed = replace(asked, refused={})
    for number, name in enumerate(_file_names(asked.frame, asked.columns)):
        distinct = f"{name} (line {asked.lines[number]})" if name in seen else name
        seen.add(name)
        _single(number, distinct, slice(number, number + 1), unnamed, rows)
    return _together([], rows, asked.foods)


def solve_frame(frame: pd.DataFrame, foods: FoodTable | None = None,
                options: MenuOptions = DEFAULT) -> pd.DataFrame:
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
    found = solve_menu(frame, foods, options)
    weights = found.weights.assign(outcome="solved", message="")
    impossible = found.servings[found.servings["outcome"] != "solved"][["recipe", "outcome", "message"]]
    unreadable = found.problems.groupby(level=0).first()[["recipe", "message"]].assign(outcome="unreadable") \
        if len(found.problems) else found.problems[["recipe", "message"]].assign(outcome="")
    whole = pd.concat([weights, impossible, unreadable]).sort_index(kind="stable")
    return whole[[*WEIGHTS, "outcome", "message"]].reset_index(drop=True)


@lru_cache(maxsize=1)
def _bundled_once() -> FoodTable:
    return load_foods()


def _bundled() -> FoodTable:
    return _bundled_once()


_LAST: list[FoodArrays] = []


def arrays_of(foods: FoodTable) -> FoodArrays:
    """Arrays of a table; those of the table used last are kept."""
    if not _LAST or _LAST[0].foods is not foods:
        _LAST[:] = [FoodArrays(foods)]
    return _LAST[0]


def _touched(menu: MenuArrays, asked: _Asked) -> Bools:
    """Recipes with a line that is wrong as such, or that are refused."""
    touched = np.zeros(menu.count, dtype=bool)
    if asked.odd:
        touched[menu.owner[np.isin(asked.lines, list(asked.odd))]] = True
    if asked.refused:
        touched |= np.isin(menu.names.astype(str), list(asked.refused))
    return touched


def _stacked_or_none(menu: MenuArrays, plain: Bools, asked: _Asked) -> tuple[MenuTables | None, Bools]:
    """What a stack settles; nothing where one of its recipes breaks it, so that the single path finds out which."""
    try:
        return _stacked(menu, plain, arrays_of(asked.foods), asked.options)
    except Exception:  # whatever it is, the single path meets it again where it is one recipe's
        return None, np.zeros(menu.count, dtype=bool)


def _stacked(menu: MenuArrays, plain: Bools, foods: FoodArrays,
             options: MenuOptions) -> tuple[MenuTables | None, Bools]:
    """Tables of the recipes that a stack settles, and which these are."""
    settled = np.zeros(menu.count, dtype=bool)
    if options.confidence or options.prefer not in (STACKED if options.exact else ON_STEPS) or not plain.any():
        return None, settled
    part = selected(menu, plain)
    policy = Policy() if options.energy is None else Policy(energy=options.energy)
    rows = rows_of(part, foods, policy, options.guaranteed)
    found = solved(part, rows, foods, policy, options.prefer)
    if not options.exact:
        nano, open_ = on_steps(part, rows, found)
        found = replace(found, nano=nano, open=open_)
    costs = None if options.prefer == "closest" else gram_costs(part, foods, policy, options.prefer, zero=True)
    numbers = np.flatnonzero(plain)
    done, open_ = tables(part, rows, found, foods, policy, options.prefer, options.guaranteed, numbers, costs,
                         float(TOLERANCE) if options.exact else 0.0)
    settled[numbers[~open_]] = True
    return done, settled


def _file_names(frame: pd.DataFrame, columns: MenuColumns) -> list[str]:
    """Names of the recipes of a menu by file: their own, else that of the file."""
    files = [Path(str(cell)).stem for cell in frame["file"]]
    if "recipe" not in columns.recipe:
        return files
    return [one_line(cell) if isinstance(cell, str) and cell.strip() else one_line(file)
            for cell, file in zip(frame["recipe"], files, strict=True)]


def _single(number: int, name: str, place: slice, asked: _Asked, rows: _Rows, again: bool = False) -> None:
    """One recipe by the single path: its rows of the tables, or its problems."""
    lines = [int(line) for line in asked.lines[place]]
    try:
        weights, serving, limits = _answer(name, lines, place, asked, again)
    except BadRecipe as bad:
        rows.problems += [(number, vars(problem)) for problem in bad.problems]
        return
    except BadInput as bad:
        found = located(bad.faults, name, lines, asked.columns, _file(asked, place))
        rows.problems += [(number, vars(problem)) for problem in found]
        return
    except Exception as error:  # not proven; or, as a last resort, whatever one recipe meets: the others are solved
        told = str(error) if isinstance(error, NotProven) else unforeseen(error)
        rows.problems.append((number, vars(Problem(lines[0], name, "", "", told, _file(asked, place)))))
        return
    rows.weights += [(number, row) for row in weights]
    rows.servings.append((number, serving))
    rows.limits += [(number, row) for row in limits]


def _file(asked: _Asked, place: slice) -> str:
    """The recipe file that a row names, empty for a menu in long form."""
    return cell_text(asked.frame["file"].iloc[place.start]) if asked.columns.form == BY_FILE else ""


def _answer(name: str, lines: Sequence[int], place: slice, asked: _Asked,
            again: bool) -> tuple[list[RowData], RowData, list[RowData]]:
    """Rows of the tables for one recipe."""
    options = asked.options
    recipe = _read(name, lines, place, asked, again)
    answer = solve(recipe, options.prefer, guaranteed=options.guaranteed, exact=options.exact,
                   confidence=options.confidence)
    return single_rows(name, answer, asked.foods)


def _read(name: str, lines: Sequence[int], place: slice, asked: _Asked, again: bool) -> Recipe:
    wrong = [Problem(line, name, "", "", asked.odd[line]) for line in lines if line in asked.odd]
    if not name:
        wrong.append(Problem(lines[0], name, "recipe", "", "expected the name of a recipe"))
    if again or name in asked.refused:
        wrong.append(Problem(lines[0], name, "recipe", name, asked.refused.get(name, AGAIN)))
    if len(lines) > MOST_INGREDIENTS:
        wrong.append(Problem(lines[MOST_INGREDIENTS], name, "food", "",
                             f"expected at most {MOST_INGREDIENTS:,} ingredients in a recipe; there are more"))
    if wrong:
        raise BadRecipe(wrong)
    cells: list[dict[Any, object]] = asked.frame.iloc[place].to_dict("records")
    recipe = recipe_of_rows(name, lines, cells, asked.columns, asked.foods, asked.options.decimal_comma,
                            Path(asked.options.folder))
    return with_energy(recipe, asked.options.energy)


def _together(done: list[MenuTables], rows: _Rows, foods: FoodTable) -> MenuTables:
    """Tables of both paths in the order of the menu."""
    names = {"weights": WEIGHTS, "servings": serving_columns(foods), "limits": LIMITS, "problems": PROBLEMS}
    frames = {}
    for key, columns in names.items():
        single: list[tuple[int, RowData]] = getattr(rows, key)
        parts = [getattr(table, key) for table in done if len(getattr(table, key))]
        if single or not parts:
            data = {name: np.array([row.get(name) for _, row in single] or [], dtype=object) for name in columns}
            parts.append(pd.DataFrame(data, index=pd.Index([number for number, _ in single], dtype=np.int64)))
        if len(parts) == 1:
            frames[key] = parts[0]
        else:
            mixed = pd.concat([part.astype(object) for part in parts])
            frames[key] = mixed.sort_index(kind="stable")
    return MenuTables(**frames)
