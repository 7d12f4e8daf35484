"""What heat leaves of a food: a raw meat without the fat that its drippings take away is a food of its own.

The composition stays per 100 g of the raw weight, so that the yield still divides it. What leaves takes fat and
all that is part of fat with it. Protein stays: where the release weighs the same piece raw and cooked, half of the
pairs have less of it than before and half have more (`tests/foods/test_yields.py`). Minerals, cholesterol and
vitamins count as if all of them stayed, and water is no longer known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

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
    share = exact(fat_kept)
    ends = {end: _kept({**food.ends(end), **_carbohydrate(food, end)}, share) for end in ENDS}
    kept = replace(food, amounts=_kept(food.amounts, share), low=ends["low"], high=ends["high"], lowest=ends["lowest"],
                   highest=ends["highest"], source="; ".join(filter(None, (food.source, said))))
    return replace(kept, amounts=_cooler(food, kept, ""), low=_cooler(food, kept, "low"),
                   high=_cooler(food, kept, "high"), lowest=_cooler(food, kept, "lowest"),
                   highest=_cooler(food, kept, "highest"))


def _carbohydrate(food: Food, end: End) -> dict[str, float]:
    """An end of the carbohydrate's interval as the raw food has it: what it is the difference of is no longer there."""
    carbs = content(food, CARBS, DEFAULT, end) if derived_carbs(food, end) else None
    return {} if carbs is None or carbs == food.at(CARBS) else {CARBS: float(carbs)}


def as_weighed(food: Food, yield_: float) -> Fraction:
    """Grams of fat, protein, carbohydrate and alcohol that 100 g of a prepared food would hold."""
    fibre = food.amounts.get("fibre_g", 0.0) if food.basis == "available" else 0.0
    parts = (*(food.amounts.get(column, 0.0) for column in (FAT, "protein_g", "carbs_g", "alcohol_g")), fibre)
    return sum(map(exact, parts), ZERO) / exact(yield_)


def _kept(figures: Mapping[str, float], share: Fraction) -> dict[str, float]:
    return {column: float(exact(value) * share) if _part_of_fat(column) else value
            for column, value in figures.items() if column != WATER}


def _part_of_fat(column: str) -> bool:
    first = stem_of(column).partition("_")[0]
    return column == FAT or first in PARTS_OF_FAT or (first[:1] == "c" and first[1:].isdigit())


def _cooler(food: Food, kept: Food, end: End) -> dict[str, float]:
    """The figures of one end, with the energy less by what the lost fat brought."""
    figures = kept.ends(end) if end else kept.amounts
    if ENERGY not in figures:
        return dict(figures)
    lost = FAT_KCAL * ((food.at(FAT, end) or ZERO) - (kept.at(FAT, end) or ZERO))
    return {**figures, ENERGY: float(max(ZERO, exact(figures[ENERGY]) - lost))}
