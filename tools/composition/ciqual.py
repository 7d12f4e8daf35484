"""The European table, from the French food composition table, figures unchanged.

    python -m tools.composition.ciqual FILE [DATA]

FILE is the French table in English (Anses 2017, Ciqual French food composition table; a CSV file with semicolons, whose
headings have full stops where the original has commas); DATA is the project's data folder unless said. Which foods,
under which names, is in DATA/europe_selection.csv. Writes DATA/europe.csv, and in DATA/other_foods.csv, which has foods
that the American release lacks, the cells of those whose id is of this table. Where anything is wrong it says so and
writes nothing.

What a cell of the source may be, besides a number:

- ``-`` or nothing: not known, and left blank.
- ``< x``: below a limit of detection, somewhere from 0 to x. The figure is the unfavourable end for whoever must keep
  to it: x where a diet sets a maximum (`UNFAVOURABLE_HIGH`), 0 elsewhere. The other end of the interval stands beside
  it.
- ``traces``: 0, as the source itself reckons it in its energy, and of what makes up a food at most `TRACE`.
"""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType

from ratio_solver.errors import BadInput, Fault, collected, shown
from tools.composition.checked import record

DATA = Path(__file__).resolve().parents[2] / "data"
SELECTION, TABLE, AMERICAN, OTHERS = "europe_selection.csv", "europe.csv", "foods.csv", "other_foods.csv"
MOST, ALSO = "most.csv", "also.csv"

PREFIX = "ciqual:"
"""Of the ids of foods of this table; the rest is the source's own code."""

SAME = "="
"""In the selection, for role and allergens: those of the American row of the same name, as it is the same food."""

HEADINGS = {
    "fat_g": "Fat (g/100g)", "protein_g": "Protein (g/100g)", "carbs_g": "Carbohydrate (g/100g)",
    "fibre_g": "Fibres (g/100g)", "energy_kcal": "Energy. Regulation EU No 1169/2011 (kcal/100g)",
    "water_g": "Water (g/100g)", "ash_g": "Ash (g/100g)", "sugars_g": "Sugars (g/100g)",
    "starch_g": "Starch (g/100g)", "polyols_g": "Polyols (g/100g)", "alcohol_g": "Alcohol (g/100g)",
    "organic_acids_g": "Organic acids (g/100g)", "protein_n625_g": "Protein. crude. N x 6.25 (g/100g)",
    "saturated_g": "FA saturated (g/100g)", "caprylic_g": "FA 8:0 (g/100g)", "capric_g": "FA 10:0 (g/100g)",
    "cholesterol_mg": "Cholesterol (mg/100g)", "sodium_mg": "Sodium (mg/100g)",
    "potassium_mg": "Potassium (mg/100g)", "magnesium_mg": "Magnesium (mg/100g)",
    "calcium_mg": "Calcium (mg/100g)", "phosphorus_mg": "Phosphorus (mg/100g)", "iron_mg": "Iron (mg/100g)",
    "zinc_mg": "Zinc (mg/100g)", "selenium_ug": "Selenium (µg/100g)", "iodine_ug": "Iodine (µg/100g)",
    "vitamin_d_ug": "Vitamin D (µg/100g)", "retinol_ug": "Retinol (µg/100g)",
}
"""Column of the table to heading of the source, in the order in which they are written.

`protein_g` is by the food's own nitrogen factor, `protein_n625_g` is what an EU label states (Regulation (EU)
1169/2011, Annex I), and what the source's energy is reckoned from.
"""

CODE = "alim_code"

UNFAVOURABLE_HIGH = frozenset({
    "protein_g", "protein_n625_g", "carbs_g", "sugars_g", "starch_g", "alcohol_g", "organic_acids_g", "saturated_g",
    "cholesterol_mg", "sodium_mg", "potassium_mg", "phosphorus_mg", "retinol_ug",
})
"""What a diet sets a maximum: of less than x it counts x. Of everything else, as of fat, it counts nothing."""

TRACE = "0.5"
"""The most that traces of these may be, g in 100 g.

Our choice: what European labels may round to nothing (Commission guidance on tolerances, December 2012, from memory).
"""
TRACED = frozenset({"fat_g", "protein_g", "carbs_g", "fibre_g", "sugars_g", "starch_g"})

NEVER_UNKNOWN = ("fat_g", "protein_g", "carbs_g")
PARTS = ("water_g", "fat_g", "protein_g", "carbs_g", "fibre_g", "ash_g", "alcohol_g")
"""What 100 g are made of; carbohydrate leaves fibre out. Organic acids are a part where they are known."""
UNACCOUNTED = Decimal("3.1")
"""The most, g, by which the parts of a food may miss 100 g or exceed it: beyond it samples were mixed, and what is
missing may be carbohydrate. The source holds most of its foods to 3 g, before rounding."""

