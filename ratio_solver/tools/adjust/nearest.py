"""The value of a limit nearest to what was asked for that can be reached within all the other limits."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.recipe.model import Part, Proportion, Recipe, Target
from ratio_solver.solving.infeasible.domain import Ground
from ratio_solver.solving.infeasible.reachable import reachable
from ratio_solver.solving.result import Proposal
from ratio_solver.solving.solve import attempt

Ended = TypeVar("Ended", Target, Part, Proportion)

DIGITS = 9
"""Decimals of the best value that are no noise of the solver."""

TRIES = 12
"""Steps of a target given up, one after the other, where whole grams do not reach the best value."""

STEPS = {"kcal": Fraction(1), "mg": Fraction(1), "ug": Fraction(1), "share": Fraction(1, 1000)}
"""What a limit is eased in steps of, by its unit; a hundredth for the others, 1 g for the weight of a part."""


def nearest(recipe: Recipe, limit: Limit, *, guaranteed: Guaranteed = None) -> tuple[Fraction, Proposal] | None:
    """The nearest value of a limit that can be reached, on its safe side, and the dish that has it.

    Parameters
    ----------
    recipe : Recipe
    limit : Limit
        A target, the weight of a part or a proportion of the recipe.
    guaranteed : {"mean", "food"}, optional
        Keep the targets for every composition within the table's intervals.

    Returns
    -------
    (Fraction, Proposal) or None
        None where the limit can be kept, or where the other limits cannot be kept either.
    """
    others = [other for other in limits_of(recipe, guaranteed) if other.identity != limit.identity]
    best, up = reachable(Ground(recipe), others, limit), limit.sense == ">="
    if best is None or (best >= limit.bound if up else best <= limit.bound):
        return None
    best = round(best, DIGITS)
    step = Fraction(1) if limit.kind == "part" else STEPS.get(limit.unit, Fraction(1, 100))
    value = (math.floor if up else math.ceil)(best / step) * step
    for _ in range(TRIES):
        if value < 0 or (limit.unit == ":1" and not value):
            return None
        answer = attempt(eased(recipe, limit, value), guaranteed=guaranteed)
        if isinstance(answer, Proposal):
            return value, answer
        value += -step if up else step
    return None


def eased(recipe: Recipe, limit: Limit, value: Fraction | None) -> Recipe:
    """The recipe with one end of a target, of a part's weight or of a proportion at another value, or without it."""
    end = None if value is None else float(value)
    return replace(
        recipe,
        targets=tuple(_end(target, limit, end) if target.nutrient == limit.nutrient else target
                      for target in recipe.targets),
        parts=tuple(_end(part, limit, end) if limit.kind == "part" and place == limit.subject.place else part
                    for place, part in enumerate(recipe.parts)),
        proportions=tuple(
            _end(share, limit, end) if limit.kind == "proportion" and place == limit.subject.place else share
            for place, share in enumerate(recipe.proportions)),
    )


def _end(item: Ended, limit: Limit, value: float | None) -> Ended:
    return replace(item, minimum=value) if limit.sense == ">=" else replace(item, maximum=value)
