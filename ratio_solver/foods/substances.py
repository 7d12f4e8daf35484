"""Substances that a policy may leave out of net carbohydrate: their columns, their whole and their energy.

One table, from which follow net carbohydrate and energy (`ratio_solver.foods.content`), what a policy may name and how
it is printed (`ratio_solver.foods.policy`), the faults of a table whose parts exceed their whole
(`ratio_solver.foods.rows`) and what a serving leaves out (`ratio_solver.dish.nutrition`). All of them are part of
the carbohydrate that is not fibre; a kind of polyol is part of ``polyols_g`` as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.exact import ZERO
from ratio_solver.foods.ends import End, other_end
from ratio_solver.foods.food import Food

POLYOLS = "polyols"


@dataclass(frozen=True)
class Substance:
    """A substance, or all polyols together.

    Attributes
    ----------
    key : str
        What a policy calls it: ``left_out = {key = share}``.
    name : str
        As printed.
    eu, us : Fraction
        kcal per g on a label in the EU and in the US.
    source : str
        Of these factors, and how well it is known.
    kind : bool
        Whether it is a kind of polyol, so that ``polyols_g`` includes it.
    alone : bool
        Of a kind of polyol: whether it is left out only where a policy names it; the others follow the share of
        the polyols that are not named.
    remark : str
        What to say where a table has more of it than carbohydrate.
    """

    key: str
    name: str
    eu: Fraction
    us: Fraction
    source: str
    kind: bool = False
    alone: bool = False
    remark: str = ""

    @property
    def column(self) -> str:
        """Its column in a composition table, g per 100 g."""
        return f"{self.key}_g"


def _polyol(key: str, us: str, source: str, *, eu: str = "2.4", alone: bool = False) -> Substance:
    return Substance(key, key, Fraction(eu), Fraction(us), f"EU: Annex XIV; US: {source}", True, alone)


_US_READ = "label rules, read"
SUBSTANCES: tuple[Substance, ...] = (
    _polyol("erythritol", "0", "0, from memory (0.2 by an older source)", eu="0"),
    _polyol("xylitol", "2.4", _US_READ),
    _polyol("maltitol", "2.1", _US_READ),
    _polyol("sorbitol", "2.6", _US_READ),
    _polyol("mannitol", "1.6", _US_READ),
    _polyol("isomalt", "2.0", _US_READ),
    _polyol("lactitol", "2.0", _US_READ),
    # Three hydroxyl groups make it a polyol by Annex I of Regulation (EU) 1169/2011 ("more than two", from memory), but
    # the body makes glucose of it: whoever leaves out "the other polyols" has hardly meant it.
    _polyol("glycerol", "4.32", "from memory", alone=True),
    Substance(POLYOLS, "other polyols", Fraction("2.4"), Fraction("2.4"),
              "EU: Annex XIV; US: no factor for a polyol whose kind is not told, so the EU's"),
    Substance("allulose", "allulose", Fraction(4), Fraction("0.4"),
              "EU: no factor in Annex XIV, so that of carbohydrate; US: FDA guidance"),
    Substance("tagatose", "tagatose", Fraction(4), Fraction("1.5"),
              "EU: no factor in Annex XIV, so that of carbohydrate; US: from memory"),
    Substance("isomaltulose", "isomaltulose", Fraction(4), Fraction(4), "a sugar, digested slowly but wholly"),
    Substance("imo", "isomalto-oligosaccharides", Fraction(4), Fraction(4),
              "digested for the greater part, from memory",
              remark="it counts as carbohydrate, not as fibre, even where a label calls it fibre"),
)
"""In the order in which they are printed. EU factors: Regulation (EU) 1169/2011, Annex XIV (read): polyols 2.4,
erythritol 0, other carbohydrate 4."""

BY_KEY: Mapping[str, Substance] = MappingProxyType({substance.key: substance for substance in SUBSTANCES})
SUBSTANCE_KINDS = tuple(substance for substance in SUBSTANCES if substance.kind)
COLUMNS = tuple(substance.column for substance in SUBSTANCES)


def polyols_of(food: Food, end: End = "") -> Fraction:
    """All polyols of a food, g per 100 g: those of its column, and at least the kinds that it has."""
    kinds = sum((food.at(kind.column, end) or ZERO for kind in SUBSTANCE_KINDS if kind.column in food.amounts), ZERO)
    return max(kinds, food.at(BY_KEY[POLYOLS].column, end) or ZERO)


def kind_untold(food: Food, column: str) -> bool:
    """Whether a food has polyols of which the table does not tell how much are of this kind."""
    untold = column not in food.amounts and BY_KEY[POLYOLS].column in food.amounts
    return untold and any(kind.column == column for kind in SUBSTANCE_KINDS) and amounts_of(food)[POLYOLS] > 0


def weighted_sum(food: Food, weight: Mapping[str, Fraction], end: End = "") -> Fraction:
    """Sum of a food's substances, each times its weight: the least (end "low") or most ("high") that it can be.

    Parameters
    ----------
    food : Food
    weight : mapping of str to Fraction
        For every key of `SUBSTANCES` what 1 g of it adds; of polyols: 1 g of a kind that has no column.
    end : End

    Returns
    -------
    Fraction
        Per 100 g. A kind of polyol adds what it weighs beyond the polyols that include it, so each figure may be taken
        at the end of its interval that its own sign asks for.
    """
    if not any(column in food.amounts for column in COLUMNS):
        return ZERO
    total = ZERO
    for substance in SUBSTANCES:
        size = weight[substance.key] - (weight[POLYOLS] if substance.kind else ZERO)
        if size:
            at: End = end if size > 0 else other_end(end)
            amount = polyols_of(food, at) if substance.key == POLYOLS else food.at(substance.column, at)
            total += size * (amount or ZERO)
    return total


def amounts_of(food: Food) -> dict[str, Fraction]:
    """Every substance of a food by itself, g per 100 g; under "polyols" those of kinds without a column."""
    if not any(column in food.amounts for column in COLUMNS):
        return dict.fromkeys(BY_KEY, ZERO)
    found = {substance.key: food.at(substance.column) or ZERO for substance in SUBSTANCES}
    found[POLYOLS] = polyols_of(food) - sum((found[kind.key] for kind in SUBSTANCE_KINDS), ZERO)
    return found
