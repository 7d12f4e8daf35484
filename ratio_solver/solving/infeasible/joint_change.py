"""What would cure a recipe that has no answer and no single cure: several limits changed together.

The least total relative change is an elastic programme (`ratio_solver.lp.infeasible`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.constraints import MORE, Limit, prescribed
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.lp.infeasible import elastic
from ratio_solver.lp.solve import solve_lp
from ratio_solver.solving.infeasible.domain import Ground
from ratio_solver.solving.infeasible.one_change import (
    MOST_DECIMALS,
    NOISE,
    decimals_near,
    highest,
    least_change,
    writable,
)
from ratio_solver.solving.infeasible.reachable import reachable
from ratio_solver.solving.result import Repair

Prices = Mapping[int, Fraction]
"""Place of a row to what a unit of its shortfall costs."""

ROUNDS, ROUNDS_ON_STEPS = 3, 2
"""Times that a joint change is reckoned, each time with the weights it came to before."""

NEARLY = Fraction(101, 100)
"""A total that is so many times the least there can be is as good."""

DEARER = Fraction(21, 20)
"""What a change of a prescribed limit counts for beside one of another."""


def joint_repair(ground: Ground, limits: Sequence[Limit], members: Sequence[Limit]) -> tuple[Repair, ...]:
    """The changes of several limits together that cure, with the least total relative change.

    On the steps the search ends near the least, and changes in round figures take a little more than that.
    What the recipe says of itself (bounds, parts, proportions, choices) is moved before any target, and every other
    target before the ratio, the net carbs and a least protein, which are prescribed; each time the least is sought
    first among the members, then among all the limits. A ratio and a proportion weigh by what they divide by, which
    moves with the answer: they are reckoned again with the weights found, on the steps once.
    """
    for among in _candidates(limits, members):
        found = _needed(ground, limits, _together(ground, limits, among))
        if found:
            return _plain(ground, limits, found)
    return ()


def _candidates(limits: Sequence[Limit], members: Sequence[Limit]) -> list[list[Limit]]:
    """Limits that may be moved together, those that a cook is free to move first."""
    found: list[list[Limit]] = []
    for allowed in (lambda limit: limit.kind != "target", lambda limit: not prescribed(limit), lambda limit: True):
        for pool in (members, limits):
            among = [limit for limit in pool if allowed(limit)]
            if among and among not in found:
                found.append(among)
    return found


def _needed(ground: Ground, limits: Sequence[Limit], repairs: tuple[Repair, ...]) -> tuple[Repair, ...]:
    """The repairs without those that the others, once rounded, have made idle; prescriptions are spared first."""
    kept = _without_idle(ground, limits, repairs)
    if len(kept) == len(repairs):
        return repairs
    return _together(ground, limits, [repair.limit for repair in kept]) or kept


def _without_idle(ground: Ground, limits: Sequence[Limit], repairs: tuple[Repair, ...]) -> tuple[Repair, ...]:
    kept = repairs
    for repair in sorted(repairs, key=lambda one: (not prescribed(one.limit), one.limit.kind != "target",
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
    """The repairs in figures that a cook would say: the smaller changes are rounded, the largest makes up for it.

    A choice goes by whole numbers and makes up for nothing.
    """
    sized = [repair for repair in repairs if not repair.limit.members]
    if len(sized) < 2:
        return repairs
    done = (*(repair for repair in repairs if repair.limit.members),
            *(Repair(repair.limit, _figure(repair)) for repair in sized[:-1]))
    limit, tried = sized[-1].limit, _moved(limits, done)
    value = reachable(ground, tried, limit)
    last = None if value is None else least_change(ground, tried, limit, value)
    if last is None or not all(writable(replace(repair.limit, bound=repair.to)) for repair in done):
        return repairs
    return tuple(sorted(_without_idle(ground, limits, (*done, last)), key=lambda repair: repair.relative))


def _figure(repair: Repair) -> Fraction:
    """The new bound in three figures, whole from 100 on, to the side that cures."""
    places = max(0, 2 - math.floor(math.log10(repair.to))) if repair.to else 0
    scaled = repair.to * 10**places
    return Fraction(math.floor(scaled) if repair.limit.sense == MORE else math.ceil(scaled), 10**places)


def _together(ground: Ground, limits: Sequence[Limit], among: Sequence[Limit]) -> tuple[Repair, ...]:
    """The least total relative change of these limits: found between the steps, and from there on them."""
    starts = tuple(exact(start) for start in ground.recipe.starts)
    best, prices = _least(ground.anywhere, limits, among, _prices(limits, among, starts))
    if not ground.on_steps or not (best or ground.anywhere.feasible(limits)):
        return best
    return _least(ground, limits, among, prices, best)[0]


def _least(
    ground: Ground, limits: Sequence[Limit], among: Sequence[Limit], prices: Prices,
    between: tuple[Repair, ...] = (),
) -> tuple[tuple[Repair, ...], Prices]:
    """The least total relative change at these prices or those that its weights make of them, and its prices.

    On the steps no limit is moved much farther than between them, and a total near that there ends the search.
    """
    most = 1 + max(repair.relative for repair in between) if between else None
    best: tuple[Repair, ...] = ()
    tried = [prices]
    for _ in range(ROUNDS_ON_STEPS if ground.on_steps else ROUNDS):
        found = _least_shortfall(ground, limits, tried[-1], most) or _least_shortfall(ground, limits, tried[-1])
        if found is None:
            break
        weights, short = found
        repairs = _rounded(ground, limits, short, weights)
        if repairs and (not best or _total(repairs) < _total(best)):
            best, prices = repairs, tried[-1]
        again = _prices(limits, among, weights)
        if again in tried or (best and between and _total(best) <= _total(between) * NEARLY):
            break
        tried.append(again)
    return best, prices


def _total(repairs: tuple[Repair, ...]) -> Fraction:
    return sum((repair.relative for repair in repairs), ZERO)


def _prices(limits: Sequence[Limit], among: Sequence[Limit], weights: Vector) -> Prices:
    """What a unit of shortfall costs in the row of each limit among these, so that a relative change costs 1.

    One of what is prescribed costs a little more, so that it is spared where another change comes to the same.
    """
    rows = [place for place, limit in enumerate(limits) if any(limit is member for member in among)]
    return {row: (DEARER if prescribed(limits[row]) else ONE)
            / (_size(limits[row], weights) * (limits[row].divisor(weights) or ONE)) for row in rows}


def _least_shortfall(
    ground: Ground, limits: Sequence[Limit], prices: Prices, most: Fraction | None = None
) -> tuple[Vector, list[Limit]] | None:
    """Weights with the least total shortfall at these prices, none above `most`, and the limits that fall short."""
    # A quotient may be missed in its row without any bound that the weights would keep: of nothing it has no end.
    ends = [replace(limit, bound=highest(limit)) for row in prices
            if (limit := limits[row]).sense != MORE and any(limit.denominator)]
    model = ground.model([*limits, *ends], frozenset(prices))
    found = solve_lp(elastic(model, prices, frozenset(row for row in prices if limits[row].members), most))
    if found is None:
        return None
    adjusted = iter(found.values)
    reached = tuple(next(adjusted) if i.adjustable else exact(i.start) for i in ground.recipe.ingredients)
    if ground.on_steps:
        return reached, [limits[row] for row in prices if limits[row].margin(reached) < 0]
    shortfalls = found.values[len(model.variables):]
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
        bounds.append(decimals_near(limit, value))
    for attempt in range(MOST_DECIMALS):
        repairs = [Repair(limit, options[min(attempt, len(options) - 1)])
                   for limit, options in zip(short, bounds, strict=True) if options]
        changed = {id(repair.limit): replace(repair.limit, bound=repair.to) for repair in repairs}
        tried = [changed.get(id(limit), limit) for limit in limits]
        if all(map(writable, changed.values())) and (_kept(ground, tried, weights) or ground.feasible(tried)):
            return tuple(sorted(repairs, key=lambda repair: repair.relative))
    return ()


def _kept(ground: Ground, limits: Sequence[Limit], weights: Vector) -> bool:
    """Whether these weights, which are on the steps where they are to be, keep the limits exactly."""
    return ground.on_steps and all(limit.margin(weights) >= 0 for limit in limits)
