"""The best that the quantity of one limit comes to while every other limit is kept.

A limit is a quotient (`ratio_solver.dish.constraints.Limit`), so this is what the limit would have to be changed to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.constraints import MORE, Limit
from ratio_solver.exact import ZERO, Vector, dot, exact
from ratio_solver.lp.fractional import Quotient, best_quotient
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.infeasible.domain import Ground


def reachable(ground: Ground, limits: Sequence[Limit], limit: Limit) -> Fraction | None:
    """The best that a limit's quantity comes to within all the other limits.

    Returns
    -------
    Fraction or None
        None where the other limits cannot be kept either, or where it has no end.
    """
    if limit.members:
        return _fewest(ground, limits, limit)
    others = [other for other in limits if other is not limit]
    value = _best(ground.anywhere, others, limit)
    if value is not None and limit.kind == "ingredient" and limit.sense != MORE and any(o.members for o in others):
        # What a choice is allowed stands in its row as "most of it, if used": the tighter, the surer.
        others.append(replace(limit, bound=value + 1000 + value))
        value = _best(ground.anywhere, others, limit) or value
    return _best(ground, others, limit, near=value) if ground.on_steps and value is not None else value


def _best(
    ground: Ground, others: Sequence[Limit], limit: Limit, near: Fraction = ZERO
) -> Fraction | None:
    return best_quotient(ground.seeker(others), _quotient(ground, others, limit), most=limit.sense == MORE, near=near)


def _quotient(ground: Ground, others: Sequence[Limit], limit: Limit) -> Quotient:
    ingredients = ground.recipe.ingredients
    places = [place for place, ingredient in enumerate(ingredients) if ingredient.adjustable]
    rest = [ZERO] * (len(ground.model(others).variables) - len(places))
    fixed = _fixed(ground.recipe)

    def over(vector: Vector) -> Vector:
        return (*(vector[place] for place in places), *rest)

    return Quotient(
        over(limit.numerator), dot(limit.numerator, fixed), over(limit.denominator), limit.divisor(fixed),
    )


def _fixed(recipe: Recipe) -> Vector:
    return tuple(ZERO if i.adjustable else exact(i.start) for i in recipe.ingredients)


def _fewest(ground: Ground, limits: Sequence[Limit], limit: Limit) -> Fraction | None:
    """Of a choice: the fewest of its members that a dish within the other limits uses."""
    def possible(count: int) -> bool:
        changed = replace(limit, bound=Fraction(count))
        return ground.feasible([changed if other is limit else other for other in limits])

    everything = len(limit.members)
    if not possible(everything):
        return None
    return Fraction(next(count for count in range(everything + 1) if count == everything or possible(count)))
