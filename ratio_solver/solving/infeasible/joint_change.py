"""Several limits changed together, with which a recipe has an answer where no relaxation of one limit alone does.

The least total relative change is an elastic programme (`ratio_solver.lp.infeasible`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.constraints import MORE, Limit
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.lp.infeasible import LARGE, best_in_doubles, elastic
from ratio_solver.lp.model import LinearModel
from ratio_solver.lp.solve import solve_lp
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.infeasible.one_change import (
    DECIMALS_TRIED,
    SOLVER_NOISE,
    decimals_near,
    highest_writable,
    least_change,
    modest_first,
    moved,
    reachable,
    writable,
)
from ratio_solver.solving.result import Repair

Prices = Mapping[int, Fraction]
"""Place of a row to what a unit of its shortfall costs."""

REPRICINGS, REPRICINGS_ON_STEPS = 3, 2
"""Times that a joint change is reckoned, each time with the weights it came to before."""

NEAR_THE_LEAST = Fraction(101, 100)
"""A total that is so many times the least there can be is as good."""

DEARER = Fraction(21, 20)
"""What a change of a prescribed limit counts for beside one of another."""


def joint_change(domain: SearchDomain, limits: Sequence[Limit], members: Sequence[Limit]) -> tuple[Repair, ...]:
    """The changes of several limits together that do, with the least total relative change.

    On the steps the search ends near the least, and changes in round figures take a little more than that.
    What the recipe says of itself (bounds, parts, proportions, choices) is moved before any target, and every other
    target before the ratio, the net carbs and a least protein, which are prescribed, and of these the protein last;
    each time the least is sought first among the members, then among all the limits. A ratio and a proportion weigh by
    what they divide by, which moves with the answer: they are reckoned again with the weights found, on the steps once.
    """
    for among in _candidates(limits, members):
        found = _needed(domain, limits, _least_together(domain, limits, among))
        if found:
            return _in_plain_figures(domain, limits, found)
    return ()


def _candidates(limits: Sequence[Limit], members: Sequence[Limit]) -> list[list[Limit]]:
    """Limits that may be moved together, those that a cook is free to move first."""
    found: list[list[Limit]] = []
    for allowed in (lambda limit: limit.kind != "target", lambda limit: not limit.prescribed,
                    lambda limit: not limit.least_protein, lambda limit: True):
        for pool in (members, limits):
            among = [limit for limit in pool if allowed(limit)]
            if among and among not in found:
                found.append(among)
    return found


def _needed(domain: SearchDomain, limits: Sequence[Limit], changes: tuple[Repair, ...]) -> tuple[Repair, ...]:
    """The changes without those that the others, once rounded, have made idle; prescriptions are spared first."""
    kept = _without_idle(domain, limits, changes)
    if len(kept) == len(changes):
        return changes
    return _least_together(domain, limits, [change.limit for change in kept]) or kept


def _without_idle(domain: SearchDomain, limits: Sequence[Limit], changes: tuple[Repair, ...]) -> tuple[Repair, ...]:
    kept = changes
    for change in sorted(changes, key=lambda one: (not one.limit.least_protein, not one.limit.prescribed,
                                                   one.limit.kind != "target", -one.relative)):
        others = tuple(other for other in kept if other is not change)
        if domain.feasible(moved(limits, *others)):
            kept = others
    return kept


def _in_plain_figures(domain: SearchDomain, limits: Sequence[Limit], changes: tuple[Repair, ...]) -> tuple[Repair, ...]:
    """The changes in figures that a cook would say: the smaller ones are rounded, the largest makes up for it.

    A choice goes by whole numbers and makes up for nothing.
    """
    sized = [change for change in changes if not change.limit.members]
    if len(sized) < 2:
        return changes
    done = (*(change for change in changes if change.limit.members),
            *(Repair(change.limit, _three_figures(change)) for change in sized[:-1]))
    limit, tried = sized[-1].limit, moved(limits, *done)
    value = reachable(domain, tried, limit)
    last = None if value is None else least_change(domain, tried, limit, value)
    if last is None or not all(map(writable, done)):
        return changes
    return modest_first(_without_idle(domain, limits, (*done, last)))


def _three_figures(change: Repair) -> Fraction:
    """The new bound in three figures, whole from 100 on, to the looser side."""
    places = max(0, 2 - math.floor(math.log10(change.to))) if change.to else 0
    scaled = change.to * 10**places
    return Fraction(math.floor(scaled) if change.limit.sense == MORE else math.ceil(scaled), 10**places)


def _least_together(domain: SearchDomain, limits: Sequence[Limit], among: Sequence[Limit]) -> tuple[Repair, ...]:
    """The least total relative change of these limits: found between the steps, and from there on them."""
    starts = tuple(exact(start) for start in domain.recipe.starts)
    best, prices = _least(domain.anywhere, limits, among, _shortfall_prices(limits, among, starts))
    if not domain.on_steps or not (best or domain.anywhere.feasible(limits)):
        return best
    return _least(domain, limits, among, prices, best)[0]


def _least(
    domain: SearchDomain, limits: Sequence[Limit], among: Sequence[Limit], prices: Prices,
    between: tuple[Repair, ...] = (),
) -> tuple[tuple[Repair, ...], Prices]:
    """The least total relative change at these prices or those that its weights make of them, and its prices.

    On the steps no limit is moved much farther than between them, and a total near that there ends the search.
    """
    most = 1 + max(change.relative for change in between) if between else None
    best: tuple[Repair, ...] = ()
    tried = [prices]
    for _ in range(REPRICINGS_ON_STEPS if domain.on_steps else REPRICINGS):
        found = _least_short(domain, limits, tried[-1], most) or _least_short(domain, limits, tried[-1])
        if found is None:
            break
        weights, short = found
        changes = _rounded_outwards(domain, limits, short, weights)
        if changes and (not best or _total(changes) < _total(best)):
            best, prices = changes, tried[-1]
        again = _shortfall_prices(limits, among, weights)
        if again in tried or (best and between and _total(best) <= _total(between) * NEAR_THE_LEAST):
            break
        tried.append(again)
    return best, prices


def _total(changes: tuple[Repair, ...]) -> Fraction:
    return sum((change.relative for change in changes), ZERO)


def _shortfall_prices(limits: Sequence[Limit], among: Sequence[Limit], weights: Vector) -> Prices:
    """What a unit of shortfall costs in the row of each limit among these, so that a relative change costs 1.

    One of what is prescribed costs a little more, so that it is spared where another change comes to the same.
    """
    rows = [place for place, limit in enumerate(limits) if any(limit is member for member in among)]
    return {row: (DEARER if limits[row].prescribed else ONE)
            / (_relative_to(limits[row], weights) * (limits[row].divisor(weights) or ONE)) for row in rows}


def _least_short(
    domain: SearchDomain, limits: Sequence[Limit], prices: Prices, most: Fraction | None = None
) -> tuple[Vector, list[Limit]] | None:
    """Weights with the least total shortfall at these prices, none above `most`, and the limits that fall short."""
    # A quotient may be missed in its row without any bound that the weights would keep: of nothing it has no end.
    ends = [replace(limit, bound=highest_writable(limit)) for row in prices
            if (limit := limits[row]).sense != MORE and any(limit.denominator)]
    formulation = domain.formulated([*limits, *ends], frozenset(prices))
    whole = frozenset(row for row in prices if limits[row].members)
    model = elastic(domain.model(formulation), prices, whole, most)
    values = best_in_doubles(model) if len(limits) >= LARGE and not model.stepped else _exact_values(model)
    if values is None:
        return None
    reached = formulation.weights(values)
    if domain.on_steps:
        return reached, [limits[row] for row in prices if limits[row].margin(reached) < 0]
    shortfalls = values[len(formulation.model.variables):]
    return reached, [limits[row] for row, shortfall in zip(prices, shortfalls, strict=True)
                     if shortfall * prices[row] > SOLVER_NOISE]


def _exact_values(model: LinearModel) -> Vector | None:
    found = solve_lp(model)
    return None if found is None else found.values


def _relative_to(limit: Limit, weights: Vector) -> Fraction:
    """What a change is measured against: the limit, or what the weights make of it where that is 0."""
    return abs(limit.bound) or limit.actual(weights) or ONE


def _rounded_outwards(
    domain: SearchDomain, limits: Sequence[Limit], short: Sequence[Limit], weights: Vector
) -> tuple[Repair, ...]:
    """The limits moved to what the weights make of them, outward to a decimal each, and tried together."""
    bounds = []
    for limit in short:
        value = limit.actual(weights)
        if value is None:
            return ()
        bounds.append(decimals_near(limit, value))
    for attempt in range(DECIMALS_TRIED):
        changes = [Repair(limit, options[min(attempt, len(options) - 1)])
                   for limit, options in zip(short, bounds, strict=True) if options]
        tried = moved(limits, *changes)
        kept = domain.on_steps and all(limit.margin(weights) >= 0 for limit in tried)  # exactly, as they are on them
        if all(map(writable, changes)) and (kept or domain.feasible(tried)):
            return modest_first(changes)
    return ()
