"""How far each weight may move, and how far the price of each limit holds.

The lowest and highest weights are over every choice that a recipe leaves open (`choose`); prices hold the
choice of the answer fixed. Weights on whole steps keep the ranges and prices of the linear programme, in
which weights are any fraction of a gram.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from itertools import islice

import numpy as np

from ratio_solver.dish.constraints import Identity, Limit
from ratio_solver.dish.status import LimitState, Loosening, Weight
from ratio_solver.errors import NotProven
from ratio_solver.exact import ZERO, exact
from ratio_solver.lp.basis import Basis
from ratio_solver.lp.clock import out_of_time, share
from ratio_solver.lp.model import LinearModel, Mark, Row
from ratio_solver.lp.parametric import Moving, SidePrice, sides
from ratio_solver.lp.ranges import Ranges, best_ranges, searched_extremes, searched_ways, value_ranges, whole_face
from ratio_solver.lp.simplex import best_basis
from ratio_solver.lp.solve import AS_GOOD, Solution, ways
from ratio_solver.solving.formulation import Formulation
from ratio_solver.solving.result import Proposal

MOST_SETTINGS = 64
"""So many ways to choose are gone through one by one; more are left to an integer search for each weight."""

MOST_AS_GOOD = 8
"""So many of more ways are as good as the best one, at most, that each weight's range over them needs no search."""

PARTS_OF_PRICES = 4
"""Prices may take one of so many parts of the time that is left."""

FAR_OFF = 10**6
"""A limit that may move so many times its size (at least of 1) has no end."""

RANGE_DECIMALS = 6
"""Decimals of a gram to which the ends of a range are given."""


def with_prices(proposal: Proposal, formulation: Formulation, found: Solution, ranges: bool) -> Proposal:
    """The proposal with the price of every limit, and its range.

    Parameters
    ----------
    proposal : Proposal
        Of the linear programme.
    formulation : Formulation
    found : Solution
        Of its model.
    ranges : bool
        Whether every weight gets its range, and the ingredients' own bounds a price, too.
    """
    weights = list(proposal.weights)
    with suppress(NotProven):  # of choices in more ways than there is time for: then no range is given
        spans = weight_ranges(formulation, found) if ranges else ()
        for variable, place in enumerate(formulation.adjustable if ranges else ()):
            weights[place] = _ranged(weights[place], *(span[variable] for pair in spans for span in pair))
    with share(PARTS_OF_PRICES):
        limits = _priced(proposal.limits, formulation, found, ranges)
        return replace(proposal, weights=tuple(weights), limits=limits, unpriced=out_of_time())


def _ranged(weight: Weight, lowest: float, highest: float, best_lowest: float, best_highest: float) -> Weight:
    grams, now, low, high = weight.grams, float(weight.grams), weight.minimum or ZERO, weight.maximum or ZERO

    def end(value: float, low: Fraction, high: Fraction) -> Fraction:
        near = abs(value - now) <= 10.0**-RANGE_DECIMALS
        return grams if near else min(max(exact(round(value, RANGE_DECIMALS)), low), high)

    return replace(weight, lowest=end(lowest, low, grams), highest=end(highest, grams, high),
                   best_lowest=end(best_lowest, low, grams), best_highest=end(best_highest, grams, high))


def with_price_parts(proposal: Proposal, formulation: Formulation, found: Solution) -> Proposal:
    """The proposal with what of the price of each limit falls on each weight: how far that moves with the limit."""
    parts: dict[Identity, dict[int, float]] = {}
    basis, count = found.basis, len(formulation.adjustable)
    weights = proposal.grams_of_each
    for state, row in zip(proposal.limits, formulation.row_of, strict=False):
        if row is None or not state.price:
            continue
        mark, size = Mark("row", row), state.limit.divisor(weights) * formulation.model.rows[row].slack.unit
        own: dict[int, float] = {}
        for k, (place, item) in enumerate(zip(formulation.adjustable, formulation.items, strict=True)):
            moved = sum((Fraction(basis.forms[at][0].get(mark, 0), basis.forms[at][1])
                         for at in (count + k, 2 * count + k)), ZERO)
            if moved:
                own[place] = float(moved * size * exact(item.keep))
        parts[state.limit.identity] = own
    return replace(proposal, price_parts=parts)


