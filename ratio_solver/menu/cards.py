"""The recipes of a menu, one by one, as the entries of a book."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.column_table import ColumnTable
from ratio_solver.menu.columns import changed_menu, menu_columns
from ratio_solver.menu.one_recipe import RecipeRows, rows_by_recipe
from ratio_solver.menu.read import files_named, open_menu, parsed, pieces
from ratio_solver.menu.solve import MenuOptions
from ratio_solver.menu.workbook import open_sheet
from ratio_solver.output.folder import refuse_inputs
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.targets import with_energy
from ratio_solver.tools.book.compute import Book, BookOptions, Entry, make_book

MOST_CARDS = 2000
"""Of a book: beyond it nobody turns its pages."""


def book_of_menu(path: str | Path, folder: str | Path, foods: FoodTable, options: MenuOptions,
                 shown: BookOptions) -> Book:
    """A book of all recipes of a menu, held to the targets that were given for it.

    Raises
    ------
    BadInput
        Where the menu as a whole cannot be read, or has more recipes than a book may.
    """
    source, target = Path(path), Path(folder).resolve()
    with TemporaryDirectory() as place:
        menu = open_sheet(source, Path(place) / "menu.csv") if source.suffix.lower() == ".xlsx" else open_menu(source)
        asked = options.of_menu(menu)
        refuse_inputs(target, (Path(asked.folder) / name for name in files_named(menu)))
        entries: list[Entry] = []
        for piece in pieces(menu):
            entries += _entries(*parsed(piece), foods, asked)
            if len(entries) > MOST_CARDS:
                raise BadInput([Fault("--cards", "", f"more than {MOST_CARDS:,} recipes", "expected fewer")])
        return make_book(entries, folder, shown, [source])


def _entries(menu: ColumnTable, odd: dict[int, str], foods: FoodTable, options: MenuOptions) -> Iterator[Entry]:
    """What each recipe is called, and how its rows are read."""
    columns, lines = menu_columns(list(menu.columns), foods.columns), menu.index.tolist()
    if options.changed:
        menu, columns = changed_menu(menu, columns, options.changed, options.decimal_comma)
    for rows in rows_by_recipe(lines, menu.records(), columns, options.decimal_comma):
        wrong = [odd[line] for line in rows.lines if line in odd]
        yield rows.name, partial(_recipe, rows, foods, options, wrong)


def _recipe(rows: RecipeRows, foods: FoodTable, options: MenuOptions, wrong: list[str]) -> Recipe:
    """The recipe of some rows; raises BadInput with each problem at its line."""
    recipe = None if wrong else rows.recipe(foods, Path(options.folder))
    if recipe is None:
        found = [((f"line {one.line}", one.column, one.file, one.place), one) for one in rows.problems]
        raise BadInput([*(Fault(rows.name, f"line {rows.lines[0]}", "", words) for words in wrong),
                        *(Fault(rows.name, ": ".join(filter(None, at)), one.value, one.message) for at, one in found)])
    return with_energy(recipe, options.energy)
