"""Declared figures: what labels state of a food, and their lines in order; how each is rounded: `foods.label_rounding`.

Each rule says how well it is sourced: *read* in the source named, or *from memory*, to be checked against
the law before anything is printed on a package.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.content import DEFAULT, content, energy_by_factors
from ratio_solver.foods.food import Food
from ratio_solver.foods.label_rounding import DAILY_PERCENT, LABEL_ROUNDING, VITAMIN_PERCENT, Rounding
from ratio_solver.foods.nutrients import MG_IN_SALT
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.substances import polyols_of
from ratio_solver.foods.unknown import Between, between

EU_KCAL: Mapping[str, Fraction] = MappingProxyType({
    "carbohydrate": Fraction(4), "polyols": Fraction(12, 5), "erythritol": ZERO, "fibre": Fraction(2),
    "protein": Fraction(4), "fat": Fraction(9), "alcohol": Fraction(7),
})
EU_KJ: Mapping[str, Fraction] = MappingProxyType({
    "carbohydrate": Fraction(17), "polyols": Fraction(10), "erythritol": ZERO, "fibre": Fraction(8),
    "protein": Fraction(17), "fat": Fraction(37), "alcohol": Fraction(29),
})
"""kcal and kJ per gram: Regulation (EU) 1169/2011, Annex XIV (read). It has no figure for allulose, which
therefore counts as carbohydrate; tables have no organic acids apart, so they count as what the table has
them in."""

EU_CARBS, EU_ENERGY_KCAL, EU_ENERGY_KJ, SALT_LINE = "eu_carbs_g", "eu_energy_kcal", "eu_energy_kj", "salt_g"
POLYOLS_LINE = "polyols_g"
US_ENERGY, ADDED_SUGARS, EU_PROTEIN = "us_energy_kcal", "added_sugars_g", "eu_protein_g"
NITROGEN_PROTEIN = "protein_n625_g"
"""Column of tables that have nitrogen times 6.25 themselves."""
EU_NITROGEN = Fraction(25, 4)
"""Protein = total Kjeldahl nitrogen x 6.25 (Regulation (EU) 1169/2011, Annex I, read)."""
BY_US_FACTORS = Policy(energy="us")
RAW = ", raw"
"""How the names of foods end that are sold as they grew."""


def label_between(food: Food, column: str) -> Between:
    """What a label's figure can be in 100 g of a food: one figure where the table has it, else an interval.

    Parameters
    ----------
    food : Food
    column : str
        A nutrient column of the table, or one that only labels have: ``eu_carbs_g`` (fibre left out,
        polyols included: Regulation (EU) 1169/2011, Annex I, read), ``eu_protein_g`` (nitrogen times 6.25: Annex I,
        read), ``eu_energy_kcal`` and ``eu_energy_kj`` (Annex XIV), ``us_energy_kcal`` (21 CFR 101.9(c)(1)(i)),
        ``salt_g`` (sodium times 2.5: Annex I), ``added_sugars_g``.
    """
    if column not in food.labelled:
        food.labelled[column] = _OF_LABELS[column](food) if column in _OF_LABELS else between(food, column)
    found: Between = food.labelled[column]
    return found


def salt(sodium: Fraction) -> Fraction:
    """Grams of salt that a label states for mg of sodium: times 2.5 (Regulation (EU) 1169/2011, Annex I).

    >>> salt(Fraction(400))
    Fraction(1, 1)
    """
    return sodium / MG_IN_SALT


def _salt(food: Food) -> Between:
    sodium = between(food, "sodium_mg")
    return replace(sodium, low=salt(sodium.low), high=None if sodium.high is None else salt(sodium.high))


def _known(amount: Fraction) -> Between:
    return Between(amount, amount)


def _added_sugars(food: Food) -> Between:
    """No table has them: of a sugar they are its sugars, of what is sold raw there are none, else they may be any."""
    sugars = between(food, "sugars_g")
    if food.role == "sugar" or sugars.high == 0:
        return sugars
    if food.name.endswith(RAW):
        return _known(ZERO)
    return Between(ZERO, sugars.high, "no table tells them from other sugars")


def _eu_protein(food: Food) -> Between:
    """Nitrogen times 6.25: the table's own figure of it, else its protein by its own factor; as it stands without."""
    amount = food.at(NITROGEN_PROTEIN)
    if amount is None:
        amount = content(food, "protein_g", DEFAULT) or ZERO
        if food.nitrogen_factor is not None:
            amount *= EU_NITROGEN / exact(food.nitrogen_factor)
    return _known(amount)


def _eu_carbs(food: Food) -> Between:
    carbs = exact(food.amounts.get("carbs_g", 0.0))
    if food.basis == "available":
        return _known(carbs)
    fibre = between(food, "fibre_g")
    return Between(max(ZERO, carbs - (fibre.high or ZERO)), max(ZERO, carbs - fibre.low), fibre.because)


def _by_fibre(energy: Callable[[Food, Fraction], Fraction]) -> Callable[[Food], Between]:
    """Energy at both ends of the fibre: it rises or falls with it all the way."""
    def ends(food: Food) -> Between:
        fibre = between(food, "fibre_g")
        found = sorted(energy(food, fibre_at) for fibre_at in (fibre.low, fibre.high or ZERO))
        return Between(found[0], found[1], fibre.because)
    return ends