def weight_ranges(formulation: Formulation, found: Solution) -> tuple[Ranges, Ranges]:
    """Lowest and highest of the adjustable weights: over all feasible answers, over all equally good ones."""
    model, count = formulation.model, len(formulation.adjustable)
    cost = model.whole_costs[0]
    least = found.basis.value(cost)

    def best_of(settings: Iterable[LinearModel]) -> list[Basis]:
        return [basis for setting in settings
                if (basis := best_basis(found.basis.under(setting), [cost])) is not None]

    def as_good(bases: list[Basis]) -> Ranges:
        return best_ranges([found.basis, *(basis for basis in bases if basis.value(cost) == least)], count)

    settings = list(islice(ways(model), MOST_SETTINGS + 1)) if model.stepped else []
    if len(settings) <= MOST_SETTINGS:
        bases = best_of(settings)
        points = [np.array([float(value) for value in basis.point[:count]]) for basis in (found.basis, *bases)]
        return value_ranges([whole_face(basis.model) for basis in bases or [found.basis]], points), as_good(bases)
    most = float(least) + AS_GOOD * max(1.0, abs(float(least)))
    alike = list(islice(searched_ways(model, found.values, most), MOST_AS_GOOD + 1))
    return (searched_extremes(model, count, np.inf),
            searched_extremes(model, count, most) if len(alike) > MOST_AS_GOOD else as_good(best_of(alike)))


def _priced(states: tuple[LimitState, ...], formulation: Formulation, found: Solution,
            bounds: bool) -> tuple[LimitState, ...]:
    """The limits with their prices, with or without those of the ingredients' own bounds.

    A choice has none, nor has a limit whose denominator is zero, nor one that the time does not reach: bounds are last.
    """
    basis, left_out = _decided(formulation, found)
    variables = {place: variable for variable, place in enumerate(formulation.adjustable)}
    priced = []
    for state, row in zip(states, formulation.row_of, strict=True):
        limit, moving = state.limit, None
        if row is None:
            variable = variables[limit.subject.place]
            if bounds and variable not in left_out:
                moving = Moving(Mark("lower" if limit.sense == ">=" else "upper", variable))
        elif not limit.members and state.actual is not None:
            rate = formulation.padded(limit.denominator) if limit.divided else ()
            moving = Moving(Mark("row", row), rate, -limit.divisor(formulation.fixed))
        priced.append(state if moving is None or out_of_time() else _with_price(state, *sides(basis, moving)))
    return tuple(priced)


def _decided(formulation: Formulation, found: Solution) -> tuple[Basis, set[int]]:
    """The basis and the weights not used, with the choice no longer in rows but in the bounds.

    Else the maximum of what is used would stand in two rows, and neither would have its price.
    """
    model, used = found.model, formulation.ties
    if not used:
        return found.basis, set()
    left_out = {weight for variable, weight in used.items() if not model.variables[variable].upper}
    nothing = Row("", (ZERO,) * len(model.variables), ">=", ZERO)
    plain = replace(model, rows=tuple(nothing if any(place in used for place, _ in row.slack.entries) else row
                                      for row in model.rows))
    basis = best_basis(found.basis.under(plain.with_bounds(dict.fromkeys(left_out, (ZERO, ZERO)))),
                       model.whole_costs[:1])
    assert basis is not None
    return basis, left_out


def _with_price(state: LimitState, more: SidePrice | None, less: SidePrice | None) -> LimitState:
    """The price to the right where the limit can be moved there, else to the left; None where it cannot move."""
    bound = float(state.limit.bound)
    up, down = _price_end(state.limit, bound, more, 1), _price_end(state.limit, bound, less, -1)
    looser, end = (less, down) if state.limit.sense == ">=" else (more, up)
    side = more or less
    if side is None:
        return state
    low = bound if less is None or (more and more.price != less.price) else down
    return LimitState(state.limit, state.actual, state.slack, state.binding, float(side.price), low,
                      up if more else bound,
                      None if looser is None else Loosening(float(looser.price), end, float(looser.bend)))


def _price_end(limit: Limit, bound: float, side: SidePrice | None, way: int) -> float | None:
    """The limit up to which a side is known; None is without end. Where it matters, no limit is below nothing."""
    end = None if side is None or side.until is None else float(limit.bound + side.until)
    if side and way < 0 and (side.price or limit.sense == "<="):
        end = max(0.0, end or 0.0)
    return None if end is None or abs(end) >= FAR_OFF * max(1.0, abs(bound)) else end
