"""What would cure a recipe that has no answer: one limit changed, several together, or one more fat.

A limit is a quotient (`ratio_solver.recipes.limits.Limit`). The least change of one alone that cures the whole
recipe is therefore the best that this quotient comes to while every other limit is kept: "accept 1.74:1" is the
highest ratio within the other limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.foods.content import ZERO
from ratio_solver.foods.food import exact
from ratio_solver.foods.nutrients import NET_CARBS, spoken
from ratio_solver.linear.elastic import elastic
from ratio_solver.linear.quotient import Quotient, best_quotient, floats
from ratio_solver.linear.solve import Infeasible, settle, solve_lp
from ratio_solver.proposals.answer import Repair
from ratio_solver.proposals.ground import Ground
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
    found = [_single(ground, limits, limit, value) for limit, value in reached if value is not None]
    return tuple(sorted((repair for repair in found if repair), key=lambda repair: repair.relative))


def _single(ground: Ground, limits: Sequence[Limit], limit: Limit, value: Fraction) -> Repair | None:
    """The least change of one limit that cures, as a decimal that was tried."""
    for bound in _decimals(limit, value):
        changed = replace(limit, bound=bound)
        if _writable(changed) and ground.feasible([changed if other is limit else other for other in limits]):
            return Repair(limit, bound)
    return None


def reachable(ground: Ground, limits: Sequence[Limit], limit: Limit) -> Fraction | None:
    """The best that a limit's quantity comes to within all the other limits.

    Returns
    -------
    Fraction or None
        Exactly the solver's double; None where the other limits cannot be kept either, or where it has no end.
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
    ground: Ground, others: Sequence[Limit], limit: Limit, near: Fraction | None = None
) -> Fraction | None:
    value = best_quotient(ground.seeker(others), _quotient(ground, others, limit), most=limit.sense == MORE,
                          near=None if near is None else float(near))
    return None if value is None or not math.isfinite(value) else Fraction(value)


def _quotient(ground: Ground, others: Sequence[Limit], limit: Limit) -> Quotient:
    ingredients = ground.recipe.ingredients
    places = [place for place, ingredient in enumerate(ingredients) if ingredient.adjustable]
    rest = [ZERO] * (len(ground.model(others).variables) - len(places))
    fixed = _fixed(ground.recipe)

    def over(vector: Vector) -> Vector:
        return (*(vector[place] for place in places), *rest)

    return Quotient(
        floats(over(limit.numerator)), float(dot(limit.numerator, fixed)),
        floats(over(limit.denominator)), float(limit.divisor(fixed)),
    )


def _fixed(recipe: Recipe) -> Vector:
    return tuple(ZERO if i.adjustable else exact(i.start) for i in recipe.ingredients)


def _fewest(ground: Ground, limits: Sequence[Limit], limit: Limit) -> Fraction | None:
    """Of a choice: the fewest of its members that a dish within the other limits uses."""
    free = replace(limit, bound=Fraction(len(limit.members)))
    freed = [free if other is limit else other for other in limits]
    labels = [ground.recipe.ingredients[place].label for place in limit.members]
    names = {f"{label} used" for label in labels}
    cost = floats([ONE if variable.name in names else ZERO for variable in ground.model(freed).variables])
    values = ground.seeker(freed)(cost)
    if values is None:
        return None
    fixed = _fixed(ground.recipe)
    return Fraction(round(float(cost @ values))) + sum(1 for place in limit.members if fixed[place] > 0)


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


def joint_repair(ground: Ground, limits: Sequence[Limit], members: Sequence[Limit]) -> tuple[Repair, ...]:
    """The changes of several limits together that cure, with the least total relative change.

    What the recipe says of itself (bounds, parts, proportions, choices) is moved before any target, and every other
    target before the ratio and the net carbs, which are prescribed; each time the least is sought first among the
    members, then among all the limits. A ratio and a proportion weigh by what they divide by, which moves with the
    answer: they are reckoned again with the weights found.
    """
    for among in _candidates(limits, members):
        found = _needed(ground, limits, _together(ground, limits, among))
        if found:
            return _plain(ground, limits, found)
    return ()


def _candidates(limits: Sequence[Limit], members: Sequence[Limit]) -> list[list[Limit]]:
    """Limits that may be moved together, those that a cook is free to move first."""
    found: list[list[Limit]] = []
    for allowed in (lambda limit: limit.kind != "target", lambda limit: not _prescribed(limit), lambda limit: True):
        for pool in (members, limits):
            among = [limit for limit in pool if allowed(limit)]
            if among and among not in found:
                found.append(among)
    return found


def _prescribed(limit: Limit) -> bool:
    return limit.kind == "target" and limit.name in (RATIO, spoken(NET_CARBS))


def _needed(ground: Ground, limits: Sequence[Limit], repairs: tuple[Repair, ...]) -> tuple[Repair, ...]:
    """The repairs without those that the others, once rounded, have made idle; prescriptions are spared first."""
    kept = _without_idle(ground, limits, repairs)
    if len(kept) == len(repairs):
        return repairs
    return _together(ground, limits, [repair.limit for repair in kept]) or kept


