"""The bundled table from its sources: which rows there are, what is added to them, how they are written."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from tools.composition.cells import FOOD_CELLS, Row
from tools.composition.release import read_release

COLUMNS = (
    "food", "id", "carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g", "energy_kcal", "water_g",
    "sugars_g", "soluble_fibre_g", "insoluble_fibre_g", "polyols_g", "erythritol_g", "allulose_g",
    "alcohol_g", "saturated_g", "sodium_mg", "potassium_mg", "magnesium_mg", "calcium_mg",
    "fat_g_low", "fat_g_high", "protein_g_low", "protein_g_high", "fibre_g_low", "fibre_g_high",
    "refuse_percent", "price_per_kg", "allergens", "role", "measures", "source",
)
"""Columns of the table, in the order in which they are written."""

FOODS = "foods.csv"
"""Name of the table in the data folder."""


def rows_of(data: Path, release: Path) -> list[Row]:
    """All rows of the bundled table: those of the release, those of other sources, and what is added to any of them.

    Parameters
    ----------
    data : Path
        The project's lists: `selection.csv`, `other_foods.csv` and what `ADDITIONS` read.
    release : Path
        Folder of the release.

    Raises
    ------
    BadInput
        For a file of the release that cannot be read and for every chosen food that it lacks.
    """
    rows = rows_from_release(release, read_rows(data / "selection.csv")) + read_rows(data / "other_foods.csv")
    for add in ADDITIONS:
        rows = add(rows, data)
    return rows


def rows_from_release(folder: Path, selection: Iterable[Mapping[str, str]]) -> list[Row]:
    """Rows for the chosen foods, in the order chosen.

    Parameters
    ----------
    folder : Path
        Of the release.
    selection : iterable of mapping
        Each with `food` (name in the table), `id` ("ndb:01001"), `role` and `allergens`.

    Returns
    -------
    list of dict of str to str
        A cell for every one of `COLUMNS`; figures per 100 g edible part are the release's own text.
    """
    chosen = list(selection)
    numbers = [choice["id"].removeprefix("ndb:") for choice in chosen]
    foods = read_release(folder, frozenset(numbers))
    rows = []
    for number, choice in zip(numbers, chosen, strict=True):
        row = dict.fromkeys(COLUMNS, "")
        for cells in FOOD_CELLS:
            row |= cells(foods[number], choice)
        rows.append(row)
    return rows


ADDITIONS: tuple[Callable[[list[Row], Path], list[Row]], ...] = ()
"""What adds cells to rows of any source, from a list in the data folder: rows and folder in, rows out; in order."""


def read_rows(path: Path) -> list[Row]:
    """Rows of a CSV file as they stand: a selection, or foods that the release lacks."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write_table(path: Path, rows: Iterable[Mapping[str, str]]) -> None:
    """Write rows as a composition table: UTF-8, `COLUMNS` in order, a cell that a row lacks is blank."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
