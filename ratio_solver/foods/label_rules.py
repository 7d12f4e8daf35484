"""Declared figures: how labelling rules round what a serving contains.

Each rule says how well it is sourced: *read* in the source named, or *from memory*, to be checked against
the law before anything is printed on a package. Where a rule says "nearest", a value midway goes up (common
practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor
from types import MappingProxyType

from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.content import DEFAULT, content, energy_by_factors
from ratio_solver.foods.food import Food
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.rows import MG_IN_SALT
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
    found: Between | None = food.labelled.get(column)
    if found is None:
        found = food.labelled[column] = _OF_LABELS[column](food) if column in _OF_LABELS else between(food, column)
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


def _polyols(food: Food) -> Between:
    return _known(polyols_of(food))


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
    SALT_LINE: _salt, POLYOLS_LINE: _polyols, ADDED_SUGARS: _added_sugars, EU_PROTEIN: _eu_protein, EU_CARBS: _eu_carbs,
    EU_ENERGY_KCAL: _by_fibre(_eu_energy(EU_KCAL)), EU_ENERGY_KJ: _by_fibre(_eu_energy(EU_KJ)),
    US_ENERGY: _by_fibre(_us_energy),
})
"""Figures that only labels have, and how they follow from a food."""


def nearest(value: Fraction, step: Fraction) -> Fraction:
    """The multiple of a step nearest to a value; midway goes up.

    >>> nearest(Fraction(9, 4), Fraction(1, 2))
    Fraction(5, 2)
    """
    return floor(value / step + Fraction(1, 2)) * step


def _declared_text(value: Fraction, unit: str, decimals: int = 0) -> str:
    scaled = int(value * 10**decimals)
    whole, rest = divmod(scaled, 10**decimals)
    return f"{whole}.{rest:0{decimals}d} {unit}" if decimals else f"{whole} {unit}"


def us_energy(kcal: Fraction) -> str:
    """kcal under 5: 0; to 50: nearest 5; above: nearest 10 (FDA, A Food Labeling Guide, Appendix H, 2009, read).

    >>> us_energy(Fraction(52))
    '50 kcal'
    """
    if kcal < 5:
        return "0 kcal"
    return _declared_text(nearest(kcal, Fraction(5 if kcal <= 50 else 10)), "kcal")


def us_fat(grams: Fraction) -> str:
    """Fat and its kinds: under 0.5 g: 0; under 5 g: nearest 0.5; else nearest 1 g (the same Guide, read for fat)."""
    if grams < Fraction(1, 2):
        return "0 g"
    if grams >= 5:
        return _declared_text(nearest(grams, Fraction(1)), "g")
    rounded = nearest(grams, Fraction(1, 2))
    return _declared_text(rounded, "g", 0 if rounded.denominator == 1 else 1)


def us_grams(grams: Fraction) -> str:
    """Carbohydrate, fibre, sugars: under 0.5 g: 0; under 1 g: less than 1 g; else nearest 1 g (the same Guide, read).

    Protein and polyols by the same rule: from memory.
    """
    if grams < Fraction(1, 2):
        return "0 g"
    return "less than 1 g" if grams < 1 else _declared_text(nearest(grams, Fraction(1)), "g")


def us_sodium(mg: Fraction) -> str:
    """Sodium under 5 mg: 0; to 140 mg: nearest 5; above: nearest 10 mg (from memory)."""
    if mg < 5:
        return "0 mg"
    return _declared_text(nearest(mg, Fraction(5 if mg <= 140 else 10)), "mg")


def us_cholesterol(mg: Fraction) -> str:
    """Cholesterol under 2 mg: 0; to 5 mg: less than 5 mg; above: nearest 5 mg (21 CFR 101.9(c)(3), from memory)."""
    if mg < 2:
        return "0 mg"
    return "less than 5 mg" if mg < 5 else _declared_text(nearest(mg, Fraction(5)), "mg")


def us_vitamin_d(ug: Fraction) -> str:
    """Vitamin D to 0.1 ug (from memory: FDA's guidance on the 2016 rule)."""
    return _declared_text(nearest(ug, Fraction(1, 10)), "µg", 1)


def us_tens(mg: Fraction) -> str:
    """Calcium and potassium to 10 mg (from memory: the same guidance)."""
    return _declared_text(nearest(mg, Fraction(10)), "mg")


def us_iron(mg: Fraction) -> str:
    """Iron to 0.1 mg (from memory: the same guidance)."""
    return _declared_text(nearest(mg, Fraction(1, 10)), "mg", 1)


def percent_of_daily(share: Fraction) -> Fraction:
    """Percent of a daily value to 1 (21 CFR 101.9(d)(7)(ii), from memory)."""
    return nearest(share * 100, Fraction(1))


def percent_of_vitamin(share: Fraction) -> Fraction:
    """Percent of the daily value of a vitamin or mineral: to 10 % nearest 2, to 50 % nearest 5, above nearest 10; under
    2 %: 0 (21 CFR 101.9(c)(8)(iii), from memory).

    >>> [str(percent_of_vitamin(Fraction(share, 1000))) for share in (19, 29, 104, 126, 549)]
    ['0', '2', '10', '15', '50']
    """
    percent = share * 100
    if percent < 2:
        return ZERO
    return nearest(percent, Fraction(2 if percent <= 10 else 5 if percent <= 50 else 10))


def eu_energy(kj: Fraction, kcal: Fraction) -> str:
    """Both units, to 1 (from memory: Commission guidance on tolerances, December 2012)."""
    return f"{_declared_text(nearest(kj, Fraction(1)), 'kJ')} / {_declared_text(nearest(kcal, Fraction(1)), 'kcal')}"


def eu_grams(grams: Fraction) -> str:
    """Fat, carbohydrate, sugars, protein, fibre: from 10 g to 1 g, else to 0.1 g, up to 0.5 g "< 0.5 g".

    From memory: Commission guidance on tolerances, December 2012.
    """
    return _eu(grams, least=Fraction(1, 2), least_text="< 0.5 g", coarse_from=10, decimals=(0, 1))


def eu_saturates(grams: Fraction) -> str:
    """Saturates: as fat, but up to 0.1 g "< 0.1 g" (from memory, the same guidance)."""
    return _eu(grams, least=Fraction(1, 10), least_text="< 0.1 g", coarse_from=10, decimals=(0, 1))


def eu_salt(grams: Fraction) -> str:
    """Salt from 1 g to 0.1 g, else to 0.01 g, up to 0.0125 g "< 0.01 g" (from memory, the same guidance)."""
    return _eu(grams, least=Fraction(1, 80), least_text="< 0.01 g", coarse_from=1, decimals=(1, 2))


def _eu(grams: Fraction, *, least: Fraction, least_text: str, coarse_from: int, decimals: tuple[int, int]) -> str:
    """Rounded to `decimals[0]` from `coarse_from` g, below it to `decimals[1]`; what rounds up to it is shown as it."""
    if not grams:
        return "0 g"
    if grams <= least:
        return least_text
    coarse, fine = decimals
    rounded = nearest(grams, Fraction(1, 10**fine))
    if rounded >= coarse_from:
        return _declared_text(nearest(grams, Fraction(1, 10**coarse)), "g", coarse)
    return _declared_text(rounded, "g", fine)


@dataclass(frozen=True)
class LabelRow:
    """One figure of a label.

    Attributes
    ----------
    name : str
    columns : tuple of str
        What `label_between` gives; the rule takes one amount for each.
    rule : callable
        From exact amounts to text.
    grid : str
        Kind of figure in `label_intervals.LABEL_ROUNDING`: which figures the rule prints.
    inner : bool
        Whether it is part of the figure above it.
    only_if_any : bool
        Left out where there is none.
    daily : Fraction or None
        The daily value, in the unit of the column.
    vitamin : bool
        Whether it is a vitamin or mineral, whose percentage is rounded by rules of its own.
    """

    name: str
    columns: tuple[str, ...]
    rule: Callable[..., str]
    grid: str = "grams"
    inner: bool = False
    only_if_any: bool = False
    daily: Fraction | None = None
    vitamin: bool = False

    def percent(self, share: Fraction) -> Fraction:
        """A share of the daily value, in percent, as it is printed."""
        return percent_of_vitamin(share) if self.vitamin else percent_of_daily(share)


def _us(name: str, column: str, rule: Callable[..., str], grid: str, daily: int | None = None, *,
        inner: bool = False, vitamin: bool = False) -> LabelRow:
    return LabelRow(name, (column,), rule, grid, inner, False, None if daily is None else Fraction(daily), vitamin)


LABELS: Mapping[str, tuple[LabelRow, ...]] = MappingProxyType({
    # Lines and order of 21 CFR 101.9(c), daily values of (c)(8)(iv) and (c)(9) from 4 years of age up: from memory
    "us": (
        _us("energy", US_ENERGY, us_energy, "energy"),
        _us("fat", "fat_g", us_fat, "fat", 78),
        _us("of which saturated", "saturated_g", us_fat, "fat", 20, inner=True),
        _us("of which trans", "trans_g", us_fat, "fat", inner=True),
        _us("cholesterol", "cholesterol_mg", us_cholesterol, "cholesterol", 300),
        _us("sodium", "sodium_mg", us_sodium, "sodium", 2300),
        _us("carbohydrate, fibre included", "carbs_g", us_grams, "grams", 275),
        _us("of which fibre", "fibre_g", us_grams, "grams", 28, inner=True),
        _us("of which sugars", "sugars_g", us_grams, "grams", inner=True),
        _us("of which added sugars", ADDED_SUGARS, us_grams, "grams", 50, inner=True),
        LabelRow("of which polyols", (POLYOLS_LINE,), us_grams, inner=True, only_if_any=True),
        _us("protein", "protein_g", us_grams, "grams"),
        _us("vitamin D", "vitamin_d_ug", us_vitamin_d, "vitamin D", 20, vitamin=True),
        _us("calcium", "calcium_mg", us_tens, "tens", 1300, vitamin=True),
        _us("iron", "iron_mg", us_iron, "iron", 18, vitamin=True),
        _us("potassium", "potassium_mg", us_tens, "tens", 4700, vitamin=True),
    ),
    # Order: Regulation (EU) 1169/2011, Annex XV
    "eu": (
        LabelRow("energy", (EU_ENERGY_KJ, EU_ENERGY_KCAL), eu_energy, "energy"),
        LabelRow("fat", ("fat_g",), eu_grams),
        LabelRow("of which saturates", ("saturated_g",), eu_saturates, "saturates", inner=True),
        LabelRow("carbohydrate, fibre left out", (EU_CARBS,), eu_grams),
        LabelRow("of which sugars", ("sugars_g",), eu_grams, inner=True),
        LabelRow("of which polyols", (POLYOLS_LINE,), eu_grams, inner=True, only_if_any=True),
        LabelRow("fibre", ("fibre_g",), eu_grams),
        LabelRow("protein", (EU_PROTEIN,), eu_grams),
        LabelRow("salt", (SALT_LINE,), eu_salt, "salt"),
    ),
})
"""Figures of a label, per jurisdiction, in the order in which they are printed."""
