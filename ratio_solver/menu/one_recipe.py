"""One recipe of a menu: from its rows to a recipe, or to what is wrong with them, cell by cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path

from ratio_solver.errors import LONGEST, BadInput, Fault, cut, one_line, shown
from ratio_solver.foods.sizes import MOST_SERVINGS
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.columns import (
    BARE,
    POLICY_COLUMNS,
    MenuColumns,
    cell_value,
    is_number,
    target_span,
    target_value,
)
from ratio_solver.recipe.change import with_servings
from ratio_solver.recipe.model import Recipe, Target
from ratio_solver.recipe.read import read_recipe, recipe_from
from ratio_solver.recipe.targets import with_end

_AT_INGREDIENT = re.compile(r"ingredients\[(\d+)\](?:\.(\w+))?")
_AT_TARGET = re.compile(r"targets\.(.+?)(?:\.(min|max))?")
_COLUMN_AT = {place: column for column, place in POLICY_COLUMNS.items()}

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


def cell_text(cell: object) -> str:
    """A cell as it stands in a problem: not too long, empty where it is blank."""
    if cell is None or cell != cell:
        return ""
    return cut(cell.strip() if isinstance(cell, str) else shown(cell, LONGEST))


@dataclass(frozen=True)
class RecipeRows:
    """The rows of one recipe of a menu, and what is found wrong with them.

    Attributes
    ----------
    name : str
    lines : sequence of int
        Line of each row.
    cells : sequence of mapping of column to cell
    columns : MenuColumns
    decimal_comma : bool
    problems : list of Problem
        What is found as they are read.
    """

    name: str
    lines: Sequence[int]
    cells: Sequence[Cells]
    columns: MenuColumns
    decimal_comma: bool = False
    problems: list[Problem] = field(default_factory=list)

    @property
    def file(self) -> str:
        """The recipe file that the first row names, empty for a menu in long form."""
        return cell_text(self.cells[0].get("file")) if self.columns.by_file else ""

    def recipe(self, foods: FoodTable, folder: Path, read: Callable[[Path], Recipe] | None = None) -> Recipe | None:
        """The recipe that the rows are; None where there are problems, each at its line and column.

        Names of recipe files start from `folder`; `read` reads one in place of `read_recipe`.
        """
        head, recipe = self._head(), None
        read = read or (lambda path: read_recipe(path, foods))
        try:
            recipe = self._of_file(head, read, folder) if self.columns.by_file else self._of_rows(head, foods)
        except BadInput as bad:
            self.problems.extend(self.located(fault) for fault in bad.faults)
        return None if self.problems else recipe

    def located(self, fault: Fault, cells: bool = True) -> Problem:
        """A fault of a recipe as a problem of the row and column it comes from, of a recipe file and the place there.

        With `cells` the value is what the menu has there, else what the fault says.
        """
        if self.columns.by_file:
            return Problem(self.lines[0], self.name, "file", cut(fault.got), cut(fault.expected), self.file,
                           cut(fault.place))
        row, column = self._where(fault.place)
        cell = cell_text(self.cells[row].get(column)) if column and cells else ""
        return Problem(self.lines[row], self.name, column, cell or cut(fault.got), cut(fault.expected))

    def _where(self, place: str) -> tuple[int, str]:
        """Row and column of a place in the recipe file."""
        header = self.columns.header
        if match := _AT_INGREDIENT.match(place):
            row = min(int(match[1]), len(self.cells)) - 1
            return row, match[2] if match[2] in header else "food" if "food" in header else ""
        if match := _AT_TARGET.fullmatch(place):
            for (nutrient, end), column in self.columns.targets.items():
                if nutrient == match[1] and end == (match[2] or end):
                    return 0, column
        column = _COLUMN_AT.get(place.split("[")[0], place)
        return 0, column if column in header else ""

    def _problem(self, row: int, column: str, message: str) -> None:
        self.problems.append(Problem(self.lines[row], self.name, column, cell_text(self.cells[row].get(column)),
                                     message))

    def _head(self) -> dict[str, object]:
        """Cells that belong to the recipe: of its first row; a later one may only say the same."""
        head: dict[str, object] = {}
        for column in self.columns.of_recipe:
            first, *later = (cell_value(column, row.get(column), self.decimal_comma) for row in self.cells)
            for place, value in enumerate(later, 1):
                if value is not None and value != first:
                    self._problem(place, column, "expected nothing, or the same as in the recipe's first row")
            if first is not None:
                head[column] = first
        return head

    def _targets(self, head: Cells) -> dict[str, dict[str, object]]:
        """In the order of the menu's columns, that of every recipe whichever of them it has."""
        found: dict[str, dict[str, object]] = {nutrient: {} for nutrient, _ in self.columns.targets}
        for (nutrient, end), column in self.columns.targets.items():
            if column in head:
                found[nutrient][end] = target_value(
                    nutrient, head[column], self.decimal_comma, self.columns.units.get(column, 1))
        return {nutrient: ends for nutrient, ends in found.items() if ends}

    def _of_rows(self, head: dict[str, object], foods: FoodTable) -> Recipe:
        """The recipe of a menu in long form, through the reader of the recipe file."""
        if isinstance(head.get("unknown_as_zero"), str):
            head["unknown_as_zero"] = str(head["unknown_as_zero"]).replace(";", " ").replace(",", " ").split()
        table: dict[str, object] = {"title": self.name, "targets": self._targets(head)}
        table["ingredients"] = [
            {key: value for key in self.columns.ingredient
             if (value := cell_value(key, row.get(key), self.decimal_comma)) is not None} for row in self.cells]
        for column in self.columns.recipe:
            if column in head:
                inner, (*path, key) = table, POLICY_COLUMNS.get(column, column).split(".")
                for step in path:
                    inner = inner.setdefault(step, {})  # type: ignore[assignment]
                inner[key] = head[column]
        return recipe_from(table, foods, self.name)

    def _of_file(self, head: Cells, read: Callable[[Path], Recipe], folder: Path) -> Recipe | None:
        """The recipe of the file that a row names, with what the row puts in place of its own."""
        file = head.get("file")
        if not isinstance(file, str):
            self._problem(0, "file", "expected the name of a recipe file")
            return None
        recipe = read(folder / file)
        servings = head.get("servings")
        if isinstance(servings, int) and 1 <= servings <= MOST_SERVINGS:
            recipe = with_servings(recipe, servings)
        elif servings is not None:
            self._problem(0, "servings", f"expected the number of servings, a whole number from 1 to {MOST_SERVINGS:,}")
        changed = {target.nutrient: target for target in recipe.targets}
        for nutrient, ends in self._targets(head).items():
            changed[nutrient] = self._changed(changed.get(nutrient, Target(nutrient)), ends)
        title = head.get("title")
        return replace(recipe, targets=tuple(changed.values()),
                       title=one_line(str(title)) if title else recipe.title, source=one_line(file))

    def _changed(self, target: Target, ends: Mapping[str, object]) -> Target:
        """A target of a recipe file with the ends that the menu gives."""
        nutrient = target.nutrient
        for end, value in ends.items():
            column = self.columns.targets[nutrient, end]
            if not is_number(value, *(span := target_span(nutrient))):
                self._problem(0, column, f"expected a number, 0 to {span[1]:,.0f}")
            elif column == BARE.get((nutrient, end)) and len(ends) == 1:
                target = with_end(target, end, float(value))
            else:
                target = replace(target, **{f"{end}imum": float(value)})  # type: ignore[arg-type]
        if target.minimum is not None and target.maximum is not None and target.minimum > target.maximum:
            self._problem(0, self.columns.targets[nutrient, "min" if "min" in ends else "max"],
                          f"expected a minimum of at most the maximum; they are {target.minimum:g} and "
                          f"{target.maximum:g}")
        return target


def rows_by_recipe(lines: Sequence[int], cells: Sequence[Cells], columns: MenuColumns,
                   decimal_comma: bool) -> Iterator[RecipeRows]:
    """The rows of each recipe of a menu, one after the other; of a menu of files each row is one.

    A blank name goes on with the recipe above.
    """
    names: list[str] = []
    for row in cells:
        said = one_line(str(row.get("recipe") or Path(str(row.get("file") or "")).stem))
        names.append(said if said or columns.by_file or not names else names[-1])
    for _, group in groupby(range(len(cells)), lambda place: lines[place] if columns.by_file else names[place]):
        places = list(group)
        mine = slice(places[0], places[-1] + 1)
        yield RecipeRows(names[places[0]], lines[mine], cells[mine], columns, decimal_comma)
