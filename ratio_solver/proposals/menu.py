"""A whole menu: many recipes solved together, each with the answer it has alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from ratio_solver.faults import NotProven
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.linear.stack import Bools
from ratio_solver.proposals.menu_arrays import MenuArrays, joined, selected
from ratio_solver.proposals.menu_foods import FoodArrays
from ratio_solver.proposals.menu_limits import rows_of
from ratio_solver.proposals.menu_results import LIMITS, PROBLEMS, WEIGHTS, MenuTables, serving_columns, tables
from ratio_solver.proposals.menu_single import RowData, single_rows, unproven
from ratio_solver.proposals.menu_stack import STACKED, gram_costs, solved
from ratio_solver.proposals.propose import solve
from ratio_solver.recipes.menu_columns import BY_FILE, MenuColumns, menu_columns
from ratio_solver.recipes.menu_recipe import BadRecipe, Problem, recipe_of_rows
from ratio_solver.recipes.recipe import Recipe


@dataclass(frozen=True)
class MenuOptions:
    """How a menu is solved.

    Attributes
    ----------
    prefer : str
        As in `solve`.
    guaranteed : bool
        As in `solve`.
    decimal_comma : bool
        Whether text cells have a comma as decimal sign.
    folder : str
        Where names of recipe files start from.
    """

    prefer: str = "closest"
    guaranteed: bool = False
    decimal_comma: bool = False
    folder: str = ""


@dataclass
class _Rows:
    """Rows of the single path, with the number of the recipe that each belongs to."""

    weights: list[tuple[int, RowData]] = field(default_factory=list)
    servings: list[tuple[int, RowData]] = field(default_factory=list)
    limits: list[tuple[int, RowData]] = field(default_factory=list)
    problems: list[tuple[int, RowData]] = field(default_factory=list)


def solve_menu(
    frame: pd.DataFrame, foods: FoodTable | None = None, options: MenuOptions = MenuOptions(), *,
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
    """
    table = foods if foods is not None else _bundled()
    columns = menu_columns([str(name) for name in frame.columns], table.columns)
    if not len(frame):
        return _together([], _Rows(), table)
    lines = frame.index.to_numpy() if frame.index.name == "line" else np.arange(2, len(frame) + 2)
    if columns.form == BY_FILE:
        rows = _Rows()
        names = _file_names(frame, columns)
        for number in range(len(frame)):
            _single(number, names[number], frame, lines, slice(number, number + 1), columns, table, options, odd,
                    refused, rows)
        return _together([], rows, table)
    arrays = FoodArrays(table) if foods is not None and foods is not _bundled_once() else _bundled_arrays()
    menu = joined(frame, columns, table, options.decimal_comma)
    plain = menu.plain & ~_touched(menu, lines, odd, refused)
    done, settled = _stacked(menu, plain, arrays, options)
    rows = _Rows()
    for number in np.flatnonzero(~settled):
        place = slice(int(menu.first[number]), int(menu.first[number + 1]))
        _single(int(number), str(menu.names[number]), frame, lines, place, columns, table, options, odd, refused, rows)
    return _together([done] if done else [], rows, table)


def solve_frame(frame: pd.DataFrame, foods: FoodTable | None = None,
                options: MenuOptions = MenuOptions()) -> pd.DataFrame:
    """Weights of every recipe of a menu, one frame in and one frame out.

    The function is pure and can be pickled, so that partitions of a menu may be mapped over processes or
    machines; a partition holds whole recipes.

    Returns
    -------
    DataFrame
        A row per ingredient of the solved recipes, with ``outcome`` and ``message``; of every other recipe one
        row that says why it has no weights.
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


@lru_cache(maxsize=1)
def _bundled_arrays() -> FoodArrays:
    return FoodArrays(_bundled_once())


def _touched(menu: MenuArrays, lines: np.ndarray, odd: Mapping[int, str], refused: Mapping[str, str]) -> Bools:
    """Recipes with a line that is wrong as such, or that are refused."""
    touched = np.zeros(menu.count, dtype=bool)
    if odd:
        touched[menu.owner[np.isin(lines, list(odd))]] = True
    if refused:
        touched |= np.isin(menu.names.astype(str), list(refused))
    repeated = pd.Series(menu.names).duplicated(keep="first").to_numpy()
    return touched | repeated


def _stacked(menu: MenuArrays, plain: Bools, foods: FoodArrays, options: MenuOptions) -> tuple[MenuTables | None, Bools]:
    """Tables of the recipes that a stack settles, and which these are."""
    settled = np.zeros(menu.count, dtype=bool)
    if options.prefer not in STACKED or not plain.any():
        return None, settled
    part = selected(menu, plain)
    policy = Policy()
    rows = rows_of(part, foods, policy, options.guaranteed)
    found = solved(part, rows, foods, policy, options.prefer)
    costs = None if options.prefer == "closest" else gram_costs(part, foods, policy, options.prefer, zero=True)
    numbers = np.flatnonzero(plain)
    done, open_ = tables(part, rows, found, foods, policy, options.prefer, options.guaranteed, numbers, costs)
    settled[numbers[~open_]] = True
    return done, settled


def _file_names(frame: pd.DataFrame, columns: MenuColumns) -> list[str]:
    """Names of the recipes of a menu by file: their own, else that of the file."""
    files = [Path(str(cell)).stem for cell in frame["file"]]
    if "recipe" not in columns.recipe:
        return files
    return [" ".join(str(cell).split()) if isinstance(cell, str) and cell.strip() else file
            for cell, file in zip(frame["recipe"], files, strict=True)]


def _single(number: int, name: str, frame: pd.DataFrame, lines: np.ndarray, place: slice, columns: MenuColumns,
            foods: FoodTable, options: MenuOptions, odd: Mapping[int, str], refused: Mapping[str, str],
            rows: _Rows) -> None:
    """One recipe by the single path: its rows of the tables, or its problems."""
    part = frame.iloc[place]
    at = [int(line) for line in lines[place]]
    try:
        recipe = _read(name, at, part.to_dict("records"), columns, foods, options, odd, refused)
        answer = solve(recipe, options.prefer, guaranteed=options.guaranteed)
    except BadRecipe as bad:
        rows.problems += [(number, vars(problem)) for problem in bad.problems]
        return
    except NotProven as error:
        rows.problems.append((number, vars(unproven(name, at[0], error))))
        return
    weights, serving, limits = single_rows(name, answer, foods)
    rows.weights += [(number, row) for row in weights]
    rows.servings.append((number, serving))
    rows.limits += [(number, row) for row in limits]


def _read(name: str, lines: Sequence[int], cells: Sequence[Mapping[str, object]], columns: MenuColumns,
          foods: FoodTable, options: MenuOptions, odd: Mapping[int, str], refused: Mapping[str, str]) -> Recipe:
    wrong = [Problem(line, name, "", "", odd[line]) for line in lines if line in odd]
    if not name:
        wrong.append(Problem(lines[0], name, "recipe", "", "expected the name of a recipe"))
    if name in refused:
        wrong.append(Problem(lines[0], name, "recipe", name, refused[name]))
    if wrong:
        raise BadRecipe(wrong)
    return recipe_of_rows(name, lines, cells, columns, foods, options.decimal_comma, Path(options.folder))


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
