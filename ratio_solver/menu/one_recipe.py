"""One recipe of a menu: from its rows to a recipe, or to what is wrong with them, cell by cell."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ratio_solver.errors import LONGEST, BadInput, Fault, cut, one_line, shown
from ratio_solver.foods.csv_file import number
from ratio_solver.foods.sizes import sensible
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.columns import BARE, BY_FILE, LEFT_OUT, POLICY_KEYS, MenuColumns
from ratio_solver.recipe.change import with_servings
from ratio_solver.recipe.model import RATIO, Recipe, Target
from ratio_solver.recipe.read import read_recipe, recipe_from
from ratio_solver.recipe.targets import HIGHEST_AMOUNT, HIGHEST_RATIO, ratio_value, with_end

TEXT_KEYS = ("title", "note", "food", "label", "part", "measure", "prepared", "drippings", "ratio_formula",
             "policy_energy")
"""Keys whose cells stay text even where they look like a number."""

_INGREDIENT = re.compile(r"ingredients\[(\d+)\](?:\.(\w+))?")
_TARGET = re.compile(r"targets\.(.+?)(?:\.(min|max))?")

Cells = Mapping[str, object]


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a menu.

    Attributes
    ----------
    line : int
        Line of the file, the header being 1.
    recipe, column, value : str
        Where it stands and what it says; the column is empty where it is about a whole row.
    message : str
        What would have been right.
    file, place : str
        The recipe file that it is about, as the menu names it, and the key there; of a workbook the cell.
    """

    line: int
    recipe: str
    column: str
    value: str
    message: str
    file: str = ""
    place: str = ""


class BadRecipe(BadInput):
    """A recipe of a menu that cannot be used.

    Parameters
    ----------
    problems : sequence of Problem
        At least one.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(Fault(p.recipe, f"line {p.line}, {p.column}", p.value, p.message) for p in problems)


def menu_number(text: str, decimal_comma: bool) -> float | None:
    """A number of a menu's cell, or None.

    With decimal commas a text such as 1.500 is no number: it may mean 1500 or 1.5.

    >>> menu_number("1,5", True), menu_number("1.500", True), menu_number("1.500", False)
    (1.5, None, 1.5)
    """
    return number(text, decimal_comma)


def cell_value(key: str, cell: object, decimal_comma: bool) -> object:
    """A cell as the recipe file would have it: a number where it reads as one, else text; None where blank."""
    if cell is None or (isinstance(cell, float) and math.isnan(cell)):
        return None
    if not isinstance(cell, str):
        plain = cell.item() if hasattr(cell, "item") else cell
        return int(plain) if isinstance(plain, float) and plain.is_integer() else plain
    text = cell.strip()
    if not text or key in TEXT_KEYS:
        return text or None
    value = menu_number(text, decimal_comma)
    if value is None:
        return text
    return int(value) if value.is_integer() and abs(value) < 2**53 else value


def recipe_of_rows(
    name: str, lines: Sequence[int], rows: Sequence[Cells], columns: MenuColumns, foods: FoodTable,
    decimal_comma: bool = False, folder: Path | None = None,
) -> Recipe:
    """The recipe that some rows of a menu are.

    Parameters
    ----------
    name : str
    lines : sequence of int
        Line of each row.
    rows : sequence of mapping of column to cell
    folder : path
        Where names of recipe files start from.

    Raises
    ------
    BadRecipe
        With every problem, each at its line and column.
    """
    report = _Report(name, lines, rows, columns)
    head = _recipe_cells(rows, columns, decimal_comma, report)
    try:
        recipe = _by_file(head, columns, foods, folder or Path(), report) if columns.form == BY_FILE else \
            _long(name, head, rows, columns, foods, decimal_comma)
    except BadInput as bad:
        if isinstance(bad, BadRecipe):
            raise
        raise BadRecipe([*report.problems, *(report.located(fault) for fault in bad.faults)]) from bad
    if report.problems:
        raise BadRecipe(report.problems)
    return recipe


def located(faults: Sequence[Fault], name: str, lines: Sequence[int], columns: MenuColumns,
            file: str = "") -> list[Problem]:
    """Faults of a recipe as problems of the lines, and of the recipe file, that they come from."""
    report = _Report(name, lines, [{"file": file} for _ in lines], columns)
    return [report.located(fault) for fault in faults]


def cell_text(cell: object) -> str:
    """A cell as it stands in a problem: not too long, empty where it is blank."""
    if cell is None or cell != cell:
        return ""
    return cut(cell.strip() if isinstance(cell, str) else shown(cell, LONGEST))


class _Report:
    """Gathers what is wrong with one recipe, and knows where its cells stand."""

    def __init__(self, name: str, lines: Sequence[int], rows: Sequence[Cells], columns: MenuColumns) -> None:
        self.name, self.lines, self.rows, self.columns = name, lines, rows, columns
        self.problems: list[Problem] = []

    def add(self, place: int, column: str, message: str) -> None:
        self.problems.append(Problem(self.lines[place], self.name, column, cell_text(self.rows[place].get(column)),
                                     message))

    def located(self, fault: Fault) -> Problem:
        """A fault of the recipe file's reader as a problem of the row and column it comes from."""
        if self.columns.form == BY_FILE:
            return Problem(self.lines[0], self.name, "file", cut(fault.got), cut(fault.expected),
                           cell_text(self.rows[0].get("file")), cut(fault.place))
        place, column = self._where(fault.place)
        cell = cell_text(self.rows[place].get(column)) if column else ""
        return Problem(self.lines[place], self.name, column, cell or cut(fault.got), cut(fault.expected))

    def _where(self, place: str) -> tuple[int, str]:
        header = self.columns.header
        match = _INGREDIENT.match(place)
        if match:
            row = min(int(match[1]), len(self.rows)) - 1
            return row, match[2] if match[2] in header else "food" if "food" in header else ""
        match = _TARGET.fullmatch(place)
        if match:
            for (nutrient, end), column in self.columns.targets.items():
                if nutrient == match[1] and end == (match[2] or end):
                    return 0, column
        key = place.split(".")[-1].split("[")[0]
        return 0, next((name for name in (key, f"left_out_{key}", f"policy_{key}") if name in header and name), "")


