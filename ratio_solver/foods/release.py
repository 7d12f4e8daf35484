"""Rows of a composition table from the files of a USDA Standard Reference release, figures unchanged.

US Department of Agriculture, Agricultural Research Service, Nutrient Data Laboratory. USDA National
Nutrient Database for Standard Reference, Release 28 (Slightly revised). May 2016.

The release is plain text: one record a line, fields parted by ``^``, text between ``~``, code page 1252.
Three of its files are read: ``FOOD_DES`` (the foods), ``NUT_DATA`` (36 MB, read as a stream) and
``WEIGHT`` (household measures). Carbohydrate is by difference, so it includes fibre.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from pathlib import Path

from ratio_solver.faults import BadInput, Fault, collected
from ratio_solver.foods.substances import COLUMNS as SUBSTANCES

NUTRIENTS = {
    "204": "fat_g", "203": "protein_g", "205": "carbs_g", "291": "fibre_g", "208": "energy_kcal",
    "255": "water_g", "269": "sugars_g", "221": "alcohol_g", "606": "saturated_g", "307": "sodium_mg",
    "306": "potassium_mg", "304": "magnesium_mg", "301": "calcium_mg", "320": "vitamin_a_ug", "319": "retinol_ug",
    "317": "selenium_ug", "630": "erucic_g",
}
"""Nutrient number of the release to column of the table, per 100 g edible part.

