"""What 100 g of a food bring: total and net carbohydrate, energy, and their safe-side ends.

Everything is exact (rationals of the decimals in the table), so that a sum over a recipe can be checked
without rounding.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING

from ratio_solver.foods.ends import End, lower, other_end
from ratio_solver.foods.food import exact
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, NONE_IF_BLANK

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food
    from ratio_solver.foods.policy import Policy

ZERO = Fraction(0)

FACTORS = {
    "fat_g": Fraction(9),
    "protein_g": Fraction(4),
    "carbohydrate": Fraction(4),
    "polyols_g": Fraction(12, 5),
    "erythritol_g": Fraction(0),
    "fibre_g": Fraction(2),
    "alcohol_g": Fraction(7),
    "allulose_g": Fraction(2, 5),
}
"""kcal per gram: Regulation (EU) 1169/2011, Annex XIV; allulose 0.4 as US labelling practice has it."""

HUNDRED = Fraction(100)

BESIDE_CARBS = ("water_g", "protein_g", "fat_g", "ash_g", "alcohol_g")
"""What carbohydrate by difference is the difference of: 100 g less these (USDA SR28, documentation of CHOCDF)."""

Held = Mapping[str, End]
"""Columns and the end of their interval at which they are taken."""

FREE: Held = MappingProxyType({})


def content(food: Food, column: str, policy: Policy, end: End = "", held: Held = FREE) -> Fraction | None:
    """Amount of a nutrient in 100 g of a food, or None where it is unknown.

    Parameters
    ----------
    food : Food
    column : str
        Nutrient column; ``carbs_g`` is total carbohydrate whatever the food's basis, and
        ``net_carbs_g`` and ``energy_kcal`` are derived where the table does not give them.
    policy : Policy
    end : {"", "low", "high", "lowest", "highest"}
        The figure itself, or an end of its interval where the table has one (see `foods.ends`).
    held : mapping of str to end
        Of carbohydrate by difference: the figures that are not free to lie where they move it towards its end, as
        they are taken elsewhere already.

    Returns
    -------
    Fraction or None
        In the column's unit, per 100 g edible part.
    """
    if column == NET_CARBS:
        return _net_carbs(food, policy, end, held)
    if column == "carbs_g":
        return _total_carbs(food, end, held)
    if column == ENERGY:
        return _energy(food, end)
    if column in ("soluble_fibre_g", "insoluble_fibre_g") and food.amounts.get("fibre_g") == 0:
        return ZERO
    return _figure(food, column, end)


def least_content(food: Food, column: str, policy: Policy, end: End = "", held: Held = FREE) -> Fraction:
    """The same, and where it is unknown the least that it can be.

    That is none; of total carbohydrate, where the table leaves fibre out and does not know it, what the table has.
    """
    amount = content(food, column, policy, end, held)
    if amount is not None:
        return amount
    return (_carbs(food, end, held) or ZERO) if column == "carbs_g" else ZERO


def _figure(food: Food, column: str, end: End) -> Fraction | None:
    value = food.at(column, end)
    if value is None:
        return ZERO if column in NONE_IF_BLANK else None
    return exact(value)


def derived_carbs(food: Food, end: End) -> bool:
    """Whether the interval of the table's carbohydrate follows from what it is the difference of.

    A table's own interval comes first.
    """
    return bool(end) and food.basis == "by_difference" and not (
        food.has_end("carbs_g", end) or food.has_end("carbs_g", other_end(end)))


def _carbs(food: Food, end: End, held: Held = FREE) -> Fraction | None:
    """The table's own carbohydrate.

    By difference it moves against each of `BESIDE_CARBS` by as much as that is off its figure.
    """
    carbs = _figure(food, "carbs_g", end)
    if carbs is None or not derived_carbs(food, end):
        return carbs
    for column in BESIDE_CARBS:
        figure, moved = _figure(food, column, ""), _figure(food, column, held.get(column, other_end(end)))
        if figure is not None and moved is not None:
            carbs -= moved - figure
    return min(max(ZERO, carbs), HUNDRED)


def _sure(food: Food, column: str, end: End = "") -> Fraction:
    """A figure that counts as none where it is unknown (fibre: net carbs can only be lower)."""
    return _figure(food, column, end) or ZERO


def _total_carbs(food: Food, end: End, held: Held) -> Fraction | None:
    carbs = _carbs(food, end, held)
    if carbs is None or food.basis == "by_difference":
        return carbs
    fibre = _figure(food, "fibre_g", end)
    return None if fibre is None else carbs + fibre


def _net_carbs(food: Food, policy: Policy, end: End, held: Held) -> Fraction | None:
    """Carbs less fibre (once, and only where the basis includes it) less what the policy leaves out."""
    carbs = _carbs(food, end, held)
    if carbs is None:
        return None
    opposite = other_end(end)
    fibre = _sure(food, "fibre_g", opposite) if food.basis == "by_difference" else ZERO
    erythritol = _sure(food, "erythritol_g", opposite)
    polyols = max(ZERO, _sure(food, "polyols_g", opposite) - erythritol)
    left_out = (
        exact(policy.left_out.get("erythritol", 0.0)) * erythritol
        + exact(policy.left_out.get("polyols", 0.0)) * polyols
        + exact(policy.left_out.get("allulose", 0.0)) * _sure(food, "allulose_g", opposite)
    )
    return max(ZERO, carbs - fibre - left_out)


def _energy(food: Food, end: End) -> Fraction | None:
    """The table's energy, else that of the factors.

    An end that the table does not give lies as far from its figure as the factors put it for the ends of fat,
    protein and the rest.
    """
    if ENERGY not in food.amounts:
        return energy_by_factors(food, end)
    tabled = _figure(food, ENERGY, end)
    if tabled is None or not end or food.has_end(ENERGY, end):
        return tabled
    return max(ZERO, tabled + energy_by_factors(food, end) - energy_by_factors(food))


def energy_by_factors(food: Food, end: End = "") -> Fraction:
    """Energy per 100 g by the factors of Regulation (EU) 1169/2011, Annex XIV, in kcal.

    The same for both carbohydrate bases: the factor for carbohydrate applies to what is not fibre.

    Parameters
    ----------
    food : Food
    end : {"", "low", "high", "lowest", "highest"}
        The least or most that it can be with every figure within its interval. What is taken out of the
        carbohydrate (polyols, allulose, and fibre where the basis includes it) brings less than carbohydrate does,
        so there the other end counts. Fat, protein and alcohol bring no less than the carbohydrate by difference
        whose place they take; that they take it is reckoned with.
    """
    opposite = other_end(end)
    inside = food.basis == "by_difference"
    fibre = _sure(food, "fibre_g", opposite if inside else end)
    erythritol = _sure(food, "erythritol_g", opposite)
    polyols = max(erythritol, _sure(food, "polyols_g", opposite))
    allulose = _sure(food, "allulose_g", opposite)
    carbs = _carbs(food, end, dict.fromkeys(("fat_g", "protein_g", "alcohol_g"), end)) or ZERO
    rest = carbs - (fibre if inside else ZERO) - polyols - allulose
    energy = (
        FACTORS["fat_g"] * _sure(food, "fat_g", end)
        + FACTORS["protein_g"] * _sure(food, "protein_g", end)
        # At the low ends parts may exceed their whole, as no food's do; left negative it is a bound for all foods.
        + FACTORS["carbohydrate"] * (rest if lower(end) else max(ZERO, rest))
        + FACTORS["polyols_g"] * (polyols - erythritol)
        + FACTORS["erythritol_g"] * erythritol
        + FACTORS["fibre_g"] * fibre
        + FACTORS["alcohol_g"] * _sure(food, "alcohol_g", end)
        + FACTORS["allulose_g"] * allulose
    )
    return max(ZERO, energy)
