"""What 100 g of a food bring: total and net carbohydrate, energy, and their safe-side ends.

Everything is exact (rationals of the decimals in the table), so that a sum over a recipe can be checked
without rounding.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING

from ratio_solver.exact import HUNDRED, ZERO, exact
from ratio_solver.foods.ends import End, other_end
from ratio_solver.foods.nutrients import ALCOHOL, ENERGY, FAT, FIBRE, MCT, NET_CARBS, NONE_IF_BLANK, PROTEIN
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.quantities import CARBS_ENERGY, FATTY_ACIDS, KCAL
from ratio_solver.foods.substances import BY_KEY, POLYOLS, SUBSTANCES, kind_untold, polyols_of, weighted_sum

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food

POLYOLS_COLUMN = BY_KEY[POLYOLS].column
DEFAULT = Policy()
FAT_KCAL, PROTEIN_KCAL, CARBOHYDRATE_KCAL, FIBRE_KCAL, ALCOHOL_KCAL = (
    Fraction(KCAL[column]) for column in (FAT, PROTEIN, NET_CARBS, FIBRE, ALCOHOL))
"""kcal per gram: Regulation (EU) 1169/2011, Annex XIV; US label rules have the same but for insoluble fibre, none
(21 CFR 101.9(c)(1)(i), from memory)."""

SUBSTANCE_FACTORS: Mapping[str, Mapping[str, Fraction]] = MappingProxyType({
    # Annex XIV has no factor for allulose, so that of carbohydrate is ten times what the body gains from it.
    "table": {substance.key: substance.eu for substance in SUBSTANCES} | {"allulose": BY_KEY["allulose"].us},
    "annex-xiv": {substance.key: substance.eu for substance in SUBSTANCES},
    "us": {substance.key: substance.us for substance in SUBSTANCES},
})
"""kcal per gram of each substance by the policy's energy; for "table" where the table has no energy of its own."""

_BEYOND = {by: {key: factor - CARBOHYDRATE_KCAL for key, factor in factors.items()}
           for by, factors in SUBSTANCE_FACTORS.items()}
"""The same beyond what carbohydrate brings."""


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
        return _energy(food, policy, end)
    if column == CARBS_ENERGY:
        return _carbohydrate_energy(food, "annex-xiv", end, held)
    if column == MCT:
        known = MCT in food.amounts or all(acid in food.amounts for acid in FATTY_ACIDS)
        return medium_chain(food, end) if known else None
    if column == POLYOLS_COLUMN:
        return polyols_of(food, end)
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
    return ZERO if value is None and column in NONE_IF_BLANK and not kind_untold(food, column) else value


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
    return max(ZERO, carbs - fibre - weighted_sum(food, policy.shares, opposite))


def _energy(food: Food, policy: Policy, end: End) -> Fraction | None:
    """The table's energy, else that of the factors; or that of the factors alone, as the policy has it.

    An end that the table does not give lies as far from its figure as the factors put it for the ends of fat,
    protein and the rest.
    """
    if policy.energy != "table" or ENERGY not in food.amounts:
        return energy_by_factors(food, end, policy)
    tabled = _figure(food, ENERGY, end)
    if tabled is None or not end or food.has_end(ENERGY, end):
        return tabled
    return max(ZERO, tabled + energy_by_factors(food, end, policy) - energy_by_factors(food, "", policy))


def energy_by_factors(food: Food, end: End = "", policy: Policy = DEFAULT) -> Fraction:
    """Energy per 100 g by factors, in kcal: those of Annex XIV, Regulation (EU) 1169/2011, unless the policy says else.

    The same for both carbohydrate bases: the factor for carbohydrate applies to what is not fibre.

    Parameters
    ----------
    food : Food
    end : {"", "low", "high", "lowest", "highest"}
        The least or most that it can be with every figure within its interval. What is taken out of the
        carbohydrate (polyols, allulose, and fibre where the basis includes it) brings less than carbohydrate does,
        so there the other end counts. Fat, protein and alcohol bring no less than the carbohydrate by difference
        whose place they take; that they take it is reckoned with.
    policy : Policy
        Its `energy` and `mct_energy`; for "9/4/4" what it leaves out of net carbs too.
    """
    held: Held = dict.fromkeys(("fat_g", "protein_g", "alcohol_g"), end)
    energy = (
        FAT_KCAL * _sure(food, "fat_g", end)
        + PROTEIN_KCAL * _sure(food, "protein_g", end)
        + ALCOHOL_KCAL * _sure(food, "alcohol_g", end)
        + (CARBOHYDRATE_KCAL * (_net_carbs(food, policy, end, held) or ZERO) if policy.energy == "9/4/4"
           else _carbohydrate_energy(food, policy.energy, end, held))
    )
    if policy.mct_energy is not None:
        energy -= (FAT_KCAL - exact(policy.mct_energy)) * medium_chain(food, other_end(end))
    return max(ZERO, energy)


def _carbohydrate_energy(food: Food, by: str, end: End, held: Held) -> Fraction:
    """Energy of carbohydrate, of each substance in it by its own factor, and of fibre, kcal per 100 g."""
    inside = food.basis == "by_difference"
    fibre_end = other_end(end) if inside else end
    fibre = _sure(food, "fibre_g", fibre_end)
    available = (_carbs(food, end, held) or ZERO) - (fibre if inside else ZERO)
    burnt = fibre - (_insoluble(food, other_end(end), fibre) if by == "us" else ZERO)
    return CARBOHYDRATE_KCAL * available + weighted_sum(food, _BEYOND[by], end) + FIBRE_KCAL * burnt


def _insoluble(food: Food, end: End, fibre: Fraction) -> Fraction:
    """Fibre known to be insoluble, g per 100 g: as tabled, or what is not soluble."""
    told, soluble = food.at("insoluble_fibre_g", end), food.at("soluble_fibre_g", other_end(end))
    if told is None:
        told = ZERO if soluble is None else fibre - soluble
    return min(fibre, max(ZERO, told))


def medium_chain(food: Food, end: End = "") -> Fraction:
    """Medium-chain fat, g per 100 g: as tabled, else the fatty acids 8:0 and 10:0; what is unknown counts as none."""
    told = food.at(MCT, end)
    if told is None:
        told = sum((_sure(food, acid, end) for acid in FATTY_ACIDS), ZERO)
    return min(told, _sure(food, "fat_g", end))
