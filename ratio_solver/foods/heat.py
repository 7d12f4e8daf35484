"""What heat leaves of a food: a raw meat without the fat that its drippings take away is a food of its own.

The composition stays per 100 g of the raw weight, so that the yield still divides it. What leaves takes fat and
all that is part of fat with it. Protein stays: where the release weighs the same piece raw and cooked, half of the
pairs have less of it than before and half have more (`tests/foods/test_yields.py`). Minerals, cholesterol and
vitamins count as if all of them stayed, and water is no longer known.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.content import DEFAULT, FAT_KCAL, content, derived_carbs
from ratio_solver.foods.ends import ENDS, End
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import CARBS, ENERGY, FAT, WATER, stem_of

PARTS_OF_FAT = ("saturated", "monounsaturated", "polyunsaturated", "trans", "omega", "mct", "erucic", "caprylic",
                "capric", "epa", "dha")
"""First words of the columns that are parts of fat, and so leave with it; so is any fatty acid by its number of
carbon atoms (c8, c10)."""

FULL = Fraction(201, 2)
"""Grams that 100 g can hold, with half a gram for the rounding of a table's figures."""


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
