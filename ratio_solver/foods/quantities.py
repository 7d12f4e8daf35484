"""What a target can be about, and how figures are written: one registry of quantities, one table of units.

A quantity of a dish is a quotient of sums of nutrients, or, where nothing stands below, an amount per serving:

    sum_k above_k a_k . w  /  sum_k below_k a_k . w         (fat : protein + net carbs; 9 kcal x fat : energy)
    sum_k above_k a_k . w  /  servings                      (protein)

with w the weights and a_k the nutrient column k per g. Its row says all that is asked of it elsewhere: what it counts,
its unit, its words, the highest that may be asked for, how it is reckoned. A new quantity is a new row of `REGISTERED`;
a nutrient column needs none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType

from ratio_solver.exact import ONE
from ratio_solver.foods.nutrients import (
    ALCOHOL,
    CARBS,
    ENERGY,
    FAT,
    FIBRE,
    MCT,
    NET_CARBS,
    PROTEIN,
    SATURATED,
    spoken,
    unit_of,
)
from ratio_solver.foods.sizes import LARGEST

RATIO = "ratio"
"""Key of the macronutrient ratio, whose formula is the policy's."""

SHARE = "share"
"""Unit of what is written as 0.2 and told as 20 %."""

BOTH = (">=", "<=")

Terms = Mapping[str, str]
"""Nutrient columns and their coefficients, as decimal text."""


@dataclass(frozen=True)
class Unit:
    """How figures in a unit are written, and by how much a limit in it is moved.

    Attributes
    ----------
    suffix : str
        What follows a figure.
    times : int
        A figure is told as so many times itself.
    fine, coarse : int
        Decimals of what a limit comes to, and of one of 10 or more.
    step : Fraction
        What a limit is changed in steps of where a change is tried.
    loosening : float
        The loosening for which a report states the saving.
    loosening_words : str
        Words of that, with places for its size and for the ending of a plural.
    """

    suffix: str
    times: int = 1
    fine: int = 2
    coarse: int = 2
    step: Fraction = Fraction(1, 100)
    loosening: float = 1.0
    loosening_words: str = ""


UNIT_TABLE: Mapping[str, Unit] = MappingProxyType({
    ":1": Unit(":1", loosening=0.1, loosening_words="{}"),
    SHARE: Unit(" %", 100, step=Fraction(1, 1000), loosening=0.01, loosening_words="{} point{}"),
    "g": Unit(" g", loosening_words="{} g"),
    "mg": Unit(" mg", coarse=0, step=ONE, loosening=100.0, loosening_words="{} mg"),
    "kcal": Unit(" kcal", coarse=0, step=ONE, loosening=10.0, loosening_words="{} kcal"),
    "ug": Unit(" ug", step=ONE, loosening_words="{} ug"),
    "used": Unit(""),
})
"""Units of limits; "used" is that of a choice, and has no loosening."""