WITHIN = (("sugars_g", "carbs_g"), ("starch_g", "carbs_g"), ("polyols_g", "carbs_g"), ("saturated_g", "fat_g"))
"""What is part of what."""
ROUNDING = Decimal("0.1")

FIRST, LAST = ("food", "id", "carb_basis"), (
    "refuse_percent", "allergens", "role", "use", "measures", "most_per_serving", "most_because", "also", "source")

Row = dict[str, str]


def rows_of(source: Sequence[Mapping[str, str]], selection: Iterable[Mapping[str, str]],
            american: Iterable[Mapping[str, str]], told: Mapping[str, Row] = MappingProxyType({})) -> list[Row]:
    """Rows of the European table for the chosen foods, in the order chosen.

    Parameters
    ----------
    source : sequence of mapping
        Rows of the French table, by heading.
    selection : iterable of mapping
        Each with `food` (name in the table), `id` ("ciqual:20055"), `role` and `allergens`, which are `SAME` where the
        food is that of the American row of this name.
    american : iterable of mapping
        Rows of the American table.
    told : mapping of str to row
        By id the cells that say how much of a food a serving may hold and what else it is called; they go before those
        of the American row.

    Raises
    ------
    BadInput
        With every chosen food that the source lacks or does not know enough of, and every name that stands for a food
        of the American table without saying that it is the same, or the other way round.
    """
    by_code = {row[CODE]: row for row in source}
    by_name = {row["food"]: row for row in american}
    faults: list[Fault] = []
    rows = []
    for choice in selection:
        there, twin = by_code.get(choice["id"].removeprefix(PREFIX)), by_name.get(choice["food"])
        if there is None:
            faults.append(Fault(SELECTION, choice["food"], shown(choice["id"]), "expected a code of the source"))
        elif (SAME in (choice["role"], choice["allergens"])) != (twin is not None and twin["id"] != choice["id"]):
            faults.append(Fault(SELECTION, choice["food"], shown(choice["role"]),
                                f"expected the name of an American food with {SAME}, or another name without"))
        else:
            row = _row(choice, there, twin) | told.get(choice["id"], {})
            faults.extend(_doubts(row))
            rows.append(row)
    collected(faults)
    return rows


def _row(choice: Mapping[str, str], there: Mapping[str, str], twin: Mapping[str, str] | None) -> Row:
    """One row: the source's figures; of the same food in the American table what is no figure of composition."""
    source = f"Anses 2017, Ciqual French food composition table, {there[CODE]}"
    row = {"food": choice["food"], "id": choice["id"], "carb_basis": "available"}
    for column, heading in HEADINGS.items():
        row |= cells_of(column, there[heading])
    if twin is None or choice["role"] != SAME:
        return row | {"role": choice["role"], "allergens": choice["allergens"], "source": source}
    kept = {column: cell for column, cell in twin.items() if cell and not _is_figure(column) and column not in FIRST}
    from_there = [column for column in ("measures", "refuse_percent") if kept.get(column)]
    if from_there:
        source += f"; {' and '.join(from_there).replace('refuse_percent', 'refuse')}: {twin['source']}"
    return row | kept | {"source": source}


def cells_of(column: str, text: str) -> Row:
    """The cells for one cell of the source: the figure, and an end of its interval where it is below a limit.

    >>> cells_of("carbs_g", "4.3"), cells_of("carbs_g", "-"), cells_of("carbs_g", "< 0.1"), cells_of("fat_g", "< 0.5")
    ({'carbs_g': '4.3'}, {}, {'carbs_g': '0.1', 'carbs_g_low': '0'}, {'fat_g': '0', 'fat_g_high': '0.5'})
    >>> cells_of("carbs_g", "traces"), cells_of("zinc_mg", "traces")
    ({'carbs_g': '0', 'carbs_g_high': '0.5'}, {'zinc_mg': '0'})
    """
    if text in ("", "-"):
        return {}
    if text == "traces":
        return {column: "0"} | ({f"{column}_high": TRACE} if column in TRACED else {})
    if text.startswith("<"):
        limit = text.removeprefix("<").strip()
        return {column: limit, f"{column}_low": "0"} if column in UNFAVOURABLE_HIGH else \
            {column: "0", f"{column}_high": limit}
    return {column: text}


def _is_figure(column: str) -> bool:
    """Whether a column of the American table is about composition, or about its price: not carried over."""
    stem = column.removesuffix("_low").removesuffix("_high").removesuffix("_lowest").removesuffix("_highest")
    return stem.rpartition("_")[2] in ("g", "mg", "ug", "kcal") or column == "price_per_kg"