def _eu_energy(factors: Mapping[str, Fraction]) -> Callable[[Food, Fraction], Fraction]:
    def energy(food: Food, fibre: Fraction) -> Fraction:
        polyols, erythritol = polyols_of(food), exact(food.amounts.get("erythritol_g") or 0.0)
        carbs = exact(food.amounts.get("carbs_g", 0.0)) - (fibre if food.basis == "by_difference" else ZERO)
        return (
            factors["fat"] * (content(food, "fat_g", DEFAULT) or ZERO)
            + factors["protein"] * _eu_protein(food).low
            + factors["carbohydrate"] * max(ZERO, carbs - polyols)
            + factors["polyols"] * (polyols - erythritol)
            + factors["erythritol"] * erythritol
            + factors["fibre"] * fibre
            + factors["alcohol"] * exact(food.amounts.get("alcohol_g") or 0.0)
        )
    return energy


def _us_energy(food: Food, fibre: Fraction) -> Fraction:
    """By the general factors, each polyol by its own, fibre 2 unless it is known to be insoluble."""
    return energy_by_factors(replace(food, amounts={**food.amounts, "fibre_g": float(fibre)}), policy=BY_US_FACTORS)


_OF_LABELS: Mapping[str, Callable[[Food], Between]] = MappingProxyType({
    SALT_LINE: _salt, POLYOLS_LINE: lambda food: _known(polyols_of(food)), ADDED_SUGARS: _added_sugars,
    EU_PROTEIN: _eu_protein, EU_CARBS: _eu_carbs,
    EU_ENERGY_KCAL: _by_fibre(_eu_energy(EU_KCAL)), EU_ENERGY_KJ: _by_fibre(_eu_energy(EU_KJ)),
    US_ENERGY: _by_fibre(_us_energy),
})
"""Figures that only labels have, and how they follow from a food."""


@dataclass(frozen=True)
class LabelRow:
    """One figure of a label.

    Attributes
    ----------
    name : str
    columns : tuple of str
        What `label_between` gives; each is printed in its own unit, by the same rule.
    rule : Rounding
    inner : bool
        Whether it is part of the figure above it.
    only_if_any : bool
        Left out where there is none.
    daily : int or None
        The daily value, in the unit of the column.
    vitamin : bool
        Whether it is a vitamin or mineral, whose percentage is rounded by rules of its own.
    """

    name: str
    columns: tuple[str, ...]
    rule: Rounding
    inner: bool = False
    only_if_any: bool = False
    daily: int | None = None
    vitamin: bool = False

    def text(self, *amounts: Fraction) -> str:
        """The amounts of its columns as they are printed.

        >>> next(row for row in LABELS["eu"] if row.name == "energy").text(Fraction(2082.5), Fraction(504))
        '2083 kJ / 504 kcal'
        """
        units = (_PRINTED_UNITS.get(column.rpartition("_")[2], column.rpartition("_")[2]) for column in self.columns)
        return " / ".join(map(self.rule.text, amounts, units))

    def percent(self, share: Fraction) -> Fraction:
        """A share of the daily value, in percent, as it is printed."""
        return (VITAMIN_PERCENT if self.vitamin else DAILY_PERCENT).figure(share * 100)


_PRINTED_UNITS = {"ug": "µg", "kj": "kJ"}
_US, _EU = LABEL_ROUNDING["us"], LABEL_ROUNDING["eu"]

LABELS: Mapping[str, tuple[LabelRow, ...]] = MappingProxyType({
    # Lines and order of 21 CFR 101.9(c), daily values of (c)(8)(iv) and (c)(9) from 4 years of age up: from memory
    "us": (
        LabelRow("energy", (US_ENERGY,), _US["energy"]),
        LabelRow("fat", ("fat_g",), _US["fat"], daily=78),
        LabelRow("of which saturated", ("saturated_g",), _US["fat"], inner=True, daily=20),
        LabelRow("of which trans", ("trans_g",), _US["fat"], inner=True),
        LabelRow("cholesterol", ("cholesterol_mg",), _US["cholesterol"], daily=300),
        LabelRow("sodium", ("sodium_mg",), _US["sodium"], daily=2300),
        LabelRow("carbohydrate, fibre included", ("carbs_g",), _US["grams"], daily=275),
        LabelRow("of which fibre", ("fibre_g",), _US["grams"], inner=True, daily=28),
        LabelRow("of which sugars", ("sugars_g",), _US["grams"], inner=True),
        LabelRow("of which added sugars", (ADDED_SUGARS,), _US["grams"], inner=True, daily=50),
        LabelRow("of which polyols", (POLYOLS_LINE,), _US["grams"], inner=True, only_if_any=True),
        LabelRow("protein", ("protein_g",), _US["grams"]),
        LabelRow("vitamin D", ("vitamin_d_ug",), _US["vitamin D"], daily=20, vitamin=True),
        LabelRow("calcium", ("calcium_mg",), _US["tens"], daily=1300, vitamin=True),
        LabelRow("iron", ("iron_mg",), _US["iron"], daily=18, vitamin=True),
        LabelRow("potassium", ("potassium_mg",), _US["tens"], daily=4700, vitamin=True),
    ),
    # Order: Regulation (EU) 1169/2011, Annex XV
    "eu": (
        LabelRow("energy", (EU_ENERGY_KJ, EU_ENERGY_KCAL), _EU["energy"]),
        LabelRow("fat", ("fat_g",), _EU["fat"]),
        LabelRow("of which saturates", ("saturated_g",), _EU["saturates"], inner=True),
        LabelRow("carbohydrate, fibre left out", (EU_CARBS,), _EU["grams"]),
        LabelRow("of which sugars", ("sugars_g",), _EU["grams"], inner=True),
        LabelRow("of which polyols", (POLYOLS_LINE,), _EU["grams"], inner=True, only_if_any=True),
        LabelRow("fibre", ("fibre_g",), _EU["grams"]),
        LabelRow("protein", (EU_PROTEIN,), _EU["grams"]),
        LabelRow("salt", (SALT_LINE,), _EU["salt"]),
    ),
})
"""Figures of a label, per jurisdiction, in the order in which they are printed."""
