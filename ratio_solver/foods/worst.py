"""The composition within a food's intervals at which a limit on the ratio is hardest to keep.

A food counts in the row of a limit with ``sum_k c_k a_k``, c_k what nutrient k is worth to the row and a_k its amount;
a limit of at least is hardest to keep where that is least. Fat, protein and the rest lie anywhere within their
intervals. Carbohydrate by difference does not lie freely: where fat is more by 1 g, carbohydrate is less by 1 g, so
that the row is

    sum_k c_k a_k,    a_carbs = max(0, 100 - water - protein - fat - ash - alcohol - what is left out),

with c_carbs < 0 the lesser of two linear forms, one with no carbohydrate and one with the difference. Each is least at
a corner of the intervals, and the lesser of the two is the least of the row: exact, and no stricter than it need be.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.exact import ZERO
from ratio_solver.foods.content import FREE, Held, derived_carbs, least_content
from ratio_solver.foods.ends import Kind, least, most
from ratio_solver.foods.quantities import RATIOS

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food
    from ratio_solver.foods.policy import Policy

MOVED_BY = ("fat_g", "protein_g")
"""Terms of a ratio whose place carbohydrate by difference takes."""


@dataclass(frozen=True)
class Corner:
    """Where each nutrient of the ratio is taken.

    Attributes
    ----------
    ends : mapping of str to end
        By nutrient column.
    held : mapping of str to end
        What `content` is told of them for the carbohydrate.
    """

    ends: Held
    held: Held


def worth(policy: Policy, bound: Fraction) -> dict[str, Fraction]:
    """What 1 g of each nutrient of the ratio adds to the row of a limit on it: above less bound times below."""
    ratio = RATIOS[policy.ratio_formula]
    return {column: Fraction(ratio.above.get(column, 0)) - bound * Fraction(ratio.below.get(column, 0))
            for column in ratio.columns}


def worst_corner(food: Food, policy: Policy, at_least: bool, bound: Fraction, kind: Kind) -> Corner:
    """The corner of a food's intervals at which a limit on the ratio is hardest to keep.

    Parameters
    ----------
    food : Food
    policy : Policy
    at_least : bool
        Whether the ratio is to be at least the bound, else at most.
    bound : Fraction
    kind : {"mean", "food"}
    """
    shares = worth(policy, bound)
    apart = _ends(shares, at_least, kind)
    if not derived_carbs(food, least(kind)):
        return Corner(apart, FREE)
    carbs = next(share for column, share in shares.items() if column not in MOVED_BY)
    along = _ends({column: share - carbs if column in MOVED_BY else share for column, share in shares.items()},
                  at_least, kind)
    if at_least:
        return min((Corner(apart, apart), Corner(along, along)), key=lambda corner: _row(food, policy, shares, corner))
    # At most: both forms are greatest at one corner, or carbohydrate is taken as if it lay freely, which is stricter.
    return Corner(apart, apart if apart == along else FREE)


def _ends(shares: Mapping[str, Fraction], at_least: bool, kind: Kind) -> Held:
    helps, hurts = (least(kind), most(kind)) if at_least else (most(kind), least(kind))
    return {column: helps if share > 0 else hurts for column, share in shares.items()}


def _row(food: Food, policy: Policy, shares: Mapping[str, Fraction], corner: Corner) -> Fraction:
    return sum((share * least_content(food, column, policy, corner.ends[column], corner.held)
                for column, share in shares.items()), ZERO)
