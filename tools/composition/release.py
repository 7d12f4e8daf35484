"""What a USDA Standard Reference release says of chosen foods, as it stands there.

US Department of Agriculture, Agricultural Research Service, Nutrient Data Laboratory. USDA National
Nutrient Database for Standard Reference, Release 28 (Slightly revised). May 2016.

The release is plain text: one record a line, fields parted by ``^``, text between ``~``, code page 1252.
Three of its files are read: ``FOOD_DES`` (the foods), ``NUT_DATA`` (36 MB, read as a stream) and
``WEIGHT`` (household measures). Carbohydrate is by difference, so it includes fibre.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, collected


@dataclass(frozen=True)
class Figure:
    """A nutrient of a food as the release gives it.

    Attributes
    ----------
    value : str
        Per 100 g edible part, in the unit of the nutrient; the decimal text of the release.
    points : int
        Number of data points behind it.
    error : str
        Standard error of the mean in the same unit; empty where there is none.
    least, most : str
        The lowest and highest of what was measured; empty where it is not told.
    freedom : float or None
        Degrees of freedom of the standard error.
    bounds : (str, str) or None
        Lower and upper bound of the mean at 95 %.
    """

    value: str
    points: int
    error: str
    least: str = ""
    most: str = ""
    freedom: float | None = None
    bounds: tuple[str, str] | None = None


@dataclass(frozen=True)
class ReleaseFood:
    """A food as the release has it.

    Attributes
    ----------
    number : str
        Five digits.
    nitrogen_factor : str
        What its protein is nitrogen times; empty where the release states none.
    refuse : str
        Inedible share of the food as bought, percent; empty where the release is silent.
    figures : mapping of str to Figure
        By the release's number of the nutrient, per 100 g edible part.
    measures : tuple of (str, Decimal)
        Household measure and grams of one of it, in the order of the release.
    """

    number: str
    refuse: str
    figures: Mapping[str, Figure]
    measures: tuple[tuple[str, Decimal], ...]
    nitrogen_factor: str = ""


def read_release(folder: Path, numbers: frozenset[str]) -> dict[str, ReleaseFood]:
    """The foods of these numbers, by number.

    Parameters
    ----------
    folder : Path
        Holds FOOD_DES.txt, NUT_DATA.txt and WEIGHT.txt of the release.
    numbers : frozenset of str
        Five digits each.

    Raises
    ------
    BadInput
        For a file that cannot be read and for every food that the release lacks.
    """
    described = {record[0]: record for record in _records(folder / "FOOD_DES.txt") if record[0] in numbers}
    collected(
        Fault(str(folder), "FOOD_DES.txt", f"ndb:{number}", "expected the number of a food in the release")
        for number in sorted(numbers - set(described))
    )
    figures: dict[str, dict[str, Figure]] = {}
    for record in _records(folder / "NUT_DATA.txt"):
        if record[0] in numbers:
            figures.setdefault(record[0], {})[record[1]] = _figure(record)
    measures: dict[str, list[tuple[str, Decimal]]] = {}
    for number, _, count, description, grams, *_ in _records(folder / "WEIGHT.txt"):
        if number in numbers:
            measures.setdefault(number, []).append((description, Decimal(grams) / Decimal(count)))
    return {
        number: ReleaseFood(number, record[8], figures.get(number, {}), tuple(measures.get(number, ())),
                            record[10] if float(record[10] or 0) else "")
        for number, record in described.items()
    }


def _figure(record: list[str]) -> Figure:
    """A figure from the fields of NUT_DATA: food, nutrient, value, points, error, then 5 others, and the statistics."""
    value, points, error = record[2:5]
    least, most, freedom, lower, upper = record[10:15]
    return Figure(value, int(points or 0), error, least, most, float(freedom) if freedom else None,
                  (lower, upper) if lower and upper else None)


def _records(path: Path) -> Iterator[list[str]]:
    """Fields of every record of a release file, one record at a time."""
    try:
        with path.open(encoding="cp1252", newline="") as file:
            yield from csv.reader(file, delimiter="^", quotechar="~", doublequote=False)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput([Fault(str(path), "", "", f"cannot be read: {error}")]) from error