Vitamin A is in retinol activity equivalents (RAE), plants' carotenes among them; erucic acid is all 22:1 that the
release does not tell apart: in fish that is mostly another one (`ratio_solver.foods.levels`).
"""

WITH_INTERVAL = ("fat_g", "protein_g", "fibre_g")
"""Columns whose standard errors are turned into a low and a high."""

COLUMNS = (
    "food", "id", "carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g", "energy_kcal", "water_g",
    "sugars_g", "soluble_fibre_g", "insoluble_fibre_g", *SUBSTANCES,
    "alcohol_g", "saturated_g", "mct_g", "sodium_mg", "potassium_mg", "magnesium_mg", "calcium_mg",
    "vitamin_a_ug", "retinol_ug", "selenium_ug", "erucic_g",
    "fat_g_low", "fat_g_high", "protein_g_low", "protein_g_high", "fibre_g_low", "fibre_g_high",
    "refuse_percent", "price_per_kg", "allergens", "role", "measures", "most_per_serving", "most_because", "source",
)
"""Columns of the table, in the order in which they are written."""

MOST = ("most_per_serving", "most_because")
"""Columns that say how much of a food a serving may hold."""

Z_95 = Decimal("1.96")
"""Standard errors to either side of the mean within which it lies in 95 of 100 samples (normal)."""

FEWEST_POINTS = 3
"""A standard error from fewer data points than this says nothing."""

MOST_MEASURES = 6
UNITS_OF_MEASURE = frozenset((
    "almond", "apricot", "bagel", "biscuit", "bulb", "chop", "clove", "cookie", "cracker", "croissant",
    "cube", "cup", "date", "drumstick", "each", "ear", "egg", "extra", "fig", "fillet", "fl", "fruit", "head",
    "jumbo", "kernel", "large", "leaf", "leg", "link", "medium", "mushroom", "nut", "olive", "packet", "pancake",
    "pat", "patty", "pepper", "piece", "pita", "plum", "pod", "potato", "roll", "root", "slice", "small", "spear",
    "sprig", "sprout", "stalk", "steak", "stick", "strip", "tbsp", "thigh", "tomato", "tortilla", "tsp", "waffle",
    "wing",
))
"""First words of the household measures that a cook uses; weights and packages are left out."""

SPELLINGS = {"tablespoon": "tbsp", "teaspoon": "tsp"}

Row = dict[str, str]


@dataclass(frozen=True)
class Figure:
    """A nutrient of a food as the release gives it.

    Attributes
    ----------
    value : str
        Per 100 g edible part, in the unit of the column; the decimal text of the release.
    points : int
        Number of data points behind it.
    error : str
        Standard error of the mean in the same unit; empty where there is none.
    """

    value: str
    points: int
    error: str


@dataclass(frozen=True)
class Chosen:
    """What the release says about the chosen foods, by five-digit food number.

    Attributes
    ----------
    refuse : mapping of str to str
        Inedible share of the food as bought, percent; empty where the release is silent.
    figures : mapping of str to mapping of str to Figure
        By column of the table, per 100 g edible part.
    measures : mapping of str to list of (str, str)
        Household measure and grams of one of it, in the order of the release.
    """

    refuse: Mapping[str, str]
    figures: Mapping[str, Mapping[str, Figure]]
    measures: Mapping[str, list[tuple[str, str]]]


def rows_from_release(folder: Path, selection: Iterable[Mapping[str, str]]) -> list[Row]:
    """Rows of the table for the chosen foods, in the order chosen.

    Parameters
    ----------
    folder : Path
        Holds FOOD_DES.txt, NUT_DATA.txt and WEIGHT.txt of the release.
    selection : iterable of mapping
        Each with `food` (name in the table), `id` ("ndb:01001"), `role` and `allergens`; a `refuse_percent` that is
        not blank stands for the release's own (with `refuse_why` for the reader of the selection).

    Returns
    -------
    list of dict of str to str
        A cell for every one of `COLUMNS`; figures per 100 g edible part are the release's own text,
        blank where it gives none.

    Raises
    ------
    BadInput
        For a file that cannot be read and for every chosen food that the release lacks.

    References
    ----------
    US Department of Agriculture, Agricultural Research Service, Nutrient Data Laboratory. USDA National
    Nutrient Database for Standard Reference, Release 28 (Slightly revised). May 2016.
    """
    chosen = list(selection)
    numbers = frozenset(_number(choice) for choice in chosen)
    release = Chosen(
        _refuse(folder, numbers), _figures(folder, numbers), _household_measures(folder, numbers)
    )
    collected(
        Fault(str(folder), "FOOD_DES.txt", choice["id"], "expected the number of a food in the release")
        for choice in chosen if _number(choice) not in release.refuse
    )
    return [_row(choice, release) for choice in chosen]


def read_rows(path: Path) -> list[Row]:
    """Rows of a CSV file as they stand: a selection, or foods that the release lacks."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def with_most(rows: Iterable[Mapping[str, str]], most: Sequence[Mapping[str, str]]) -> list[Row]:
    """Rows of a table with the most that a serving may hold of a food, and why, joined by the food's id.

    Parameters
    ----------
    rows : iterable of mapping
        Rows of the table; a cell that one lacks is blank.
    most : sequence of mapping
        Each with `id`, `food` (for the reader), `most_per_serving` (g; blank where no figure is known) and
        `most_because`.

    Raises
    ------
    BadInput
        For every id that no row of the table has.
    """
    joined = [dict.fromkeys(COLUMNS, "") | dict(row) for row in rows]
    by_id = {row["id"]: row for row in joined}
    collected(Fault("most.csv", "id", said["id"], "expected the id of a food in the table")
              for said in most if said["id"] not in by_id)
    for said in most:
        by_id[said["id"]] |= {column: said[column] for column in MOST}
    return joined