def _recipe_cells(rows: Sequence[Cells], columns: MenuColumns, decimal_comma: bool,
                  report: _Report) -> dict[str, object]:
    """Cells that belong to the recipe: of its first row; a later one may only say the same."""
    head: dict[str, object] = {}
    for column in columns.of_recipe:
        if column == "recipe":
            continue
        first = cell_value(column, rows[0].get(column), decimal_comma)
        for place, row in enumerate(rows[1:], 1):
            later = cell_value(column, row.get(column), decimal_comma)
            if later is not None and later != first:
                report.add(place, column, "expected nothing, or the same as in the recipe's first row")
        if first is not None:
            head[column] = first
    return head


def _targets(head: Mapping[str, object], columns: MenuColumns) -> dict[str, dict[str, object]]:
    found: dict[str, dict[str, object]] = {}
    for (nutrient, end), column in columns.targets.items():
        if column in head:
            value = head[column]
            if nutrient == RATIO and isinstance(value, str):
                value = ratio_value(value) or value
            found.setdefault(nutrient, {})[end] = value
    return found


def _long(name: str, head: Mapping[str, object], rows: Sequence[Cells], columns: MenuColumns, foods: FoodTable,
          decimal_comma: bool) -> Recipe:
    targets: dict[str, object] = dict(_targets(head, columns))
    policy: dict[str, object] = {key: head[column] for column, key in POLICY_KEYS.items() if column in head}
    if isinstance(policy.get("unknown_as_zero"), str):
        names = str(policy["unknown_as_zero"]).replace(";", " ").replace(",", " ").split()
        policy["unknown_as_zero"] = names
    left_out = {key: head[f"left_out_{key}"] for key in LEFT_OUT if f"left_out_{key}" in head}
    if left_out:
        policy["left_out"] = left_out
    own = [column for column in columns.recipe if column != "recipe" and column not in POLICY_KEYS
           and not column.startswith("left_out_")]
    ingredients = [
        {key: value for key in columns.ingredient
         if (value := cell_value(key, row.get(key), decimal_comma)) is not None}
        for row in rows
    ]
    table: dict[str, object] = {"title": name, **{key: head[key] for key in own if key in head}}
    table |= {"targets": targets, "ingredients": ingredients}
    if policy:
        table["policy"] = policy
    return recipe_from(table, foods, name)


def _by_file(head: Mapping[str, object], columns: MenuColumns, foods: FoodTable, folder: Path,
             report: _Report) -> Recipe:
    file = head.get("file")
    if not isinstance(file, str):
        report.add(0, "file", "expected the name of a recipe file")
        raise BadRecipe(report.problems)
    recipe = read_recipe(folder / file, foods)
    servings = head.get("servings")
    if servings is not None:
        if isinstance(servings, int) and 1 <= servings <= 100_000:
            recipe = with_servings(recipe, servings)
        else:
            report.add(0, "servings", "expected the number of servings, a whole number from 1 to 100,000")
    changed = {target.nutrient: target for target in recipe.targets}
    for nutrient, ends in _targets(head, columns).items():
        highest = HIGHEST_RATIO if nutrient == RATIO else HIGHEST_AMOUNT
        own = changed.get(nutrient, Target(nutrient))
        for end, value in ends.items():
            good = isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= highest \
                and sensible(value)
            if not good or (nutrient == RATIO and value == 0):
                report.add(0, columns.column_of(nutrient, end), f"expected a number, 0 to {highest:,.0f}")
                continue
            if columns.column_of(nutrient, end) == BARE.get((nutrient, end)) and len(ends) == 1:
                own = with_end(own, end, float(value))  # type: ignore[arg-type]
            else:
                own = replace(own, **{f"{end}imum": float(value)})  # type: ignore[arg-type]
        if own.minimum is not None and own.maximum is not None and own.minimum > own.maximum:
            end = "min" if "min" in ends else "max"
            report.add(0, columns.column_of(nutrient, end),
                       f"expected a minimum of at most the maximum; they are {own.minimum:g} and {own.maximum:g}")
        changed[nutrient] = own
    if report.problems:
        raise BadRecipe(report.problems)
    title = head.get("title")
    return replace(recipe, targets=tuple(changed.values()), title=one_line(str(title)) if title else recipe.title,
                   source=one_line(file))
