"""The rows of a composition table: read from CSV and checked cell by cell."""

from __future__ import annotations

import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from typing import Any

from ratio_solver.errors import Fault, shown
from ratio_solver.foods.csv_file import CsvFile, number
from ratio_solver.foods.ends import ENDS, End
from ratio_solver.foods.food import BASES, Food, Foods
from ratio_solver.foods.layers import Amendment, Layer
from ratio_solver.foods.nutrients import COUNTS_FOR, MG_IN_SALT, NEVER_UNKNOWN, REQUIRED, SALT, SODIUM, unit_of
from ratio_solver.foods.sizes import IN_100_G, LARGEST, MOST_FAULTS, SMALLEST, TOO_SMALL, sensible
from ratio_solver.foods.substances import COLUMNS, SUBSTANCE_KINDS, SUBSTANCES

COMPOSITION = ("carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g")
"""Columns of which a table that only amends has none."""

AMENDS = ("price_per_kg", "pack_grams", "allergens", "role", "measures", "refuse_percent", "most_per_serving",
          "most_because", "also", "use")
"""Columns that amend the rows of the tables before, as does any nutrient beyond `COMPOSITION`."""

NONE, UNKNOWN = "none", "unknown"
"""Words of the allergens' cell beside the allergens: there are none; there may be more than those named."""

TRACE = 0.5
"""Grams in 100 g below which a trace is; from memory: what an EU label may state as "< 0.5 g" (Commission guidance on
tolerances, December 2012). A trace in another unit is unknown."""

ROUNDING = 0.5
"""Grams by which the parts of 100 g may exceed it: each figure in a table is rounded by itself."""


def layer_in(file: CsvFile) -> tuple[Layer, list[Fault]]:
    """The rows of a table, foods or what it changes in those before it, and what is wrong with it."""
    amends = ("food" in file.header or "id" in file.header) and not any(name in file.header for name in COMPOSITION)
    if amends:
        return amendments_in(file)
    foods, faults = foods_in(file)
    return Foods(foods), faults


def amendments_in(file: CsvFile) -> tuple[tuple[Amendment, ...], list[Fault]]:
    """What a table without composition columns changes, and what is wrong with it."""
    file = with_sodium(file)
    reader = RowReader(file)
    if not reader.nutrients and not any(name in file.header for name in AMENDS):
        return (), [Fault(file.source, "line 1", "", f"expected the columns {', '.join(REQUIRED)}, or beside food one "
                          f"that amends the table before: {', '.join(AMENDS)} or a nutrient")]
    found, faults = [], []
    for line, cells in file.rows:
        row = _Row(reader, line, cells)
        key = " ".join((row.text("food") or row.text("id")).split())
        if not key:
            row.fault("food", "", "expected a name or an id")
        said = _beside_composition(row) | {"amounts": row.amounts(reader.nutrients)}
        if not row.text("allergens"):
            said["allergens_complete"] = None
        found.append(Amendment(key, file.source, f"line {line}", said))
        faults.extend(row.faults)
        if len(faults) >= MOST_FAULTS:
            break
    return tuple(found), faults


def foods_in(file: CsvFile) -> tuple[list[Food], list[Fault]]:
    """The foods of a CSV file, and what is wrong with it."""
    file = with_sodium(file)
    missing = [column for column in REQUIRED if column not in file.header]
    if missing:
        return [], [Fault(file.source, "line 1", "", f"expected the columns {', '.join(missing)}")]
    reader = RowReader(file)
    faults = reader.faults
    foods: list[Food] = []
    seen: dict[str, int] = {}
    for line, cells in file.rows:
        row = _Row(reader, line, cells)
        food = _food_of_row(row)
        name = food.name.lower()
        for key in dict.fromkeys((name, food.id.lower())):
            if key in seen:
                row.fault("food" if key == name else "id", key,
                          f"expected names and ids to be unique; line {seen[key]} has it already")
            seen.setdefault(key, line)
        faults.extend(row.faults)
        foods.append(food)
        if len(faults) >= MOST_FAULTS:
            faults.append(Fault(file.source, f"line {line}", "", "has the last fault that is told; more may follow"))
            break
    return foods, faults