def write_table(path: Path, rows: Iterable[Mapping[str, str]]) -> None:
    """Write rows as a composition table: UTF-8, `COLUMNS` in order, a cell that a row lacks is blank."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def interval(figure: Figure) -> tuple[str, str]:
    """Where the mean lies with 95 % confidence: 1.96 standard errors either way, within 0 and 100 g.

    Rounded outward to 3 decimals; two empty texts where the release gives no usable standard error.

    >>> interval(Figure("81.11", 580, "0.065"))
    ('80.982', '81.238')
    """
    if not figure.error or figure.points < FEWEST_POINTS:
        return "", ""
    value, reach = Decimal(figure.value), Z_95 * Decimal(figure.error)
    low, high = max(value - reach, Decimal(0)), min(value + reach, Decimal(100))
    step = Decimal("0.001")
    return str(low.quantize(step, ROUND_FLOOR)), str(high.quantize(step, ROUND_CEILING))


def measure_name(description: str) -> str:
    """A household measure as a cook would type it, or an empty text where it is of no use in a kitchen.

    >>> measure_name('stalk, large (11"-12" long)'), measure_name("tablespoon"), measure_name("NLEA serving")
    ('stalk large', 'tbsp', '')
    """
    words = description.partition("(")[0].lower().replace(",", " ").split()
    words = [SPELLINGS.get(word, word) for word in words]
    name = " ".join(words)
    plain = all(word.replace("-", "").isalpha() for word in words)
    return name if words and words[0] in UNITS_OF_MEASURE and plain and len(words) <= 3 else ""


def _number(choice: Mapping[str, str]) -> str:
    return choice["id"].removeprefix("ndb:")


def _records(path: Path) -> Iterator[list[str]]:
    """Fields of every record of a release file, one record at a time."""
    try:
        with path.open(encoding="cp1252", newline="") as file:
            yield from csv.reader(file, delimiter="^", quotechar="~", doublequote=False)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput([Fault(str(path), "", "", f"cannot be read: {error}")]) from error


def _refuse(folder: Path, numbers: frozenset[str]) -> dict[str, str]:
    foods = _records(folder / "FOOD_DES.txt")
    return {record[0]: record[8] for record in foods if record[0] in numbers}


def _figures(folder: Path, numbers: frozenset[str]) -> dict[str, dict[str, Figure]]:
    found: dict[str, dict[str, Figure]] = {}
    for number, nutrient, value, points, error, *_ in _records(folder / "NUT_DATA.txt"):
        if number in numbers and nutrient in NUTRIENTS:
            found.setdefault(number, {})[NUTRIENTS[nutrient]] = Figure(value, int(points or 0), error)
    return found


def _household_measures(folder: Path, numbers: frozenset[str]) -> dict[str, list[tuple[str, str]]]:
    found: dict[str, list[tuple[str, str]]] = {}
    for number, _, count, description, grams, *_ in _records(folder / "WEIGHT.txt"):
        if number in numbers:
            found.setdefault(number, []).append((description, _plain(Decimal(grams) / Decimal(count))))
    return found


def _row(choice: Mapping[str, str], release: Chosen) -> Row:
    number = _number(choice)
    figures = release.figures.get(number, {})
    row = dict.fromkeys(COLUMNS, "")
    row |= {column: figure.value for column, figure in figures.items()}
    for column in WITH_INTERVAL:
        if column in figures:
            row[f"{column}_low"], row[f"{column}_high"] = interval(figures[column])
    return row | {
        "food": choice["food"],
        "id": choice["id"],
        "carb_basis": "by_difference",
        "refuse_percent": choice.get("refuse_percent") or release.refuse[number],
        "allergens": choice["allergens"],
        "role": choice["role"],
        "measures": _measures(release.measures.get(number, [])),
        "source": f"USDA SR28, NDB {number}",
    }


def _measures(described: Iterable[tuple[str, str]]) -> str:
    """The household measures worth keeping, the plain ones ("large") before the qualified ("cup sliced")."""
    named: dict[str, str] = {}
    for description, grams in described:
        name = measure_name(description)
        if name and Decimal(grams) > 0:
            named.setdefault(name, grams)
    ranked = sorted(named, key=lambda name: name.count(" ") > (name in ("extra large", "fl oz")))
    return "; ".join(f"{name}={named[name]}" for name in ranked[:MOST_MEASURES])


def _plain(grams: Decimal) -> str:
    """Grams to at most 3 decimals, without trailing zeros.

    >>> _plain(Decimal("14.200")), _plain(Decimal(50)), _plain(Decimal(100) / 3)
    ('14.2', '50', '33.333')
    """
    return f"{grams.quantize(Decimal('0.001')):f}".rstrip("0").rstrip(".")
