"""Yields: what a food weighs after preparation, as a share of its weight before.

Water is lost or taken up; protein stays. So protein before / protein after, per 100 g each, is the yield
(the release's raw and cooked foods are other samples, so it is an estimate). Fat does not stay in meat:
`fat_kept` says how much of it does.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property, lru_cache
from pathlib import Path

from ratio_solver.faults import BadInput, Fault, collected, shown
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.csv_file import number, read_csv
from ratio_solver.foods.food import Food, exact

COLUMNS = ("food", "id", "prepared", "yield", "fat_kept", "cooked_food", "cooked_id", "source")

LOSES_FAT = ("meat", "poultry", "fish", "shellfish")
"""Roles of foods whose fat runs out when they are cooked."""


@dataclass(frozen=True)
class Yield:
    """One food prepared one way.

    Attributes
    ----------
    food, id : str
        The food before preparation.
    prepared : str
        "roasted", "boiled", "cooked", ...
    share : float
        Prepared weight / weight before.
    fat_kept : float or None
        Share of the fat that is still there; None where it is not stated.
    cooked_food, cooked_id : str
        The prepared food in the composition table; may be empty.
    source : str
    """

    food: str
    id: str
    prepared: str
    share: float
    fat_kept: float | None
    cooked_food: str
    cooked_id: str
    source: str


@dataclass(frozen=True)
class YieldTable:
    """Yields by food and preparation."""

    rows: tuple[Yield, ...] = field(repr=False)

    @cached_property
    def _by_food(self) -> dict[str, tuple[Yield, ...]]:
        keys = {key for row in self.rows for key in (row.food, row.id)}
        return {key: tuple(row for row in self.rows if key in (row.food, row.id)) for key in keys}

    def of(self, food: Food) -> tuple[Yield, ...]:
        """All the ways of preparing a food that the table has."""
        return self._by_food.get(food.id.lower()) or self._by_food.get(food.name.lower(), ())

    def get(self, food: Food, prepared: str) -> Yield | None:
        """The yield of a food prepared this way, or None."""
        wanted = " ".join(prepared.lower().split())
        return next((row for row in self.of(food) if row.prepared == wanted), None)


def share_by_protein(before: Food, after: Food) -> Fraction:
    """Prepared weight / weight before, from the protein of both: it neither leaves nor comes.

    Raises
    ------
    BadInput
        Where the prepared food has no protein to go by.
    """
    kept = exact(after.amounts["protein_g"])
    if not kept:
        raise BadInput([Fault(after.name, "protein_g", "0", "expected protein to reckon a yield by")])
    return exact(before.amounts["protein_g"]) / kept


def fat_kept(before: Food, after: Food) -> Fraction | None:
    """Share of the fat that stays, when the yield is that by protein; None where there was none."""
    had = exact(before.amounts["fat_g"])
    return share_by_protein(before, after) * exact(after.amounts["fat_g"]) / had if had else None


@lru_cache(maxsize=1)
def bundled_yields() -> YieldTable:
    """The yields that come with the package."""
    return load_yields(bundled_path().with_name("yields.csv"))


def load_yields(path: str | Path) -> YieldTable:
    """Read a table of yields (CSV with the columns of `COLUMNS`).

    Raises
    ------
    BadInput
        With every fault of the table.
    """
    file = read_csv(path)
    missing = [column for column in COLUMNS[:4] if column not in file.header]
    collected([Fault(file.source, "line 1", "", f"expected the columns {', '.join(missing)}")] if missing else [])
    rows: list[Yield] = []
    faults: list[Fault] = []
    seen: set[tuple[str, str]] = set()
    for line, cells in file.rows:
        share = number(cells["yield"], file.decimal_comma)
        kept = number(cells.get("fat_kept", ""), file.decimal_comma)
        name, prepared = cells["food"].lower(), cells["prepared"].lower()
        place = f"line {line}"
        if share is None or not 0 < share <= 20:
            faults.append(Fault(file.source, f"{place}, yield", shown(cells["yield"]), "expected a share, 0 to 20"))
        if not name or not prepared or (name, prepared) in seen:
            faults.append(Fault(file.source, f"{place}, prepared", shown(prepared),
                                "expected each food and preparation once"))
        seen.add((name, prepared))
        rows.append(Yield(name, cells["id"].lower(), prepared, share or 1.0, kept, cells.get("cooked_food", ""),
                          cells.get("cooked_id", ""), cells.get("source", "")))
    collected(faults)
    return YieldTable(tuple(rows))