class RowReader:
    """Reads foods from the rows of a table, one by one; `faults` are those of its header.

    Parameters
    ----------
    file : CsvFile
        Whose header counts, and not its rows.
    """

    def __init__(self, file: CsvFile) -> None:
        self.file = file
        self.ends, self.faults = _interval_columns(file)
        self.nutrients = {column: IN_100_G[unit] for column in file.header
                          if (unit := unit_of(column)) and column not in self.ends}

    def food(self, cells: dict[str, str]) -> Food:
        """The food of a row without a fault."""
        return _food_of_row(_Row(self, 0, cells))


def with_sodium(file: CsvFile) -> CsvFile:
    """A file whose columns of salt are of sodium; a cell of sodium itself goes before one of salt."""
    known = (SALT, *(f"{SALT}_{end}" for end in ENDS))
    salts = {name: name.replace(SALT, SODIUM) for name in file.header if name in known}
    if not salts:
        return file
    rows = tuple((line, {name: text for name, text in cells.items() if name not in salts} | {
        sodium: cells.get(sodium) or _sodium(cells[name], file.decimal_comma) for name, sodium in salts.items()})
        for line, cells in file.rows)
    return replace(file, header=tuple(dict.fromkeys(salts.get(name, name) for name in file.header)), rows=rows)


def _sodium(text: str, decimal_comma: bool) -> str:
    """The cell of sodium for one of salt; what is no number is left for its fault."""
    mark, figure = ("<", text[1:].strip()) if text.startswith("<") else ("", text)
    value = number(figure, decimal_comma)
    if value is None:
        return text
    sodium = f"{value * MG_IN_SALT:.10g}"
    return mark + (sodium.replace(".", ",") if decimal_comma else sodium)


def _interval_columns(file: CsvFile) -> tuple[dict[str, tuple[str, End]], list[Fault]]:
    """Columns ``fat_g_low`` or ``fat_low`` -> (nutrient column, which end)."""
    columns = [name for name in file.header if unit_of(name)]
    found: dict[str, tuple[str, End]] = {}
    faults: list[Fault] = []
    for name in file.header:
        base, _, last = name.rpartition("_")
        end = next((end for end in ENDS if end == last), None)
        if end is None:
            continue
        fitting = [column for column in columns if column == base or column.rpartition("_")[0] == base]
        if len(fitting) == 1:
            found[name] = (fitting[0], end)
        else:
            faults.append(Fault(file.source, "line 1", shown(name),
                                f"expected the name of one nutrient column before _{end}"))
    return found, faults


MARKS = "<tT"
"""First letters of the cells that tell of what was looked for and not found."""


def _bound(text: str, unit: str | None, decimal_comma: bool) -> float | None:
    """The most that a cell such as "< 0.5" or "trace" says; None where it is no such cell."""
    if text.lower().rstrip("s") == "trace" and unit:
        return TRACE if unit == "g" else math.inf
    bound = number(text[1:].strip(), decimal_comma) if text.startswith("<") and unit else None
    return bound if bound is not None and bound >= 0 else None


class _Row:
    """Cells of one row, read with their faults gathered."""

    def __init__(self, reader: RowReader, line: int, cells: dict[str, str]) -> None:
        self.reader, self.line, self.cells = reader, line, cells
        self.decimal_comma = reader.file.decimal_comma
        self.faults: list[Fault] = []

    def fault(self, column: str, got: str, expected: str) -> None:
        self.faults.append(Fault(self.reader.file.source, f"line {self.line}, {column}", shown(got), expected))

    def text(self, column: str) -> str:
        return self.cells.get(column, "")

    @cached_property
    def bounds(self) -> dict[str, float]:
        """Nutrients that were looked for and not found, and the most that each can be; infinite where that is not said.

        Cells such as "< 0.5" or "trace".
        """
        marked = {column: text for column in self.reader.nutrients
                  if (text := self.cells[column])[:1] in MARKS and text}
        found = {column: _bound(text, unit_of(column), self.decimal_comma) for column, text in marked.items()}
        return {column: bound for column, bound in found.items() if bound is not None}

    def amounts(self, columns: Mapping[str, float]) -> dict[str, float]:
        """Amounts of all these columns; together where nothing is wrong, for a table has very many."""
        given = {column: text for column in columns if (text := self.cells[column])}
        together = "".join(given.values())
        if together.isascii() and "_" not in together and not self.decimal_comma:
            with suppress(ValueError):
                found = {column: float(text) for column, text in given.items()}
                if all(SMALLEST <= value <= columns[column] or value == 0 for column, value in found.items()):
                    return found
        one_by_one = {column: self.amount(column, columns[column]) for column in given if column not in self.bounds}
        return {column: value for column, value in one_by_one.items() if value is not None}

    def amount(self, column: str, most: float = LARGEST) -> float | None:
        text = self.cells.get(column)
        if not text:
            return None
        value = number(text, self.decimal_comma)
        if value is None or not 0 <= value <= most or not sensible(value):
            mark = ", with a decimal comma and no mark for thousands" if value is None and self.decimal_comma else ""
            small = TOO_SMALL if value is not None and not sensible(value) else ""
            self.fault(column, text, f"expected a number, 0 to {most:,.12g}{mark}, or nothing where unknown{small}")
            return None
        return value


