"""A menu as recipes, one by one: for what is asked of each dish and not of the menu's arrays."""

from __future__ import annotations

from pathlib import Path

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.csv_file import read_csv
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.columns import menu_columns
from ratio_solver.menu.one_recipe import rows_by_recipe
from ratio_solver.recipe.model import Recipe


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
    lines, cells = [line for line, _ in file.rows], [row for _, row in file.rows]
    for read in rows_by_recipe(lines, cells, columns, file.decimal_comma):
        recipe = read.recipe(foods, Path(path).parent)
        if recipe is not None:
            found.append((read.name, recipe))
        faults += [Fault(file.source, f"line {one.line}{f', {one.column}' if one.column else ''}", one.value,
                         f"{one.message}{f' ({one.file}: {one.place})' if one.place else ''}") for one in read.problems]
    if faults or not found:
        raise BadInput(faults or [Fault(file.source, "", "", "expected at least one recipe")])
    return tuple(found)
