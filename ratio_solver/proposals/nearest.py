"""The value of a limit nearest to what was asked for that can be reached within all the other limits.

    maximise (or minimise)  (a . w) / (b . w + c)   over the weights that keep the other limits

by Dinkelbach (1967, Management Science 13:492): maximise a . w - t (b . w + c), set t to the quotient there, and so
on until it no longer rises. Each step is one linear programme; a limit without a denominator takes one step.
"""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from ratio_solver.foods.food import exact
from ratio_solver.foods.nutrients import spoken
from ratio_solver.linear.solve import Infeasible, settle, solve_lp
from ratio_solver.proposals.answer import Proposal
from ratio_solver.proposals.diagnose import limits_model
from ratio_solver.proposals.propose import solve
from ratio_solver.recipes.limits import Limit, dot, limits_of
from ratio_solver.recipes.recipe import Part, Proportion, Recipe, Target

Ended = TypeVar("Ended", Target, Part, Proportion)

ROUNDS = 30
TRIES = 12
"""Steps of a target given up, one after the other, where whole grams do not reach the best value."""

STEPS = {"kcal": Fraction(1), "mg": Fraction(1), "ug": Fraction(1), "share": Fraction(1, 1000)}
"""What a limit is eased in steps of, by its unit; a hundredth for the others, 1 g for the weight of a part."""


def nearest(recipe: Recipe, limit: Limit, *, guaranteed: bool = False) -> tuple[Fraction, Proposal] | None:
    """The nearest value of a limit that can be reached, on its safe side, and the dish that has it.

    Parameters
    ----------
    recipe : Recipe
    limit : Limit
        A target, the weight of a part or a proportion of the recipe.
    guaranteed : bool
        Keep the targets for every composition within the table's intervals.

    Returns
    -------
    (Fraction, Proposal) or None
        None where the limit can be kept, or where the other limits cannot be kept either.
    """
    best = _best(recipe, limit, [other for other in limits_of(recipe, guaranteed) if other.key != limit.key])
    up = limit.sense == ">="
    if best is None or (best >= limit.bound if up else best <= limit.bound):
        return None
    step = Fraction(1) if limit.kind == "part" else STEPS.get(limit.unit, Fraction(1, 100))
    value = (math.floor if up else math.ceil)(best / step) * step
    for _ in range(TRIES):
        if value < 0 or (limit.unit == ":1" and not value):
            return None
        answer = solve(eased(recipe, limit, value), guaranteed=guaranteed)
        if isinstance(answer, Proposal):
            return value, answer
        value += -step if up else step
    return None


def eased(recipe: Recipe, limit: Limit, value: Fraction | None) -> Recipe:
    """The recipe with one end of a target, of a part's weight or of a proportion at another value, or without it."""
    end = None if value is None else float(value)
    return replace(
        recipe,
        targets=tuple(_end(target, limit, end) if limit.kind == "target" and spoken(target.nutrient) == limit.name
                      else target for target in recipe.targets),
        parts=tuple(_end(part, limit, end) if limit.kind == "part" and f"{part.name} weight" == limit.name
                    else part for part in recipe.parts),
        proportions=tuple(
            _end(share, limit, end)
            if limit.kind == "proportion" and f"{share.of_name} in {share.to_name}" == limit.name else share
            for share in recipe.proportions),
    )


def _end(item: Ended, limit: Limit, value: float | None) -> Ended:
    return replace(item, minimum=value) if limit.sense == ">=" else replace(item, maximum=value)


def _best(recipe: Recipe, asked: Limit, others: list[Limit]) -> Fraction | None:
    """The highest (of a most: the lowest) value within the other limits; None where they have no answer."""
    model = limits_model(recipe, others)
    places = [place for place, ingredient in enumerate(recipe.ingredients) if ingredient.adjustable]
    sign = 1 if asked.sense == ">=" else -1
    best: Fraction | None = None
    for _ in range(ROUNDS):
        trial = best or Fraction(0)
        cost = [-sign * (asked.numerator[place] - trial * asked.denominator[place]) for place in places]
        padding = [Fraction(0)] * (len(model.variables) - len(places))
        settled = settle(replace(model, costs=((*cost, *padding),)))
        found = settled if isinstance(settled, Infeasible) else solve_lp(settled)
        if isinstance(found, Infeasible):
            return best
        weights = [exact(start) for start in recipe.starts]
        for place, value in zip(places, found.values.tolist(), strict=False):
            weights[place] = exact(round(value, 9))
        below = asked.divisor(weights)
        if not below:
            return best
        value = dot(asked.numerator, weights) / below
        if best is not None and sign * (value - best) <= Fraction(1, 10**9):
            return best
        best = value
    return best
