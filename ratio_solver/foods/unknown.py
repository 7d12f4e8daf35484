"""What a figure can be that a composition table does not have: an interval, and what ends it.

A part is no more than its whole: sugars, starch and fibre are carbohydrate, the fatty acids are fat. Sodium is part of
the ash, and for foods of a kind there are ceilings (`data/ceilings.csv`, each with its reason). What nothing
bounds stays unknown: missing is not zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from ratio_solver.exact import HUNDRED, ZERO, exact
from ratio_solver.foods.bundled import bundled_rows
from ratio_solver.foods.content import BESIDE_CARBS, DEFAULT, content
from ratio_solver.foods.nutrients import CARBS, FAT, FIBRE, SATURATED, SODIUM
from ratio_solver.foods.substances import polyols_of

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food

TRANS, CHOLESTEROL = "trans_g", "cholesterol_mg"

OF_CARBS = ("sugars_g", "starch_g")
"""Parts of the carbohydrate that is neither fibre nor polyols."""
OF_FAT = (SATURATED, TRANS, "caprylic_g", "capric_g", "erucic_g", "mct_g")

SODIUM_OF_ASH = Fraction(434)
"""mg of sodium in 1 g of ash that is all sodium carbonate, of which 43.4 % are sodium (2 x 22.99 of 105.99); of
ash that is table salt there are 393. Ashing leaves nothing that has more of it."""


@dataclass(frozen=True)
class Between:
    """What a figure can be.

    Attributes
    ----------
    low : Fraction
        The least, in the unit of the column.
    high : Fraction or None
        The most; None where nothing bounds it.
    because : str
        What ends the interval; empty where the figure is known.
    """

    low: Fraction
    high: Fraction | None
    because: str = ""

    @property
    def known(self) -> bool:
        """Whether it is one figure."""
        return self.low == self.high


Ceiling = tuple[Fraction, str]
"""The most of something that a food of a role is taken to have, per 100 g, and why."""


@cache
def ceilings() -> Mapping[tuple[str, str], Ceiling]:
    """Ceilings by role and column, from the file that comes with the package."""
    return MappingProxyType({(row["role"], row["column"]): (Fraction(row["most"]), row["because"])
                             for row in bundled_rows("ceilings.csv")})


def between(food: Food, column: str) -> Between:
    """What a figure of a food can be, per 100 g: the figure itself where the table has it.

    Parameters
    ----------
    food : Food
    column : str
        A nutrient column of a table.

    Returns
    -------
    Between
        In the unit of the column.

    Examples
    --------
    >>> from ratio_solver.foods.food import Food
    >>> gum = Food("gum", "gum", "by_difference", {"fat_g": 0, "protein_g": 2, "carbs_g": 80, "fibre_g": 77})
    >>> [between(gum, column).high for column in ("sugars_g", "saturated_g", "magnesium_mg")]
    [Fraction(3, 1), Fraction(0, 1), None]
    """
    known = content(food, column, DEFAULT)
    if known is not None:
        return Between(known, known)
    if column in food.high:
        return Between(exact(food.low.get(column, 0.0)), exact(food.high[column]), "the table has only its limits")
    least = _own_carbs(food) if column == CARBS else ZERO
    most, because = _most(food, column)
    return Between(least, most, because)


def _most(food: Food, column: str) -> tuple[Fraction | None, str]:
    """The most that an unknown figure can be, per 100 g, and why; None where nothing bounds it."""
    if column in OF_CARBS:
        return _available(food), "no more than its carbohydrate"
    if column in OF_FAT:
        fat = content(food, FAT, DEFAULT)
        saturated = content(food, SATURATED, DEFAULT) if column == TRANS else ZERO
        return fat and max(ZERO, fat - (saturated or ZERO)), "no more than its fat"
    if column == FIBRE:
        return _most_fibre(food)
    if column == CARBS:
        fibre, because = _most_fibre(food)
        return fibre and _own_carbs(food) + fibre, because
    if column == CHOLESTEROL and content(food, FAT, DEFAULT) == 0:
        return ZERO, "it has no fat"
    ends = [] if (ceiling := ceilings().get((food.role, column))) is None else [ceiling]
    if column == SODIUM and (ash := content(food, "ash_g", DEFAULT)) is not None:
        ends.append((ash * SODIUM_OF_ASH, "no more than its ash, as sodium carbonate"))
    return min(ends, key=lambda end: end[0], default=(None, ""))


def _own_carbs(food: Food) -> Fraction:
    return exact(food.amounts.get(CARBS, 0.0))


def _available(food: Food) -> Fraction:
    """Carbohydrate that is neither fibre nor polyols; all of it is taken where the fibre is unknown."""
    fibre = content(food, FIBRE, DEFAULT) if food.basis == "by_difference" else ZERO
    return max(ZERO, _own_carbs(food) - (fibre or ZERO) - polyols_of(food))


def _most_fibre(food: Food) -> tuple[Fraction, str]:
    if food.basis == "by_difference":
        return max(ZERO, _own_carbs(food) - polyols_of(food)), "no more than its carbohydrate"
    beside = sum((content(food, column, DEFAULT) or ZERO for column in BESIDE_CARBS), ZERO)
    return max(ZERO, HUNDRED - _own_carbs(food) - beside), "no more than all else leaves of 100 g"
