"""What would cure a recipe that has no answer: one limit changed, several together, or one more fat.

A limit is a quotient (`ratio_solver.recipes.limits.Limit`). The least change of one alone that cures the whole
recipe is therefore the best that this quotient comes to while every other limit is kept: "accept 1.74:1" is the
highest ratio within the other limits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.foods.content import ZERO
from ratio_solver.foods.food import exact
from ratio_solver.linear.elastic import elastic
from ratio_solver.linear.model import LinearModel
from ratio_solver.linear.quotient import Quotient, best_quotient, floats, minimise
from ratio_solver.linear.solve import Infeasible, settle, solve_lp
from ratio_solver.proposals.answer import Repair
from ratio_solver.proposals.diagnose import feasible, limits_model
from ratio_solver.recipes.limits import MORE, ONE, Limit, Vector, dot
from ratio_solver.recipes.reading import HEAVIEST
from ratio_solver.recipes.recipe import RATIO, Recipe
from ratio_solver.recipes.targets import HIGHEST_AMOUNT, HIGHEST_RATIO

SPARE = Fraction(1, 125)
"""Share of a change by which its rounding may exceed it: with 1 % less of the change it does not cure."""

NOISE = Fraction(1, 10**7)
"""Share of a limit below which two values of it are the same, to a solver that works with doubles."""

MOST_DECIMALS = 12

ROUNDS = 3
"""Times that a joint change is reckoned again with the weights it came to."""


def single_repairs(
    recipe: Recipe, limits: Sequence[Limit], reached: Sequence[tuple[Limit, Fraction | None]]
) -> tuple[Repair, ...]:
    """The least change of each limit alone that cures the whole recipe, the most modest first.

    Parameters
    ----------
    recipe : Recipe
    limits : sequence of Limit
        All of the recipe's.
    reached : sequence of (Limit, Fraction or None)
        Each limit to try, with what is `reachable` of it; one that no change of its own cures is left out.
    """
    found = [_single(recipe, limits, limit, value) for limit, value in reached if value is not None]
    return tuple(sorted((repair for repair in found if repair), key=lambda repair: repair.relative))


def reachable(recipe: Recipe, limits: Sequence[Limit], limit: Limit) -> Fraction | None:
    """The best that a limit's quantity comes to within all the other limits.

    Returns
    -------
    Fraction or None
        Exactly the solver's double; None where the other limits cannot be kept either, or where it has no end.
    """
    if limit.members:
        return _fewest(recipe, limits, limit)
    others = [other for other in limits if other is not limit]
    value = _best(recipe, others, limit)
    if value is not None and limit.kind == "ingredient" and limit.sense != MORE and any(o.members for o in others):
        # What a choice is allowed stands in its row as "most of it, if used": the tighter, the surer.
        value = _best(recipe, [*others, replace(limit, bound=value + 1 + value / 100)], limit) or value
    return value


def _best(recipe: Recipe, others: Sequence[Limit], limit: Limit) -> Fraction | None:
    model = limits_model(recipe, list(others))
    value = best_quotient(model, _quotient(recipe, model, limit), most=limit.sense == MORE)
    return None if value is None or not math.isfinite(value) else Fraction(value)


def _quotient(recipe: Recipe, model: LinearModel, limit: Limit) -> Quotient:
    places = [place for place, ingredient in enumerate(recipe.ingredients) if ingredient.adjustable]
    fixed = _fixed(recipe)
    rest = [ZERO] * (len(model.variables) - len(places))

    def over(vector: Vector) -> Vector:
        return (*(vector[place] for place in places), *rest)

    return Quotient(
        floats(over(limit.numerator)), float(dot(limit.numerator, fixed)),
        floats(over(limit.denominator)), float(limit.divisor(fixed)),
    )


def _fixed(recipe: Recipe) -> Vector:
    return tuple(ZERO if i.adjustable else exact(i.start) for i in recipe.ingredients)


def _fewest(recipe: Recipe, limits: Sequence[Limit], limit: Limit) -> Fraction | None:
    """Of a choice: the fewest of its members that a dish within the other limits uses."""
    free = replace(limit, bound=Fraction(len(limit.members)))
    model = limits_model(recipe, [free if other is limit else other for other in limits])
    names = {f"{recipe.ingredients[place].label} used" for place in limit.members}
    cost = floats([ONE if variable.name in names else ZERO for variable in model.variables])
    values = minimise(model, cost)
    if values is None:
        return None
    return Fraction(round(float(cost @ values))) + sum(1 for place in limit.members if _fixed(recipe)[place] > 0)


def _single(recipe: Recipe, limits: Sequence[Limit], limit: Limit, value: Fraction) -> Repair | None:
    """The least change of one limit that cures, as a decimal that was tried."""
    for bound in _decimals(limit, value):
        changed = replace(limit, bound=bound)
        if _writable(changed) and feasible(recipe, [changed if other is limit else other for other in limits]):
            return Repair(limit, bound)
    return None


def _decimals(limit: Limit, value: Fraction, spare: Fraction = SPARE) -> list[Fraction]:
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


def _writable(limit: Limit) -> bool:
    """Whether a recipe file may hold this bound."""
    if limit.name == RATIO:
        return 0 < limit.bound <= exact(HIGHEST_RATIO)
    highest = {"target": HIGHEST_AMOUNT, "proportion": 1000.0}.get(limit.kind, HEAVIEST)
    return 0 <= limit.bound <= exact(highest)


def joint_repair(recipe: Recipe, limits: Sequence[Limit], members: Sequence[Limit]) -> tuple[Repair, ...]:
    """The changes of several limits together that cure, with the least total relative change.

    The least is sought first among the members, then among all the limits. A ratio and a proportion weigh
    by what they divide by, which moves with the answer: they are reckoned again with the weights found.
    """
    for among in (members, limits):
        found = _together(recipe, limits, list(among))
        if found:
            return found
    return ()


def _together(recipe: Recipe, limits: Sequence[Limit], among: Sequence[Limit]) -> tuple[Repair, ...]:
    best: tuple[Repair, ...] = ()
    weights = tuple(exact(start) for start in recipe.starts)
    for _ in range(ROUNDS):
        found = _least_shortfall(recipe, limits, among, weights)
        if found is None:
            break
        weights, short = found
        repairs = _rounded(recipe, limits, short, weights)
        if repairs and (not best or sum(r.relative for r in repairs) < sum(r.relative for r in best)):
            best = repairs
    return best


def _least_shortfall(
    recipe: Recipe, limits: Sequence[Limit], among: Sequence[Limit], weights: Vector
) -> tuple[Vector, list[Limit]] | None:
    """Weights with the least total relative shortfall, and the limits that fall short there."""
    model = limits_model(recipe, list(limits))
    rows = [place for place, limit in enumerate(limits) if any(limit is member for member in among)]
    prices = {
        row: 1 / (_size(limits[row], weights) * (limits[row].divisor(weights) or ONE)) for row in rows
    }
    stretched = elastic(model, prices, frozenset(row for row in rows if limits[row].members))
    settled = settle(stretched)
    found = settled if isinstance(settled, Infeasible) else solve_lp(settled)
    if isinstance(found, Infeasible):
        return None
    values = [Fraction(value) for value in found.values.tolist()]
    shortfalls = values[len(model.variables):]
    short = [limits[row] for row, shortfall in zip(rows, shortfalls, strict=True)
             if shortfall * prices[row] > NOISE]
    adjusted = iter(values)
    return tuple(next(adjusted) if i.adjustable else exact(i.start) for i in recipe.ingredients), short


def _size(limit: Limit, weights: Vector) -> Fraction:
    """What a change is measured against: the limit, or what the weights make of it where that is 0."""
    return abs(limit.bound) or limit.actual(weights) or ONE


def _rounded(
    recipe: Recipe, limits: Sequence[Limit], short: Sequence[Limit], weights: Vector
) -> tuple[Repair, ...]:
    """The limits moved to what the weights make of them, outward to a decimal each, and tried together."""
    bounds = []
    for limit in short:
        value = limit.actual(weights)
        if value is None:
            return ()
        bounds.append(_decimals(limit, value))
    for attempt in range(MOST_DECIMALS):
        repairs = [Repair(limit, options[min(attempt, len(options) - 1)])
                   for limit, options in zip(short, bounds, strict=True) if options]
        changed = {id(repair.limit): replace(repair.limit, bound=repair.to) for repair in repairs}
        tried = [changed.get(id(limit), limit) for limit in limits]
        if all(map(_writable, changed.values())) and feasible(recipe, tried):
            return tuple(sorted(repairs, key=lambda repair: repair.relative))
    return ()
