"""What heat does to a food: what it weighs afterwards, and what stays of its fat.

Water is lost or taken up; protein stays. So protein before / protein after, per 100 g each, is the yield, the weight
after preparation as a share of the weight before (the release's raw and cooked foods are other samples, so it is an
estimate). Fat does not stay in meat: `fat_kept` says how much of it does, at most all of it.

Plants are boiled, and what leaves with the water makes the yield by protein too high, as it does that by dry matter.
Where these differ by more than a tenth the smaller counts. What is more than half water gains no weight: there a
yield above 1 is taken as 1. Each row's source says so.

A raw meat without the fat that its drippings take away is a food of its own. Its composition stays per 100 g of the raw
weight, so that the yield still divides it. What leaves takes fat and all that is part of fat with it. Protein stays:
where the release weighs the same piece raw and cooked, half of the pairs have less of it than before and half more
(`tests/foods/test_yields.py`). Minerals, cholesterol and vitamins count as if all of them stayed, and water is no
longer known.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from ratio_solver.errors import Fault, collected, shown
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.content import DEFAULT, FAT_KCAL, content, derived_carbs
from ratio_solver.foods.csv_file import number, read_csv
from ratio_solver.foods.ends import ENDS, End
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import CARBS, ENERGY, FAT, WATER, stem_of

LOSES_FAT = ("meat", "poultry", "fish", "shellfish")
"""Roles of foods whose fat runs out when they are cooked."""

PARTS_OF_FAT = ("saturated", "monounsaturated", "polyunsaturated", "trans", "omega", "mct", "erucic", "caprylic",
                "capric", "epa", "dha")
"""First words of the columns that are parts of fat, and so leave with it; so is any fatty acid by its number of
carbon atoms (c8, c10)."""

FULL = Fraction(201, 2)
"""Grams that 100 g can hold, with half a gram for the rounding of a table's figures."""


@dataclass(frozen=True)
class Yield:
    """One food prepared one way.

    Attributes
    ----------
    food, id, role : str
        The food before preparation.
    prepared : str
        "roasted", "boiled", "cooked", ...
    share : float
        Prepared weight / weight before.
    fat_kept : float or None
        Share of the fat that is still there, 0 to 1; None where it is not stated.
    cooked_food, cooked_id : str
        The prepared food in the composition table; may be empty.
    source : str
    """

    food: str
    id: str
    role: str
    prepared: str
    share: float
    fat_kept: float | None
    cooked_food: str
    cooked_id: str
    source: str

    @property
    def fat_left(self) -> float:
        """Share of the fat that counts as still there: all of it where that is not stated."""
        return 1.0 if self.fat_kept is None else self.fat_kept


@dataclass(frozen=True)
class YieldTable:
    """Yields by food and preparation."""

    rows: tuple[Yield, ...] = field(repr=False)

    @cached_property
    def _by_food(self) -> dict[str, tuple[Yield, ...]]:
        found: dict[str, list[Yield]] = {}
        for row in self.rows:
            for key in dict.fromkeys((row.food, row.id)):
                found.setdefault(key, []).append(row)
        return {key: tuple(rows) for key, rows in found.items()}

    def of(self, food: Food) -> tuple[Yield, ...]:
        """All the ways of preparing a food that the table has."""
        return self._by_food.get(food.id.lower()) or self._by_food.get(food.name.lower(), ())

    def get(self, food: Food, prepared: str) -> Yield | None:
        """The yield of a food prepared this way, or None."""
        wanted = " ".join(prepared.lower().split())
        return next((row for row in self.of(food) if row.prepared == wanted), None)

    def nearest(self, food: Food, share: float) -> Yield | None:
        """The way of preparing a food whose yield is nearest, the first of two; None where none tells of its fat."""
        known = [row for row in self.of(food) if row.fat_kept is not None]
        return min(known, key=lambda row: abs(exact(row.share) - exact(share)), default=None)

    def leanest(self, food: Food) -> Yield | None:
        """The way of preparing a food that leaves the least of its fat; None where none tells of it."""
        return min((row for row in self.of(food) if row.fat_kept is not None), key=lambda row: row.fat_left,
                   default=None)

    def leanest_of(self, role: str) -> Yield | None:
        """The way of preparing any food of a role that leaves the least of its fat."""
        return min((row for row in self.rows if row.role == role and row.fat_kept is not None),
                   key=lambda row: row.fat_left, default=None)