def _doubts(row: Row) -> list[Fault]:
    """Why a food cannot be in the table: no ratio without these figures, or parts that do not make up 100 g."""
    faults = [Fault(SELECTION, row["food"], "", f"expected {column} to be known") for column in NEVER_UNKNOWN
              if column not in row]
    faults += [Fault(SELECTION, row["food"], f"{part} {row[part]}", f"expected at most {whole}, {row[whole]}")
               for part, whole in WITHIN if part in row and whole in row
               and Decimal(row[part]) > Decimal(row.get(f"{whole}_high", row[whole])) + ROUNDING]
    unaccounted = missing_from(row)
    if unaccounted is not None and abs(unaccounted) > UNACCOUNTED:
        faults.append(Fault(SELECTION, row["food"], f"{unaccounted} g of 100 g unaccounted for",
                            f"expected {UNACCOUNTED} at most"))
    return faults


def missing_from(row: Mapping[str, str]) -> Decimal | None:
    """What the parts of 100 g leave unaccounted for, g, what is below a limit at half of it; None where unknown."""
    if any(not row.get(column) for column in PARTS):
        return None
    return Decimal(100) - sum((middle(row, column) for column in (*PARTS, "organic_acids_g")), Decimal(0))


def middle(row: Mapping[str, str], column: str) -> Decimal:
    """A figure as the source reckons it: below a limit of detection half of that, of traces none.

    (Of what counts nothing below a limit, traces look the same as less than 0.5 g, and count as that.)
    """
    figure, low, high = (row.get(f"{column}{end}") for end in ("", "_low", "_high"))
    if low:
        return Decimal(figure or 0) / 2
    return Decimal(high) / 2 if high and column not in UNFAVOURABLE_HIGH else Decimal(figure or 0)


def header_of(rows: Iterable[Mapping[str, str]]) -> list[str]:
    """Columns of the table: an end of an interval only where a row has it; in a fixed order."""
    used = {column for row in rows for column in row}
    figures = [*HEADINGS, *(f"{column}{end}" for column in HEADINGS for end in ("_low", "_high"))]
    others = sorted(used - {*FIRST, *figures, *LAST})
    return [*FIRST, *HEADINGS, *(column for column in figures if column in used - set(HEADINGS)), *others, *LAST]


def with_default(others: Iterable[Mapping[str, str]], rows: Iterable[Mapping[str, str]]) -> list[Row]:
    """Rows of foods that the American release lacks, those of this table with its cells.

    Raises
    ------
    BadInput
        For every id of this table that the European table has not.
    """
    by_id = {row["id"]: row for row in rows}
    listed = [dict(row) for row in others]
    collected(Fault(OTHERS, row["food"], shown(row["id"]), f"expected the id of a food in {TABLE}")
              for row in listed if row["id"].startswith(PREFIX) and row["id"] not in by_id)
    return [{column: by_id[row["id"]].get(column, "") for column in row} if row["id"].startswith(PREFIX) else row
            for row in listed]


def read_rows(path: Path, delimiter: str = ",") -> list[Row]:
    """Rows of a CSV file as they stand, UTF-8, with or without a byte-order mark."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            return list(csv.DictReader(file, delimiter=delimiter))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput([Fault(str(path), "", "", f"cannot be read: {error}")]) from error


def as_csv(rows: Iterable[Mapping[str, str]], header: Sequence[str]) -> str:
    """Rows as the text of a CSV file; a cell that a row lacks is blank."""
    text = io.StringIO()
    writer = csv.DictWriter(text, header, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def told_in(data: Path) -> dict[str, Row]:
    """By id the cells that say how much of a food a serving may hold, and what else it is called."""
    found: dict[str, Row] = {row["id"]: {column: row[column] for column in row if column.startswith("most_")}
                             for row in read_rows(data / MOST)}
    for row in read_rows(data / ALSO):
        found[row["id"]] = found.get(row["id"], {}) | {"also": row["names"]}
    return found


def main(arguments: Sequence[str]) -> int:
    """Write the tables anew, or say what is wrong."""
    if len(arguments) not in (1, 2):
        print(__doc__, file=sys.stderr)
        return 2
    data = Path(arguments[1]) if len(arguments) == 2 else DATA
    try:
        source = read_rows(Path(arguments[0]), ";")
        missing = [heading for heading in (CODE, *HEADINGS.values()) if not source or heading not in source[0]]
        collected(Fault(arguments[0], "line 1", "", f"expected the heading {heading}") for heading in missing)
        rows = rows_of(source, read_rows(data / SELECTION), read_rows(data / AMERICAN), told_in(data))
        others = read_rows(data / OTHERS)
        texts = {TABLE: as_csv(rows, header_of(rows)), OTHERS: as_csv(with_default(others, rows), list(others[0]))}
    except BadInput as bad:
        print(*bad.faults, sep="\n", file=sys.stderr)
        return 1
    for name, text in texts.items():
        (data / name).write_text(text, encoding="utf-8")
    for fault in record(data):
        print(fault, file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
