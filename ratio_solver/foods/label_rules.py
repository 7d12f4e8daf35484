"""Declared figures: how labelling rules round what a serving contains.

Each rule says how well it is sourced: *read* in the source named, or *from memory*, to be checked against
the law before anything is printed on a package. Where a rule says "nearest", a value midway goes up (common
practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import floor
from types import MappingProxyType

from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.content import content
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import ENERGY
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.substances import polyols_of

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
OUTER: Mapping[str, str] = MappingProxyType({"fibre_g": "carbs_g", "sugars_g": "carbs_g", "saturated_g": "fat_g"})
"""Figures that are part of another one (fibre only where the table's carbohydrate includes it)."""
NO_POLICY = Policy()
"""A label knows no net carbohydrate, so no policy matters."""


def label_content(food: Food, column: str) -> Fraction | None:
    """Amount of a label's figure in 100 g of a food, exact; None where the table cannot tell.

    Parameters
    ----------
    food : Food
    column : str
        A nutrient column of the table, or one that only labels have: ``eu_carbs_g`` (fibre left out,
        polyols included: Regulation (EU) 1169/2011, Annex I, read), ``eu_energy_kcal`` and
        ``eu_energy_kj`` (Annex XIV), ``salt_g`` (sodium times 2.5: Annex I).
    """
    if column == SALT_LINE:
        sodium = content(food, "sodium_mg", NO_POLICY)
        return None if sodium is None else salt(sodium)
    if column == POLYOLS_LINE:
        return polyols_of(food)
    if column == EU_CARBS:
        return _eu_carbs(food)
    if column in (EU_ENERGY_KCAL, EU_ENERGY_KJ):
        return _eu_energy(food, EU_KCAL if column == EU_ENERGY_KCAL else EU_KJ)
    if column == "carbs_g" and food.basis == "available" and _inner(food, "fibre_g") is None:
        return None
    return _inner(food, column)


def salt(sodium: Fraction) -> Fraction:
    """Grams of salt that a label states for mg of sodium: times 2.5 (Regulation (EU) 1169/2011, Annex I).

    >>> salt(Fraction(400))
    Fraction(1, 1)
    """
    return sodium * Fraction(5, 2) / 1000


def _inner(food: Food, column: str) -> Fraction | None:
    """A figure; where it is unknown but what includes it is none, there is none."""
    outer = OUTER.get(column)
    included = column != "fibre_g" or food.basis == "by_difference"
    if column not in food.amounts and outer and included and food.amounts.get(outer) == 0:
        return ZERO
    return content(food, column, NO_POLICY)


def _eu_carbs(food: Food) -> Fraction | None:
    carbs = food.amounts.get("carbs_g")
    if carbs is None or food.basis == "available":
        return None if carbs is None else exact(carbs)
    fibre = _inner(food, "fibre_g")
    return None if fibre is None else max(ZERO, exact(carbs) - fibre)


def _eu_energy(food: Food, factors: Mapping[str, Fraction]) -> Fraction | None:
    carbs, fibre = _eu_carbs(food), _inner(food, "fibre_g")
    fat, protein = (content(food, column, NO_POLICY) for column in ("fat_g", "protein_g"))
    if carbs is None or fibre is None or fat is None or protein is None:
        return None
    polyols, erythritol = polyols_of(food), exact(food.amounts.get("erythritol_g") or 0.0)
    return (
        factors["fat"] * fat
        + factors["protein"] * protein
        + factors["carbohydrate"] * max(ZERO, carbs - polyols)
        + factors["polyols"] * (polyols - erythritol)
        + factors["erythritol"] * erythritol
        + factors["fibre"] * fibre
        + factors["alcohol"] * exact(food.amounts.get("alcohol_g") or 0.0)
    )


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
        What `label_content` gives; the rule takes one amount per serving for each.
    rule : callable
        From exact amounts to text.
    inner : bool
        Whether it is part of the figure above it.
    only_if_any : bool
        Left out where there is none.
    """

    name: str
    columns: tuple[str, ...]
    rule: Callable[..., str]
    inner: bool = False
    only_if_any: bool = False


LABELS: Mapping[str, tuple[LabelRow, ...]] = MappingProxyType({
    "us": (
        LabelRow("energy", (ENERGY,), us_energy),
        LabelRow("fat", ("fat_g",), us_fat),
        LabelRow("of which saturated", ("saturated_g",), us_fat, inner=True),
        LabelRow("sodium", ("sodium_mg",), us_sodium),
        LabelRow("carbohydrate, fibre included", ("carbs_g",), us_grams),
        LabelRow("of which fibre", ("fibre_g",), us_grams, inner=True),
        LabelRow("of which sugars", ("sugars_g",), us_grams, inner=True),
        LabelRow("of which polyols", (POLYOLS_LINE,), us_grams, inner=True, only_if_any=True),
        LabelRow("protein", ("protein_g",), us_grams),
    ),
    "eu": (
        LabelRow("energy", (EU_ENERGY_KJ, EU_ENERGY_KCAL), eu_energy),
        LabelRow("fat", ("fat_g",), eu_grams),
        LabelRow("of which saturates", ("saturated_g",), eu_saturates, inner=True),
        LabelRow("carbohydrate, fibre left out", (EU_CARBS,), eu_grams),
        LabelRow("of which sugars", ("sugars_g",), eu_grams, inner=True),
        LabelRow("of which polyols", (POLYOLS_LINE,), eu_grams, inner=True, only_if_any=True),
        LabelRow("fibre", ("fibre_g",), eu_grams),
        LabelRow("protein", ("protein_g",), eu_grams),
        LabelRow("salt", (SALT_LINE,), eu_salt),
    ),
})
"""Figures of a label, per jurisdiction, in the order in which they are printed."""