@dataclass(frozen=True)
class Quantity:
    """What a target limits.

    Attributes
    ----------
    key : str
        As a recipe file and a menu name it, "ratio" or "energy_from_fat"; of a nutrient its column.
    words : str
        As a cook says it.
    above, below : mapping of str to str
        Columns and their coefficients; nothing below is per serving. A column with a coefficient below 0 is held at the
        other end of its interval.
    unit : str
        A key of `UNIT_TABLE`.
    highest : float
        The highest that may be asked for.
    asked : str
        What a value of it is, for faults.
    nothing : str
        What there is none of where it has no value, as nothing stands below.
    reckoned : str
        How it is reckoned, to be printed with its figures.
    source : str
        Of that.
    prescribed : tuple of str
        Senses in which a target on it is one that a physician or dietitian sets, and is moved last.
    """

    key: str
    words: str
    above: Terms
    below: Terms = field(default_factory=dict)
    unit: str = "g"
    highest: float = LARGEST
    asked: str = "an amount per serving"
    nothing: str = "no weight"
    reckoned: str = ""
    source: str = ""
    prescribed: tuple[str, ...] = ()

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns that it counts."""
        return tuple(dict.fromkeys((*self.above, *self.below)))

    @property
    def quotient(self) -> bool:
        """Whether it divides by something of the dish, else by the servings."""
        return bool(self.below)


def _ratio(reckoned: str, above: Terms, below: Terms) -> Quantity:
    return Quantity(RATIO, RATIO, above, below, ":1", 1000.0, "a ratio as a number, fat to one of protein + net carbs",
                    "no protein or carbs", f"ratio = {reckoned}", "", BOTH)


RATIOS: Mapping[str, Quantity] = MappingProxyType({
    "net": _ratio("fat : (protein + net carbs)", {FAT: "1"}, {PROTEIN: "1", NET_CARBS: "1"}),
    # Fibre counts against the ratio.
    "total": _ratio("fat : (protein + total carbs)", {FAT: "1"}, {PROTEIN: "1", CARBS: "1"}),
    # Woodyatt 1921 (Arch Intern Med 28:125), Wilder and Winter 1922 (J Biol Chem 52:393);
    # the carbohydrate is what the body can use: net.
    "ketogenic-quotient": _ratio("(0.90 fat + 0.46 protein) : (net carbs + 0.58 protein + 0.10 fat)",
                                 {FAT: "0.90", PROTEIN: "0.46"}, {NET_CARBS: "1", PROTEIN: "0.58", FAT: "0.10"}),
})
"""The ratio by the formulas that a policy may name."""

# --- shares of the energy ------------------------------------------------------------------------------

CARBS_ENERGY = "carbs_energy_kcal"
"""Column of what carbohydrate brings: 4 kcal a gram, of fibre 2, of each substance in it that of Annex XIV."""

KCAL: Mapping[str, str] = MappingProxyType({
    FAT: "9", SATURATED: "9", "monounsaturated_g": "9", "polyunsaturated_g": "9", "trans_g": "9", "erucic_g": "9",
    MCT: "9", "caprylic_g": "9", "capric_g": "9", PROTEIN: "4", NET_CARBS: "4", "sugars_g": "4", "starch_g": "4",
    FIBRE: "2", "soluble_fibre_g": "2", "insoluble_fibre_g": "2", ALCOHOL: "7", "organic_acids_g": "3",
})
"""kcal per g by column: Regulation (EU) 1169/2011, Annex XIV. What is not named there is fat or carbohydrate."""

FATTY_ACIDS = ("caprylic_g", "capric_g")
"""Of medium-chain fat."""

MEDIUM_CHAIN = (MCT, *FATTY_ACIDS)
"""Fats to which the policy may give another energy; in fat and in saturated fat they are counted so too."""

ANNEX = "Annex XIV of Regulation (EU) 1169/2011"


def _share_of_energy(column: str, words: str, above: Terms, factors: str) -> Quantity:
    stem = column.rpartition("_")[0]
    return Quantity(f"energy_from_{stem}", f"energy from {words}", above, {ENERGY: "1"}, SHARE, 1.0,
                    "a share of the energy, 0.2 or '20 %' for a fifth", "no energy",
                    f"energy from {words} at {factors}", ANNEX, BOTH)


SHARES: Mapping[str, Quantity] = MappingProxyType({
    **{column: _share_of_energy(column, spoken(column), {column: kcal}, f"{kcal} kcal/g")
       for column, kcal in KCAL.items()},
    CARBS: _share_of_energy(CARBS, spoken(CARBS), {CARBS_ENERGY: "1"}, "4 kcal/g, fibre in them 2, polyols 2.4"),
})
"""By nutrient column the share of the energy that it brings; the energy of the dish is the policy's."""

REGISTERED: dict[str, Quantity] = {share.key: share for share in SHARES.values()}
"""Every quantity that is neither the ratio nor a nutrient column, by its key."""


QUANTITIES_KEPT = 512
"""More than a composition table has columns."""

_PRESCRIBED: Mapping[str, tuple[str, ...]] = MappingProxyType({NET_CARBS: BOTH, PROTEIN: (">=",)})


@lru_cache(QUANTITIES_KEPT)
def quantity_of(key: str) -> Quantity:
    """The quantity that a target is about by the usual policy; words, unit and highest value are the same for all.

    Parameters
    ----------
    key : str
        "ratio", a key of `REGISTERED`, or a nutrient column.

    >>> quantity_of("sodium_mg").unit, quantity_of("energy_from_fat").above["fat_g"]
    ('mg', '9')
    """
    if key == RATIO:
        return RATIOS["net"]
    return REGISTERED.get(key) or Quantity(key, spoken(key), {key: "1"}, unit=unit_of(key) or "g",
                                           prescribed=_PRESCRIBED.get(key, ()))


def with_medium_chain(share: Quantity, kcal: float) -> Quantity:
    """A share of the energy with medium-chain fat at so many kcal per g; any other quantity as it is."""
    of_fat = next(iter(share.above))
    if share.below.keys() != {ENERGY} or of_fat not in (*MEDIUM_CHAIN, FAT, SATURATED):
        return share
    if of_fat in MEDIUM_CHAIN:
        return replace(share, above={of_fat: str(kcal)}, reckoned=f"{share.words} at {kcal:g} kcal/g",
                       source="by the policy")
    return replace(share, above={**share.above, MCT: str(Fraction(str(kcal)) - Fraction(share.above[of_fat]))},
                   reckoned=f"{share.reckoned}, medium-chain fat in it at {kcal:g}")