def _pack(row: _Row) -> float | None:
    """g of a pack; one of nothing is a fault."""
    grams = row.amount("pack_grams")
    if grams == 0:
        row.fault("pack_grams", row.text("pack_grams"), "expected the weight of a pack in g, above 0")
    return grams or None


def _food_of_row(row: _Row) -> Food:
    name = " ".join(row.text("food").split())
    if not name:
        row.fault("food", "", "expected a name")
    basis = row.text("carb_basis").lower()
    if basis not in BASES:
        row.fault("carb_basis", basis, "expected by_difference (fibre included) or available (not included)")
    amounts = row.amounts(row.reader.nutrients)
    for column in NEVER_UNKNOWN:
        if not row.text(column):
            row.fault(column, "", "expected a figure: no ratio can be stated without it")
        elif column in row.bounds:
            amounts[column] = 0.0 if column in COUNTS_FOR else row.bounds[column]
    food = Food(
        name=name, id=row.text("id") or f"own:{name.lower()}", basis=basis, amounts=amounts,
        **_intervals(row, amounts), **_beside_composition(row), source=row.text("source"),
        nitrogen_factor=_nitrogen_factor(row))
    if not row.faults:
        _check_sums(row, food)
    return food


def _beside_composition(row: _Row) -> dict[str, Any]:
    """What a row says of a food beside its composition, by the attribute of the food."""
    allergens, complete = _allergens(row)
    return {
        "refuse": row.amount("refuse_percent", 99.9), "price": row.amount("price_per_kg"), "pack": _pack(row),
        "allergens": allergens, "allergens_complete": complete, "role": row.text("role").lower(),
        "use": other_names(row.text("use").lower()), "measures": _measures(row),
        "most": row.amount("most_per_serving"), "most_because": row.text("most_because").rstrip(". "),
        "also": other_names(row.text("also")),
    }


def _intervals(row: _Row, amounts: dict[str, float]) -> dict[str, Any]:
    """Ends of the intervals by column: as the table gives them; of what was not found, 0 and the most there can be."""
    found: dict[str, dict[str, float]] = {end: {} for end in ENDS}
    for name, value in row.amounts(dict.fromkeys(row.reader.ends, IN_100_G["ug"])).items():
        column, end = row.reader.ends[name]
        found[end][column] = value
        middle = amounts.get(column)
        if column in row.bounds:
            continue
        if middle is None or (value > middle if end in ("low", "lowest") else value < middle):
            row.fault(name, row.text(name), f"expected the {end} end of the interval around {column}")
    for outer, inner in (("lowest", "low"), ("highest", "high")):
        for column in found[outer].keys() & found[inner].keys():
            wide, narrow = found[outer][column], found[inner][column]
            if wide > narrow if outer == "lowest" else wide < narrow:
                row.fault(f"{column}_{outer}", f"{wide:g}", f"expected the {inner} end, {narrow:g}, to lie within")
    for column, bound in row.bounds.items():
        if row.reader.nutrients[column] < bound < math.inf:
            row.fault(column, row.text(column), f"expected at most {row.reader.nutrients[column]:g} after <")
        if bound != math.inf:
            found["low"].setdefault(column, 0.0)
            found["high"].setdefault(column, bound)
    return found


