"""The composition tables that a recipe names, laid under the cook's own."""

from __future__ import annotations

from pathlib import Path

from ratio_solver.errors import BadInput, collected
from ratio_solver.foods.bundled import BUNDLED, placed, table_path
from ratio_solver.foods.table import FoodTable, suggestion
from ratio_solver.recipe.reader import Reader

KEY = "foods"


def read_tables(top: Reader, foods: FoodTable, folder: str | Path) -> tuple[tuple[str, ...], FoodTable]:
    """The tables of the key `foods`, and all the foods that a recipe with them can use.

    Parameters
    ----------
    top : Reader
        Of the recipe.
    foods : FoodTable
        Without them.
    folder : path
        Where the paths of tables start from.

    Raises
    ------
    BadInput
        With every fault so far where a table cannot be read: without it no food can be looked up.
    """
    tables = []
    for name in top.texts(KEY):
        table = placed(name, folder)
        if not table_path(table).is_file():
            top.fault(KEY, name, f"expected {' or '.join(BUNDLED)}, or the path of a composition table (CSV) from the "
                                 f"recipe's folder; there is no file {table}{suggestion(name, BUNDLED)}")
        tables.append(table)
    if KEY in {fault.place for fault in top.faults}:
        collected(top.faults)
    try:
        return tuple(tables), foods.with_tables(tables)
    except BadInput as bad:
        for fault in bad.faults:
            top.fault(KEY, None, str(fault))
        raise BadInput(top.faults) from bad
