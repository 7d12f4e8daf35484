"""How far each weight may move, and how far the price of each limit holds.

The lowest and highest weights are over every choice that a recipe leaves open (`choose`); prices hold the
choice of the answer fixed. Weights on whole steps keep the ranges and prices of the linear programme, in
which weights are any fraction of a gram.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, islice, product

import numpy as np

from ratio_solver.dish.status import LimitState, Loosening, Weight
from ratio_solver.exact import ZERO, Vector, dot, exact
from ratio_solver.lp.extremes import Span, closed_part, extremes, is_point, searched_extremes
from ratio_solver.lp.knobs import Knob, Quotient, Sides
from ratio_solver.lp.model import Arrays, Floats, LinearModel
from ratio_solver.lp.ranging import prices
from ratio_solver.lp.solve import Solution, narrowed, on_face, whole_set
from ratio_solver.solving.formulation import Formulation
from ratio_solver.solving.result import Proposal

MOST_SETTINGS = 64
"""So many ways to choose are gone through one by one; more are left to an integer search for each weight."""

EQUAL = 1e-7
"""Relative difference up to which two objectives, or two prices, count as equal."""

DIGITS = 6
"""Decimals of a gram to which the ends of a range are given."""


def with_ranges(proposal: Proposal, formulation: Formulation, settled: LinearModel, found: Solution) -> Proposal:
    """The proposal with the range of every weight, and the price of every limit with its range.

    Parameters
    ----------
    proposal : Proposal
        Of the linear programme.
    formulation : Formulation
    settled : LinearModel
        The model with its choice fixed, of which `found` is the solution.
    found : Solution
    """
    spans = weight_ranges(formulation, settled, found)
    weights = list(proposal.weights)
    for variable, place in enumerate(formulation.adjustable):
        weights[place] = _ranged(weights[place], *(span[variable] for pair in spans for span in pair))
    return replace(proposal, weights=tuple(weights), limits=_priced(proposal.limits, formulation, settled, found))


def _ranged(weight: Weight, lowest: float, highest: float, best_lowest: float, best_highest: float) -> Weight:
    def end(value: float) -> Fraction:
        if abs(value - float(weight.grams)) <= 10.0**-DIGITS:
            return weight.grams
        near = exact(round(value, DIGITS))
        return min(max(near, weight.minimum or ZERO), near if weight.maximum is None else weight.maximum)

    return replace(weight, lowest=min(end(lowest), weight.grams), highest=max(end(highest), weight.grams),
                   best_lowest=min(end(best_lowest), weight.grams), best_highest=max(end(best_highest), weight.grams))


def weight_ranges(formulation: Formulation, settled: LinearModel, found: Solution) -> tuple[Span, Span]:
    """Lowest and highest of the adjustable weights: over all feasible answers, over all equally good ones."""
    count = len(formulation.adjustable)
    here = found.values[:count]
    cost = formulation.model.float_costs[0]
    most = found.objective + EQUAL * max(1.0, abs(found.objective))
    solved = [(settled.arrays, found)]
    if formulation.model.stepped:
        settings = list(islice(_settings(formulation), MOST_SETTINGS + 1))
        if len(settings) > MOST_SETTINGS:
            return (searched_extremes(formulation.model, count, np.inf),
                    searched_extremes(formulation.model, count, most))
        tried = [(arrays, on_face(arrays, cost, whole_set(arrays))) for arrays in settings]
        solved = [(arrays, best) for arrays, best in tried if isinstance(best, Solution)]
    parts = [closed_part(arrays) for arrays, _ in solved]
    faces = [(arrays, narrowed(arrays, cost, best, whole_set(arrays)), best.values[:count])
             for arrays, best in solved if best.objective <= most]
    wide = [(arrays, face) for arrays, face, _ in faces if not is_point(arrays, face)]
    return (extremes([(part, whole_set(part)) for part in parts], [here, *(best.values[:count] for _, best in solved)]),
            extremes(wide, [here, *(values for _, _, values in faces)]))


def _settings(formulation: Formulation) -> Iterator[Arrays]:
    """The model with its choices made, in each way that leaves no room for one more ingredient."""
    model, recipe = formulation.model, formulation.recipe
    at = formulation.used
    options = []
    for limit in formulation.limits:
        if limit.members:
            free = [at[place] for place in limit.members if place in at and not model.variables[at[place]].lower]
            taken = sum(1 for place in limit.members if recipe.ingredients[place].start > 0 and place not in at)
            taken += sum(1 for place in limit.members if place in at and model.variables[at[place]].lower)
            room = max(0, min(len(free), int(limit.bound) - taken))
            options.append([frozenset(free) - frozenset(kept) for kept in combinations(free, room)])
    seen = set()
    for choice in product(*options):
        left_out = frozenset().union(*choice)
        if left_out not in seen:
            seen.add(left_out)
            yield _set(model, left_out)


def _set(model: LinearModel, left_out: frozenset[int]) -> Arrays:
    whole = [place for place, variable in enumerate(model.variables) if variable.step is not None]
    lower, upper = model.arrays.lower.copy(), model.arrays.upper.copy()
    for place in whole:
        lower[place] = upper[place] = 0.0 if place in left_out else 1.0
    return replace(model.arrays, lower=lower, upper=upper)


def _priced(
    states: tuple[LimitState, ...], formulation: Formulation, settled: LinearModel, found: Solution
) -> tuple[LimitState, ...]:
    """The limits with their prices. A choice has none, nor has a limit whose denominator is zero."""
    arrays, found, left_out = _decided(formulation, settled, found)
    places = [
        place for place, state in enumerate(states)
        if not state.limit.members and state.actual is not None
        and not (state.limit.kind == "ingredient" and state.limit.subject.place in left_out)
    ]
    knobs = [_knob(formulation, place) for place in places]
    sides = prices(arrays, settled.float_costs[0], found, knobs)
    priced = dict(zip(places, sides, strict=True))
    return tuple(_with_price(state, priced[place]) if place in priced else state
                 for place, state in enumerate(states))


def _decided(
    formulation: Formulation, settled: LinearModel, found: Solution
) -> tuple[Arrays, Solution, frozenset[int]]:
    """The model, its solution and the ingredients not used, with the choice no longer in it but in the bounds.

    Else the maximum of what is used would stand in two rows, and neither would have its price.
    """
    if not settled.stepped:
        return settled.arrays, found, frozenset()
    arrays = settled.arrays
    left_out = [weight for used, weight in formulation.ties.items() if not settled.variables[used].upper]
    whole = np.array([variable.step is not None for variable in settled.variables])
    links = np.any(arrays.matrix[:, whole] != 0, axis=1)
    lower, upper = arrays.lower.copy(), arrays.upper.copy()
    lower[left_out] = upper[left_out] = 0.0
    plain = replace(arrays, matrix=np.where(links[:, None], 0.0, arrays.matrix), lower=lower, upper=upper,
                    bound=np.where(links, 0.0, arrays.bound))
    again = on_face(plain, settled.float_costs[0], whole_set(plain))
    assert isinstance(again, Solution)
    return plain, replace(again, values=found.values), frozenset(formulation.adjustable[k] for k in left_out)


def _knob(formulation: Formulation, place: int) -> Knob:
    """A limit of the recipe as a bound of the model."""
    limit, row = formulation.limits[place], formulation.row_of[place]
    if row is None:
        variable = formulation.adjustable.index(limit.subject.place)
        unit = np.zeros(len(formulation.model.variables))
        unit[variable] = 1.0
        return Knob(limit.sense, float(limit.bound), Quotient(unit, 0.0, np.zeros(len(unit)), 1.0),
                    variable=variable, least=0.0)
    fixed = [ZERO if item.adjustable else exact(item.start) for item in formulation.recipe.ingredients]
    value = Quotient(
        _over_variables(formulation, limit.numerator), float(dot(limit.numerator, fixed)),
        _over_variables(formulation, limit.denominator), float(dot(limit.denominator, fixed) + limit.constant),
    )
    return Knob(limit.sense, float(limit.bound), value, row)


def _over_variables(formulation: Formulation, coefficients: Vector) -> Floats:
    found = np.zeros(len(formulation.model.variables))
    found[: len(formulation.adjustable)] = [float(coefficients[place]) for place in formulation.adjustable]
    return found


def _with_price(state: LimitState, sides: Sides) -> LimitState:
    """The price to the right where the limit can be moved there, else to the left; None where it cannot move."""
    bound = float(state.limit.bound)
    more, less = sides.more, sides.less
    looser = less if state.limit.sense == ">=" else more
    given = replace(state, looser=None if looser is None else
                    Loosening(looser.price, _finite(looser.until), looser.bend))
    if more is None and less is None:
        return given
    if more is None or less is None:
        side = more or less
        assert side is not None
        ends = (bound, side.until) if more else (side.until, bound)
    elif abs(more.price - less.price) <= EQUAL * max(1.0, abs(more.price)):
        side, ends = more, (less.until, more.until)
    else:
        side, ends = more, (bound, more.until)
    return replace(given, price=side.price, holds_from=_finite(ends[0]), holds_to=_finite(ends[1]))


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
