"""The ratio nearest to the target that can be reached within all the other limits.

    maximise  (a . w) / (b . w)   over the weights that keep the other limits

by Dinkelbach (1967, Management Science 13:492): maximise a . w - t b . w, set t to the quotient there, and so
on until it no longer rises. Each step is one linear programme.
"""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

from ratio_solver.foods.food import exact
from ratio_solver.linear.solve import Infeasible, settle, solve_lp
from ratio_solver.proposals.answer import Proposal
from ratio_solver.proposals.diagnose import limits_model
from ratio_solver.proposals.propose import solve
from ratio_solver.recipes.limits import Limit, dot, limits_of
from ratio_solver.recipes.recipe import RATIO, Recipe, Target

ROUNDS = 30
HUNDREDTH = Fraction(1, 100)
TRIES = 12
"""Hundredths of a ratio given up, one after the other, where whole steps do not reach the best one."""


def nearest_ratio(recipe: Recipe, *, guaranteed: bool = False) -> tuple[Fraction, Proposal] | None:
    """The nearest ratio, to a hundredth on the safe side of what can be reached, and the dish that has it.

    None where the recipe has no target on the ratio, or where its other limits cannot be kept either.
    """
    limits = limits_of(recipe, guaranteed)
    asked = [limit for limit in limits if limit.name == RATIO]
    others = [limit for limit in limits if limit.name != RATIO]
    for limit in asked:
        best = _best(recipe, limit, others)
        if best is None:
            return None
        up = limit.sense == ">="
        if best >= limit.bound if up else best <= limit.bound:
            continue
        target = recipe.target(RATIO) or Target(RATIO)
        ratio = (math.floor if up else math.ceil)(best / HUNDREDTH) * HUNDREDTH
        for _ in range(TRIES):
            if ratio <= 0:
                return None
            end = float(ratio)
            eased = replace(target, minimum=end) if up else replace(target, maximum=end)
            answer = solve(recipe.with_targets(eased), guaranteed=guaranteed)
            if isinstance(answer, Proposal):
                return ratio, answer
            ratio += -HUNDREDTH if up else HUNDREDTH
    return None


def _best(recipe: Recipe, asked: Limit, others: list[Limit]) -> Fraction | None:
    """The highest (of a most: the lowest) ratio within the other limits; None where they have no answer."""
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
