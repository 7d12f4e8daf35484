"""The value of a target nearest to what was asked for that can be reached within all the other limits.

    maximise (or minimise)  (a . w) / (b . w + c)   over the weights that keep the other limits

by Dinkelbach (1967, Management Science 13:492): maximise a . w - t (b . w + c), set t to the quotient there, and so
on until it no longer rises. Each step is one linear programme; a target per serving takes one step.
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
from ratio_solver.recipes.recipe import Recipe, Target

ROUNDS = 30
TRIES = 12
"""Steps of a target given up, one after the other, where whole grams do not reach the best value."""

STEPS = {"kcal": Fraction(1), "mg": Fraction(1), "ug": Fraction(1)}
"""What a target is eased in steps of, by its unit; a hundredth for the others."""


def nearest(recipe: Recipe, target: Target, *, guaranteed: bool = False) -> tuple[Limit, Fraction, Proposal] | None:
    """The nearest value of a target that can be reached, on its safe side, and the dish that has it.

    Returns
    -------
    (Limit, Fraction, Proposal) or None
        The limit as asked for, the value instead, and the dish; None where the target can be kept, or where
        the other limits cannot be kept either.
    """
    limits = limits_of(recipe, guaranteed)
    mine = limits_of(replace(recipe, targets=(target,)), guaranteed)
    asked = [limit for limit in mine if limit.kind == "target"]
    names = {limit.name for limit in asked}
    others = [limit for limit in limits if limit.kind != "target" or limit.name not in names]
    for limit in asked:
        best = _best(recipe, limit, others)
        if best is None:
            return None
        up = limit.sense == ">="
        if best >= limit.bound if up else best <= limit.bound:
            continue
        step = STEPS.get(limit.unit, Fraction(1, 100))
        value = (math.floor if up else math.ceil)(best / step) * step
        for _ in range(TRIES):
            if value < 0 or (limit.unit == ":1" and not value):
                return None
            end = float(value)
            eased = replace(target, minimum=end) if up else replace(target, maximum=end)
            answer = solve(recipe.with_targets(eased), guaranteed=guaranteed)
            if isinstance(answer, Proposal):
                return limit, value, answer
            value += -step if up else step
    return None


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
