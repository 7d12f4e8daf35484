"""The bundled table from its sources: which rows there are, what is added to them, how they are written."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from ratio_solver.errors import Fault, collected
from ratio_solver.foods.nutrients import spoken
from ratio_solver.foods.substances import COLUMNS as SUBSTANCES
from tools.composition.cells import ENDS, FOOD_CELLS, WITH_INTERVAL, Row, figure_cells, interval_cells
from tools.composition.release import ReleaseFood, read_release

COLUMNS = (
    "food", "id", "carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g", "energy_kcal", "water_g", "ash_g",
    "sugars_g", "starch_g", "soluble_fibre_g", "insoluble_fibre_g", *SUBSTANCES,
    "alcohol_g", "mct_g", "saturated_g", "trans_g", "caprylic_g", "capric_g", "erucic_g", "cholesterol_mg", "sodium_mg",
    "potassium_mg", "magnesium_mg", "calcium_mg", "phosphorus_mg", "iron_mg", "zinc_mg", "selenium_ug",
    "vitamin_d_ug", "vitamin_a_ug", "retinol_ug", *(f"{column}_{end}" for column in WITH_INTERVAL for end in ENDS),
    "carbs_g_low", "carbs_g_high",
    "nitrogen_factor", "refuse_percent", "price_per_kg", "allergens", "role", "use", "measures", "most_per_serving",
    "most_because", "also", "source",
)
"""Columns of the table, in the order in which they are written."""

MOST = ("most_per_serving", "most_because")
"""Columns that say how much of a food a serving may hold."""

FOODS = "foods.csv"
"""Name of the table in the data folder."""

CITED = re.compile(r"USDA SR28, NDB ([0-9]{5})\b")
"""How a source cites a food of the release."""


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
    selection, others = read_rows(data / "selection.csv"), read_rows(data / "other_foods.csv")
    numbers = [number_of(choice) for choice in selection]
    cited = [number for row in others if (number := cited_number(row))]
    foods = read_release(release, frozenset([*numbers, *cited]))
    rows = [release_row(foods[number], choice) for number, choice in zip(numbers, selection, strict=True)]
    rows += [other_row(row, foods) for row in others]
    for add in ADDITIONS:
        rows = add(rows, data)
    return rows


def number_of(choice: Mapping[str, str]) -> str:
    """The release's number of a food that the selection names ("ndb:01001")."""
    return choice["id"].removeprefix("ndb:")


def cited_number(row: Mapping[str, str]) -> str:
    """The number of the food of the release whose figures a row of another source takes over, or nothing."""
    match = CITED.match(row["source"])
    return match[1] if match else ""


def release_row(food: ReleaseFood, choice: Mapping[str, str]) -> Row:
    """The row of a chosen food: a cell for every one of `COLUMNS`, the figures in the release's own text."""
    row = dict.fromkeys(COLUMNS, "")
    for cells in FOOD_CELLS:
        row |= cells(food, choice)
    return row


def other_row(row: Mapping[str, str], foods: Mapping[str, ReleaseFood]) -> Row:
    """The row of a food of another source; where it cites a food of the release, what it leaves blank is that one's."""
    number = cited_number(row)
    taken = figure_cells(foods[number], row) | interval_cells(foods[number], row) if number else {}
    return dict.fromkeys(COLUMNS, "") | taken | {column: cell for column, cell in row.items() if cell}


def with_other_figures(rows: list[Row], data: Path) -> list[Row]:
    """Single figures from other sources (`other_figures.csv`: id, column, figure, source), told of in the row's source.

    Raises
    ------
    BadInput
        For a figure of a food or a column that is not there, or of a cell that has one already.
    """
    path = data / "other_figures.csv"
    places = {row["id"]: place for place, row in enumerate(rows)}
    found, faults = [dict(row) for row in rows], []
    told: dict[str, dict[str, list[str]]] = {}
    for line in read_rows(path):
        row = found[places[line["id"]]] if line["id"] in places else {}
        if row.get(line["column"]) != "":
            faults.append(Fault(str(path), line["id"], line["column"], "expected a blank cell of a row of the table"))
            continue
        row[line["column"]] = line["figure"]
        told.setdefault(line["id"], {}).setdefault(line["source"], []).append(spoken(line["column"]))
    collected(faults)
    for name, sources in told.items():
        row = found[places[name]]
        row["source"] = "; ".join([row["source"], *(f"{', '.join(columns)}: {source}"
                                                    for source, columns in sources.items())])
    return found


def with_most(rows: list[Row], data: Path) -> list[Row]:
    """The most of a food that a serving may hold, and why (`most.csv`: id, food, most_per_serving, most_because).

    Raises
    ------
    BadInput
        For every id that no row of the table, or of the other table, has.
    """
    return _with_cells(rows, data / "most.csv", {column: column for column in MOST}, _of_other_table(data))


def with_also(rows: list[Row], data: Path) -> list[Row]:
    """Other names of foods (`also.csv`: id, names; `;` between, one that ends in "?" is of a food that is not there).

    Raises
    ------
    BadInput
        For every id that no row of the table, or of the other table, has.
    """
    return _with_cells(rows, data / "also.csv", {"also": "names"}, _of_other_table(data))


def with_use(rows: list[Row], data: Path) -> list[Row]:
    """What a food can stand in for with less carbohydrate (`use.csv`: id, food, use; `;` between).

    Raises
    ------
    BadInput
        For every id that no row of the table has.
    """
    return _with_cells(rows, data / "use.csv", {"use": "use"})


def _of_other_table(data: Path) -> set[str]:
    """Ids of the foods of the other table, which has some of its cells from the same lists."""
    path = data / "europe_selection.csv"
    return {row["id"] for row in read_rows(path)} if path.is_file() else set()


def _with_cells(rows: list[Row], path: Path, columns: Mapping[str, str], elsewhere: Iterable[str] = ()) -> list[Row]:
    """The rows with cells from a list by id: column of the table to column of the list."""
    said = {row["id"]: {column: row[told] for column, told in columns.items()} for row in read_rows(path)}
    known = {row["id"] for row in rows}.union(elsewhere)
    collected(Fault(str(path), "id", food, "expected the id of a food in the table")
              for food in said if food not in known)
    return [row | said.get(row["id"], {}) for row in rows]


ADDITIONS: tuple[Callable[[list[Row], Path], list[Row]], ...] = (with_other_figures, with_most, with_also,
                                                                   with_use)
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
