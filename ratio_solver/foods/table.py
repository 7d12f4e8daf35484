"""The composition table: foods by name and id, read from CSV and checked row by row."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from ratio_solver.faults import Fault, collected, one_line, shown
from ratio_solver.foods.csv_file import CsvFile, number, read_csv
from ratio_solver.foods.food import BASES, Food
from ratio_solver.foods.nutrients import NEVER_UNKNOWN, REQUIRED, unit_of
from ratio_solver.foods.sizes import IN_100_G, LARGEST, MOST_FAULTS, SMALLEST, TOO_SMALL, sensible

ROUNDING = 0.5
"""Grams by which the parts of 100 g may exceed it: each figure in a table is rounded by itself."""


@dataclass(frozen=True)
class FoodTable:
    """Foods of one or more composition tables; a later table wins.

    Attributes
    ----------
    foods : tuple of Food
        In the order of the tables, names and ids unique.
    """

    foods: tuple[Food, ...] = field(repr=False)

    @cached_property
    def _by_key(self) -> dict[str, Food]:
        by_id = {food.id.lower(): food for food in self.foods}
        return by_id | {food.name.lower(): food for food in self.foods}

    def get(self, name: str) -> Food | None:
        """The food of this name or id (capitals and outer spaces do not matter), or None."""
        return self._by_key.get(one_line(name).lower())

    def near(self, name: str, most: int = 3) -> list[str]:
        """Names that the cook may have meant, nearest first."""
        wanted = folded(name)
        names = [food.name for food in self.foods]
        holding = [food.name for food in self.search(wanted)]
        close = difflib.get_close_matches(wanted, names, n=most, cutoff=0.6)
        return list(dict.fromkeys([*close, *holding]))[:most]

    def unknown(self, name: str) -> str:
        """What to say of a name that is not in the table."""
        near = self.near(name)
        return "is not in the composition table" + (f"; did you mean {' or '.join(map(repr, near))}?" if near else "")

    def search(self, words: str) -> list[Food]:
        """Foods whose name, id or role hold all the words (accents do not matter), the closest names first."""
        wanted = folded(words).replace(",", " ").split()
        keys = {food.id: folded(f"{food.name} {food.id} {food.role}") for food in self.foods}
        found = [food for food in self.foods if all(word in keys[food.id] for word in wanted)]
        first = wanted[0] if wanted else ""
        return sorted(found, key=lambda food: (not keys[food.id].startswith(first), len(food.name)))

    def with_role(self, role: str) -> tuple[Food, ...]:
        """Foods of a role ("fat", "sweetener"), in the table's order."""
        return tuple(food for food in self.foods if food.role == role)

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Nutrient columns that at least one food has, in the table's order."""
        return tuple(dict.fromkeys(column for food in self.foods for column in food.amounts))

    def __iter__(self) -> Iterator[Food]:
        return iter(self.foods)

    def __len__(self) -> int:
        return len(self.foods)


