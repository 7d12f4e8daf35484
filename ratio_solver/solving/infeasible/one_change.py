"""What would cure a recipe that has no answer: one limit changed alone.

The least change of one limit that cures the whole recipe is the best that its quantity comes to while every other
limit is kept: "accept 1.74:1" is the highest ratio within the other limits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.constraints import MORE, Limit
from ratio_solver.exact import ONE, exact
from ratio_solver.recipe.model import RATIO
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.recipe.targets import HIGHEST_AMOUNT, HIGHEST_RATIO
from ratio_solver.solving.infeasible.domain import Ground
from ratio_solver.solving.result import Repair

SPARE = Fraction(1, 125)
"""Share of a change by which its rounding may exceed it: with 1 % less of the change it does not cure."""

NOISE = Fraction(1, 10**7)
"""Share of a limit below which two values of it are the same, to a solver that works with doubles."""

MOST_DECIMALS = 12

HIGHEST_SHARE = 1000.0
"""Of one group in another."""


def single_repairs(
    ground: Ground, limits: Sequence[Limit], reached: Sequence[tuple[Limit, Fraction | None]]
) -> tuple[Repair, ...]:
    """The least change of each limit alone that cures the whole recipe, the most modest first.

    Parameters
    ----------
    ground : Ground
        Of the recipe.
    limits : sequence of Limit
        All of the recipe's.
    reached : sequence of (Limit, Fraction or None)
        Each limit to try, with what is `reachable` of it; one that no change of its own cures is left out.
    """
    found = [least_change(ground, limits, limit, value) for limit, value in reached if value is not None]
    return tuple(sorted((repair for repair in found if repair), key=lambda repair: repair.relative))


def least_change(ground: Ground, limits: Sequence[Limit], limit: Limit, value: Fraction) -> Repair | None:
    """The least change of one limit that cures, as a decimal that was tried."""
    for bound in decimals_near(limit, value):
        changed = replace(limit, bound=bound)
        if writable(changed) and ground.feasible([changed if other is limit else other for other in limits]):
            return Repair(limit, bound)
    return None


def decimals_near(limit: Limit, value: Fraction, spare: Fraction = SPARE) -> list[Fraction]:
    """Decimals on the side of a value that cures, the shortest first, none far beyond it."""
    change = abs(value - limit.bound)
    found: list[Fraction] = []
    for places in range(MOST_DECIMALS + 1):
        scaled = value * 10**places
        near = Fraction(round(scaled))
        if abs(scaled - near) > NOISE * max(ONE, min(abs(scaled), change * 10**places)):
            near = Fraction(math.floor(scaled) if limit.sense == MORE else math.ceil(scaled))
        bound = near / 10**places
        if abs(bound - value) <= spare * change and bound not in found and bound != limit.bound:
            found.append(bound)
    return found


def writable(limit: Limit) -> bool:
    """Whether a recipe file may hold this bound."""
    if limit.nutrient == RATIO:
        return 0 < limit.bound <= highest(limit)
    return 0 <= limit.bound <= highest(limit)


def highest(limit: Limit) -> Fraction:
    """The highest bound that a recipe file may hold in the place of a limit's."""
    if limit.nutrient == RATIO:
        return exact(HIGHEST_RATIO)
    return exact({"target": HIGHEST_AMOUNT, "proportion": HIGHEST_SHARE}.get(limit.kind, HEAVIEST))
