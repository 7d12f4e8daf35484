"""A menu as recipes, one by one: for what is asked of each dish and not of the menu's arrays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, one_line
from ratio_solver.foods.csv_file import CsvFile, read_csv
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.columns import menu_columns
from ratio_solver.menu.one_recipe import RecipeRows
from ratio_solver.recipe.model import Recipe

MenuRow = tuple[int, Mapping[str, str]]


def recipes_of_menu(path: str | Path, foods: FoodTable) -> tuple[tuple[str, Recipe], ...]:
    """The recipes of a menu in CSV with their names in it.

    Parameters
    ----------
    path : path
    foods : FoodTable

    Raises
    ------
    BadInput
        With everything that is wrong with the menu and its recipes.
    """
    file = read_csv(path)
    columns = menu_columns(file.header, foods.columns, file.source)
    found: list[tuple[str, Recipe]] = []
    faults: list[Fault] = []
    for name, rows in _named(file, columns.by_file):
        read = RecipeRows(name, [line for line, _ in rows], [cells for _, cells in rows], columns, file.decimal_comma)
        recipe = read.recipe(foods, Path(path).parent)
        if recipe is not None:
            found.append((name, recipe))
        faults += [Fault(file.source, f"line {one.line}{f', {one.column}' if one.column else ''}", one.value,
                         f"{one.message}{f' ({one.file}: {one.place})' if one.place else ''}") for one in read.problems]
    if faults or not found:
        raise BadInput(faults or [Fault(file.source, "", "", "expected at least one recipe")])
    return tuple(found)


def _named(file: CsvFile, by_file: bool) -> Iterator[tuple[str, list[MenuRow]]]:
    """The rows of each recipe; of a menu of files each row is one."""
    groups: dict[object, list[MenuRow]] = {}
    for line, cells in file.rows:
        groups.setdefault(line if by_file else cells["recipe"], []).append((line, cells))
    for key, rows in groups.items():
        first = rows[0][1]
        yield one_line(first.get("recipe") or Path(first["file"]).stem) if by_file else str(key), rows
