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

from ratio_solver.faults import BadInput, Fault, collected


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
    """

    value: str
    points: int
    error: str


@dataclass(frozen=True)
class ReleaseFood:
    """A food as the release has it.

    Attributes
    ----------
    number : str
        Five digits.
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
    refuse = {record[0]: record[8] for record in _records(folder / "FOOD_DES.txt") if record[0] in numbers}
    collected(
        Fault(str(folder), "FOOD_DES.txt", f"ndb:{number}", "expected the number of a food in the release")
        for number in sorted(numbers - set(refuse))
    )
    figures: dict[str, dict[str, Figure]] = {}
    for number, nutrient, value, points, error, *_ in _records(folder / "NUT_DATA.txt"):
        if number in numbers:
            figures.setdefault(number, {})[nutrient] = Figure(value, int(points or 0), error)
    measures: dict[str, list[tuple[str, Decimal]]] = {}
    for number, _, count, description, grams, *_ in _records(folder / "WEIGHT.txt"):
        if number in numbers:
            measures.setdefault(number, []).append((description, Decimal(grams) / Decimal(count)))
    return {
        number: ReleaseFood(number, share, figures.get(number, {}), tuple(measures.get(number, ())))
        for number, share in refuse.items()
    }


def _records(path: Path) -> Iterator[list[str]]:
    """Fields of every record of a release file, one record at a time."""
    try:
        with path.open(encoding="cp1252", newline="") as file:
            yield from csv.reader(file, delimiter="^", quotechar="~", doublequote=False)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput([Fault(str(path), "", "", f"cannot be read: {error}")]) from error