@lru_cache(maxsize=1)
def bundled_yields() -> YieldTable:
    """The yields that come with the package.

    Returns
    -------
    YieldTable

    Examples
    --------
    >>> from ratio_solver import bundled_yields, load_foods
    >>> bundled_yields().of(load_foods().get("turnip, raw"))[0].prepared
    'boiled'
    """
    return load_yields(bundled_path().with_name("yields.csv"))


def load_yields(path: str | Path) -> YieldTable:
    """Read a table of yields (CSV: food, id, role, prepared, yield, fat_kept, cooked_food, cooked_id, source).

    Parameters
    ----------
    path : path

    Returns
    -------
    YieldTable

    Raises
    ------
    BadInput
        With every fault of the table.

    Examples
    --------
    >>> from ratio_solver import load_yields
    >>> len(load_yields("data/yields.csv").rows) > 100
    True
    """
    file = read_csv(path)
    missing = [column for column in ("food", "id", "prepared", "yield") if column not in file.header]
    collected([Fault(file.source, "line 1", "", f"expected the columns {', '.join(missing)}")] if missing else [])
    rows: list[Yield] = []
    faults: list[Fault] = []
    seen: set[tuple[str, str]] = set()
    for line, cells in file.rows:
        share = number(cells["yield"], file.decimal_comma)
        kept_text = cells.get("fat_kept", "")
        kept = number(kept_text, file.decimal_comma)
        name, prepared = cells["food"].lower(), cells["prepared"].lower()
        place = f"line {line}"
        if share is None or not 0 < share <= 20:
            faults.append(Fault(file.source, f"{place}, yield", shown(cells["yield"]), "expected a share, 0 to 20"))
        if kept_text and (kept is None or not 0 <= kept <= 1):
            faults.append(Fault(file.source, f"{place}, fat_kept", shown(kept_text), "expected a share, 0 to 1"))
        if not name or not prepared or (name, prepared) in seen:
            faults.append(Fault(file.source, f"{place}, prepared", shown(prepared),
                                "expected each food and preparation once"))
        seen.add((name, prepared))
        rows.append(Yield(name, cells["id"].lower(), cells.get("role", "").lower(), prepared, share or 1.0, kept,
                          cells.get("cooked_food", ""), cells.get("cooked_id", ""), cells.get("source", "")))
    collected(faults)
    return YieldTable(tuple(rows))


def after_heat(food: Food, fat_kept: float, said: str = "") -> Food:
    """A raw food with the share of its fat that is still there, per 100 g of the raw weight.

    Parameters
    ----------
    food : Food
    fat_kept : float
        Share, 0 to 1.
    said : str
        What the source says of it.

    Returns
    -------
    Food
        With the same name and id. Energy is less by what the lost fat brings, 9 kcal per g (Regulation (EU)
        1169/2011, Annex XIV); each end of an interval is treated as its figure.
    """
    figures: dict[str, Any] = {end or "amounts": _heated(food, end, exact(fat_kept)) for end in ("", *ENDS)}
    return replace(food, **figures, source="; ".join(filter(None, (food.source, said))))


def _heated(food: Food, end: End, share: Fraction) -> dict[str, float]:
    """The figures of one end without what leaves with the fat; energy is less by what that brought."""
    kept = {column: float(exact(value) * share) if _part_of_fat(column) else value
            for column, value in {**food.ends(end), **_carbohydrate(food, end)}.items() if column != WATER}
    if ENERGY in kept:
        fat = food.at(FAT, end) or ZERO
        lost = FAT_KCAL * (fat - exact(float(fat * share)))
        kept[ENERGY] = float(max(ZERO, exact(kept[ENERGY]) - lost))
    return kept


def _carbohydrate(food: Food, end: End) -> dict[str, float]:
    """An end of the carbohydrate's interval as the raw food has it: what it is the difference of is no longer there."""
    carbs = content(food, CARBS, DEFAULT, end) if derived_carbs(food, end) else None
    return {} if carbs is None or carbs == food.at(CARBS) else {CARBS: float(carbs)}


def as_weighed(food: Food, yield_: float) -> Fraction:
    """Grams of fat, protein, carbohydrate and alcohol that 100 g of a prepared food would hold."""
    fibre = food.amounts.get("fibre_g", 0.0) if food.basis == "available" else 0.0
    parts = (*(food.amounts.get(column, 0.0) for column in (FAT, "protein_g", "carbs_g", "alcohol_g")), fibre)
    return sum(map(exact, parts), ZERO) / exact(yield_)


def _part_of_fat(column: str) -> bool:
    first = stem_of(column).partition("_")[0]
    return column == FAT or first in PARTS_OF_FAT or (first[:1] == "c" and first[1:].isdigit())