def bundled_path() -> Path:
    """Where the table that comes with the package lies, installed or in a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "data" / "foods.csv"
    return installed if installed.exists() else package.parent / "data" / "foods.csv"


def load_foods(*paths: str | Path, bundled: bool = True) -> FoodTable:
    """Read composition tables (CSV, DESIGN of the columns: see the README).

    Parameters
    ----------
    *paths : path
        The user's own tables; a later one wins over an earlier, all win over the bundled one.
    bundled : bool
        Whether the table that comes with the package is read first.

    Raises
    ------
    BadInput
        With every fault of every table.
    """
    foods: dict[str, Food] = {}
    faults: list[Fault] = []
    for path in [*([bundled_path()] if bundled else []), *paths]:
        table, found = foods_in(read_csv(path))
        faults.extend(found)
        names = {food.name.lower() for food in table}
        ids = {food.id.lower() for food in table}
        foods = {
            key: food for key, food in foods.items()
            if food.name.lower() not in names and food.id.lower() not in ids
        }
        foods |= {food.name.lower(): food for food in table}
    collected(faults)
    return FoodTable(tuple(foods.values()))


def foods_in(file: CsvFile) -> tuple[list[Food], list[Fault]]:
    """The foods of a CSV file, and what is wrong with it."""
    missing = [column for column in REQUIRED if column not in file.header]
    if missing:
        return [], [Fault(file.source, "line 1", "", f"expected the columns {', '.join(missing)}")]
    ends, faults = _interval_columns(file)
    nutrients = {column: IN_100_G[unit] for column in file.header if (unit := unit_of(column)) and column not in ends}
    foods: list[Food] = []
    seen: dict[str, int] = {}
    for line, cells in file.rows:
        row = _Row(file, line, cells)
        food = _food(row, nutrients, ends)
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


def _interval_columns(file: CsvFile) -> tuple[dict[str, tuple[str, str]], list[Fault]]:
    """Columns ``fat_g_low`` or ``fat_low`` -> (nutrient column, "low" or "high")."""
    columns = [name for name in file.header if unit_of(name)]
    found: dict[str, tuple[str, str]] = {}
    faults: list[Fault] = []
    for name in file.header:
        base, _, end = name.rpartition("_")
        if end not in ("low", "high"):
            continue
        fitting = [column for column in columns if column == base or column.rpartition("_")[0] == base]
        if len(fitting) == 1:
            found[name] = (fitting[0], end)
        else:
            faults.append(Fault(file.source, "line 1", shown(name),
                                "expected the name of one nutrient column before _low or _high"))
    return found, faults


class _Row:
    """Cells of one row, read with their faults gathered."""

    def __init__(self, file: CsvFile, line: int, cells: dict[str, str]) -> None:
        self.file, self.line, self.cells = file, line, cells
        self.decimal_comma = file.decimal_comma
        self.faults: list[Fault] = []

    def fault(self, column: str, got: str, expected: str) -> None:
        self.faults.append(Fault(self.file.source, f"line {self.line}, {column}", shown(got), expected))

    def text(self, column: str) -> str:
        return self.cells.get(column, "")

    def amounts(self, columns: dict[str, float]) -> dict[str, float]:
        """Amounts of all these columns; together where nothing is wrong, for a table has very many."""
        given = {column: text for column in columns if (text := self.cells[column])}
        together = "".join(given.values())
        if together.isascii() and "_" not in together and not self.decimal_comma:
            try:
                found = {column: float(text) for column, text in given.items()}
            except ValueError:
                pass
            else:
                if all(SMALLEST <= value <= columns[column] or value == 0 for column, value in found.items()):
                    return found
        one_by_one = {column: self.amount(column, columns[column]) for column in given}
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


def _food(row: _Row, nutrients: dict[str, float], ends: dict[str, tuple[str, str]]) -> Food:
    name = row.text("food")
    if not name:
        row.fault("food", "", "expected a name")
    basis = row.text("carb_basis").lower()
    if basis not in BASES:
        row.fault("carb_basis", basis, "expected by_difference (fibre included) or available (not included)")
    amounts = row.amounts(nutrients)
    for column in NEVER_UNKNOWN:
        if not row.text(column):
            row.fault(column, "", "expected a figure: no ratio can be stated without it")
    low, high = _intervals(row, ends, amounts)
    food = Food(
        name=name,
        id=row.text("id") or f"own:{name.lower()}",
        basis=basis,
        amounts=amounts,
        low=low,
        high=high,
        refuse=row.amount("refuse_percent", 99.9),
        price=row.amount("price_per_kg"),
        allergens=_words(row.text("allergens")),
        role=row.text("role").lower(),
        measures=_measures(row),
        source=row.text("source"),
    )
    if not row.faults:
        _check_sums(row, food)
    return food


def _intervals(
    row: _Row, ends: dict[str, tuple[str, str]], amounts: dict[str, float]
) -> tuple[dict[str, float], dict[str, float]]:
    found: dict[str, dict[str, float]] = {"low": {}, "high": {}}
    for name, value in row.amounts(dict.fromkeys(ends, IN_100_G["ug"])).items():
        column, end = ends[name]
        found[end][column] = value
        middle = amounts.get(column)
        if middle is None or (value > middle if end == "low" else value < middle):
            row.fault(name, row.text(name), f"expected the {end} end of the interval around {column}")
    return found["low"], found["high"]


def _check_sums(row: _Row, food: Food) -> None:
    """What 100 g hold cannot weigh more than 100 g, and a part cannot exceed its whole."""
    amount = food.amounts.get
    fibre = amount("fibre_g", 0.0)
    parts = ["fat_g", "protein_g", "carbs_g", "water_g", "alcohol_g"]
    if food.basis == "available":
        parts.append("fibre_g")
    total = sum(amount(column, 0.0) for column in parts)
    if total > 100 + ROUNDING + 1e-9:
        row.fault("fat_g", f"{total:g} g in 100 g", f"expected {' + '.join(parts)} to be 100.5 g at most")
    carbs = food.amounts["carbs_g"]
    fibre_inside = fibre if food.basis == "by_difference" else 0.0
    rest = carbs - fibre_inside
    wholes = (
        ("fibre_g", fibre_inside, carbs, "carbs_g by difference"),
        ("polyols_g", amount("polyols_g", 0.0), rest, "carbs_g less fibre"),
        ("allulose_g", amount("allulose_g", 0.0), rest, "carbs_g less fibre"),
        ("erythritol_g", amount("erythritol_g", 0.0), amount("polyols_g", rest), "polyols_g, or carbs_g less fibre"),
    )
    for column, part, whole, name in wholes:
        if part and part > whole + 1e-9:
            row.fault(column, f"{part:g}", f"expected at most {max(whole, 0):g}, the {name}")


def _words(text: str) -> tuple[str, ...] | None:
    """Allergens of a cell: None where it is blank (unknown), () where it says none."""
    words = [word.strip().lower() for word in text.split(";") if word.strip()]
    if not words:
        return None
    return tuple(word for word in words if word != "none")


def _measures(row: _Row) -> dict[str, float]:
    found: dict[str, float] = {}
    for item in filter(None, (part.strip() for part in row.text("measures").split(";"))):
        name, _, grams = item.partition("=")
        value = number(grams, row.file.decimal_comma)
        if not name.strip() or value is None or not SMALLEST <= value <= LARGEST:
            row.fault("measures", item, "expected measures as name=grams, parted by semicolons; "
                      f"grams from {SMALLEST:f} to {LARGEST:,.0f}")
        else:
            found[name.strip().lower()] = value
    return found


def folded(text: str) -> str:
    """A text in small letters without accents.

    >>> folded("Gruyère"), folded("Bœuf")
    ('gruyere', 'boeuf')
    """
    if text.isascii():
        return text.lower()
    letters = text.casefold().replace("œ", "oe").replace("æ", "ae").replace("ø", "o")
    return "".join(letter for letter in unicodedata.normalize("NFKD", letters) if not unicodedata.combining(letter))


def suggestion(name: str, names: Iterable[str]) -> str:
    """A "did you mean" for a misspelt word, or nothing.

    >>> suggestion("serving", ["servings", "title"])
    '; did you mean servings?'
    """
    close = difflib.get_close_matches(str(name).lower(), list(names), n=2, cutoff=0.6)
    return f"; did you mean {' or '.join(close)}?" if close else ""