def _check_sums(row: _Row, food: Food) -> None:
    """What 100 g hold cannot weigh more than 100 g, and a part cannot exceed its whole."""
    inside = food.basis == "by_difference"
    parts = ["fat_g", "protein_g", "carbs_g", "water_g", "alcohol_g", *([] if inside else ["fibre_g"])]
    total = sum(food.amounts.get(column, 0.0) for column in parts)
    if total > 100 + ROUNDING + 1e-9:
        row.fault("fat_g", f"{total:g} g in 100 g", f"expected {' + '.join(parts)} to be 100.5 g at most")
    carbs, told = food.amounts["carbs_g"], "polyols_g" in food.amounts
    held = {column: food.amounts.get(column, 0.0) for column in COLUMNS}
    held["fibre_g"] = food.amounts.get("fibre_g", 0.0) if inside else 0.0
    kinds = [one.column for one in SUBSTANCE_KINDS]
    for columns, whole, name in (
        (["fibre_g"], carbs, "carbs_g by difference"),
        (kinds if told else [], held["polyols_g"], "polyols_g"),
        ([column for column in COLUMNS if not (told and column in kinds)], carbs - held["fibre_g"],
         "carbs_g less fibre"),
    ):
        _check_parts(row, {column: held[column] for column in columns if held[column]}, whole, name)


def _check_parts(row: _Row, parts: Mapping[str, float], whole: float, name: str) -> None:
    """Parts exceed their whole: one alone, or all together by more than their rounding."""
    over = [column for column, part in parts.items() if part > whole + 1e-9]
    for column in over:
        remark = next((f": {one.remark}" for one in SUBSTANCES if one.column == column and one.remark), "")
        row.fault(column, f"{parts[column]:g}", f"expected at most {max(whole, 0):g}, the {name}{remark}")
    total = sum(parts.values())
    if parts and not over and total > whole + ROUNDING + 1e-9:
        row.fault(next(iter(parts)), f"{total:g} g together",
                  f"expected {' + '.join(parts)} to be at most {whole:g}, the {name}")


def _allergens(row: _Row) -> tuple[tuple[str, ...] | None, bool]:
    """The allergens of a food, and whether they are all: None where none is named, () where there are none."""
    text = row.text("allergens")
    words = [word.strip().lower() for word in text.split(";") if word.strip()]
    named = tuple(word for word in words if word not in (NONE, UNKNOWN))
    if NONE in words and UNKNOWN in words:
        row.fault("allergens", text, f"expected {NONE} or {UNKNOWN}, not both")
    return named if named or NONE in words else None, bool(words) and UNKNOWN not in words


def other_names(text: str) -> tuple[str, ...]:
    """Other names of a food, from their cell.

    >>> other_names("ghee; clarified butter")
    ('ghee', 'clarified butter')
    """
    return tuple(name.strip() for name in text.split(";") if name.strip("? "))


NITROGEN_FACTORS = (4.0, 8.0)
"""No protein has less nitrogen than an eighth or more than a quarter: those of foods are 5.18 to 6.40 in USDA SR28."""


def _nitrogen_factor(row: _Row) -> float | None:
    """What protein is nitrogen times."""
    factor = row.amount("nitrogen_factor")
    least, most = NITROGEN_FACTORS
    if factor is not None and not least <= factor <= most:
        row.fault("nitrogen_factor", f"{factor:g}", f"expected {least:g} to {most:g}, or nothing where unknown")
    return factor


def _measures(row: _Row) -> dict[str, float]:
    found: dict[str, float] = {}
    for item in filter(None, (part.strip() for part in row.text("measures").split(";"))):
        name, _, grams = item.partition("=")
        value = number(grams, row.decimal_comma)
        if not name.strip() or value is None or not SMALLEST <= value <= LARGEST:
            row.fault("measures", item, "expected measures as name=grams, parted by semicolons; "
                      f"grams from {SMALLEST:f} to {LARGEST:,.0f}")
        else:
            found[name.strip().lower()] = value
    return found