def _without_idle(ground: Ground, limits: Sequence[Limit], repairs: tuple[Repair, ...]) -> tuple[Repair, ...]:
    kept = repairs
    for repair in sorted(repairs, key=lambda one: (not _prescribed(one.limit), one.limit.kind != "target",
                                                   -one.relative)):
        others = tuple(other for other in kept if other is not repair)
        if ground.feasible(_moved(limits, others)):
            kept = others
    return kept


def _moved(limits: Sequence[Limit], repairs: Sequence[Repair]) -> list[Limit]:
    """The limits with the repairs made."""
    bounds = {id(repair.limit): repair.to for repair in repairs}
    return [replace(limit, bound=bounds[id(limit)]) if id(limit) in bounds else limit for limit in limits]


def _plain(ground: Ground, limits: Sequence[Limit], repairs: tuple[Repair, ...]) -> tuple[Repair, ...]:
    """The repairs in figures that a cook would say: the smaller changes are rounded, the largest makes up for it."""
    if len(repairs) < 2:
        return repairs
    done = tuple(Repair(repair.limit, _figure(repair)) for repair in repairs[:-1])
    limit, tried = repairs[-1].limit, _moved(limits, done)
    value = reachable(ground, tried, limit)
    last = None if value is None else _single(ground, tried, limit, value)
    if last is None or not all(_writable(replace(repair.limit, bound=repair.to)) for repair in done):
        return repairs
    return tuple(sorted(_without_idle(ground, limits, (*done, last)), key=lambda repair: repair.relative))


def _figure(repair: Repair) -> Fraction:
    """The new bound in three figures, whole from 100 on, to the side that cures."""
    places = max(0, 2 - math.floor(math.log10(repair.to))) if repair.to else 0
    scaled = repair.to * 10**places
    return Fraction(math.floor(scaled) if repair.limit.sense == MORE else math.ceil(scaled), 10**places)


def _together(ground: Ground, limits: Sequence[Limit], among: Sequence[Limit]) -> tuple[Repair, ...]:
    """The least total relative change of these limits: found between the steps, and from there on them."""
    best: tuple[Repair, ...] = ()
    weights = tuple(exact(start) for start in ground.recipe.starts)
    tried: list[dict[int, Fraction]] = []
    at_best: dict[int, Fraction] = {}
    for _ in range(ROUNDS):
        prices = _prices(limits, among, weights)
        found = None if prices in tried else _least_shortfall(ground.anywhere, limits, prices)
        if found is None:
            break
        tried.append(prices)
        weights, short = found
        repairs = _rounded(ground.anywhere, limits, short, weights)
        if repairs and (not best or _total(repairs) < _total(best)):
            best, at_best = repairs, prices
    if not best or not ground.on_steps:
        return best
    on_steps = (_least_shortfall(ground, limits, at_best, 2 * (1 + _total(best)))
                or _least_shortfall(ground, limits, at_best))
    return _rounded(ground, limits, on_steps[1], on_steps[0]) if on_steps else ()


def _total(repairs: tuple[Repair, ...]) -> Fraction:
    return sum((repair.relative for repair in repairs), ZERO)


def _prices(limits: Sequence[Limit], among: Sequence[Limit], weights: Vector) -> dict[int, Fraction]:
    """What a unit of shortfall costs in the row of each limit among these, so that a relative change costs 1."""
    rows = [place for place, limit in enumerate(limits) if any(limit is member for member in among)]
    return {row: 1 / (_size(limits[row], weights) * (limits[row].divisor(weights) or ONE)) for row in rows}


def _least_shortfall(
    ground: Ground, limits: Sequence[Limit], prices: Mapping[int, Fraction], most: Fraction | None = None
) -> tuple[Vector, list[Limit]] | None:
    """Weights with the least total shortfall at these prices, none above `most`, and the limits that fall short."""
    model = ground.model(limits)
    stretched = elastic(model, prices, frozenset(row for row in prices if limits[row].members), most)
    settled = settle(stretched, float(SPARE))
    found = settled if isinstance(settled, Infeasible) else solve_lp(settled)
    if isinstance(found, Infeasible):
        return None
    values = [Fraction(value) for value in found.values.tolist()]
    adjusted = iter(values)
    reached = tuple(next(adjusted) if i.adjustable else exact(i.start) for i in ground.recipe.ingredients)
    if ground.on_steps:
        return reached, [limits[row] for row in prices if limits[row].margin(reached) < 0]
    shortfalls = values[len(model.variables):]
    return reached, [limits[row] for row, shortfall in zip(prices, shortfalls, strict=True)
                     if shortfall * prices[row] > NOISE]


def _size(limit: Limit, weights: Vector) -> Fraction:
    """What a change is measured against: the limit, or what the weights make of it where that is 0."""
    return abs(limit.bound) or limit.actual(weights) or ONE


def _rounded(
    ground: Ground, limits: Sequence[Limit], short: Sequence[Limit], weights: Vector
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
        if all(map(_writable, changed.values())) and (_kept(ground, tried, weights) or ground.feasible(tried)):
            return tuple(sorted(repairs, key=lambda repair: repair.relative))
    return ()


def _kept(ground: Ground, limits: Sequence[Limit], weights: Vector) -> bool:
    """Whether these weights, which are on the steps where they are to be, keep the limits exactly."""
    return ground.on_steps and all(limit.margin(weights) >= 0 for limit in limits)
