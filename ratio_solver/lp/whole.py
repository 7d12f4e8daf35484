"""Solve a linear model whose variables come in whole steps; every answer is exact.

The canonical answer. Let G be the points whose stepped variables are multiples of their steps within their
bounds and that keep every row in exact arithmetic. The answer is the point of G with the least first cost; among
those the least second cost, and so on to the last; costs are compared as rationals, without tolerance. The first
cost may have a resolution: then it counts as the interval of that length in which it lies, and the lowest interval
is asked for. The definition does not mention the solver. Where the last cost has weights that are independent over
the rationals and looks at every stepped variable, there is exactly one such point.

How it is found. First all the ways to spend little more than the dual bound of the linear programme are gone through
(`lp.enumeration`), which ends most searches with a proof. A first cost with a resolution is gone through alone, then
the others in its interval, that of the bound where its own points are too many; of the largest relative move the least
level is found so (`lp.least_largest`). Where a row leaves less room than a step, the points that keep it are found from
sums of two halves (`lp.halves`). What is left is for HiGHS: on G a cost whose terms are multiples of their grids is a
multiple of the greatest common divisor of these, so the exact bound, raised to that grid, is a floor under every whole
answer: one that reaches it is proven the least in exact arithmetic. Where the solver can tell grid units of a cost
apart, the cost and the next one are minimised at once (`lp.stages`), else one after the other, the earlier held by
exact rows.

What rests on the solver: that it misses no point when it says a search is complete, and that it orders points whose
costs differ by less than about 1e-9 (1e-6 of a second cost minimised at once with a first). A search that exceeds
its limit of nodes, or of time (`lp.clock`), is never called complete (`WholeSolution.proof`, `WholeSolution.settled`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.exact import Vector
from ratio_solver.lp.clock import share
from ratio_solver.lp.enumeration import FEW_WAYS, Enumerated, enumerated
from ratio_solver.lp.halves import Narrow, narrowest
from ratio_solver.lp.lattice import Lattice, lattice_of
from ratio_solver.lp.least_largest import RelativeMoves, least_largest, moves_behind
from ratio_solver.lp.model import Floats
from ratio_solver.lp.points import narrow_point
from ratio_solver.lp.search import WholeModel, WholePoint, minimum, off_the_grid, raised, rounded_point, seen_empty
from ratio_solver.lp.solve import continuous_prices
from ratio_solver.lp.stages import Stage, stage_of

COST_ROUNDING = 1e-9
"""Rounding of a cost, relative."""

PARTS_OF_SEARCH = 1.25
"""HiGHS may search for so many-th part of the time left; what is then left is for a point that is not proven."""

SPARES = (4.0, 32.0)
"""By how much the cost of a point that is not proven may exceed the bound for what one row leaves over."""

MANY_WEIGHTS = 60
"""Of more weights a good point is looked for first: there are many as good, and a search goes through them for long."""


@dataclass(frozen=True)
class WholeSolution:
    """An answer on the steps: it keeps every row exactly.

    Attributes
    ----------
    values : tuple of Fraction, one per variable
    objective : Fraction
        The first cost.
    bound : Fraction
        No whole point has a lower first cost.
    settled : bool
        Whether the ties were searched to the end, so that this is the canonical answer.
    proof : {"exact", "search", ""}
        How the objective is known to be the least: by exact bounds, or all the points that could have less were gone
        through; the solver's search was completed without a gap; or it is not known.
    """

    values: Vector
    objective: Fraction
    bound: Fraction
    proof: str
    settled: bool

    @property
    def proven(self) -> bool:
        """Whether the objective is known to be the least."""
        return bool(self.proof)


def solve_whole(whole: WholeModel, floor: Fraction, prices: Sequence[float] = (),
                between: Sequence[Fraction] = ()) -> WholeSolution | None:
    """The canonical whole answer of a model; None where it has none.

    Parameters
    ----------
    whole : WholeModel
    floor : Fraction
        An exact lower bound on the first cost over all points, whole or not: that of the linear programme, or of the
        best of its parts where there are choices (`solve.branched`).
    prices : sequence of float
        Multipliers of the first rows, best those of the linear programme.
    between : sequence of Fraction
        The best point of the linear programme.

    Raises
    ------
    NotProven
        Where no point is found, and it is not known that there is none.
    """
    asked = _Question(whole, lattice_of(whole.model, whole.count), floor, tuple(prices), tuple(between))
    lattice = asked.lattice
    if lattice is not None and lattice.costed:
        # A cost with a resolution is first minimised alone, then the others in its interval.
        first, places = whole, lattice
        if whole.resolution is not None:
            first = whole.with_costs(whole.model.costs[:1])
            places = lattice_of(first.model, first.count) or lattice
        found = enumerated(first, places, asked.all_prices, first=float(asked.least), grid=asked.float_grid)
        if found.complete:
            return None if found.values is None else _best_of_all(whole, found.values)
        asked = replace(asked, floor=max(floor, _below(found.bound)))
        settled = None if whole.resolution is None else _best_in_interval(whole, asked.least)
        if settled is not None and settled.values is not None:
            return WholeSolution(settled.values, whole.cost(0, settled.values), asked.least, "exact", settled=True)
    moves = None if lattice is None or whole.count > MANY_WEIGHTS else moves_behind(whole)
    if lattice is not None and moves is not None:
        found = least_largest(whole, moves, lattice, asked.all_prices, floor)
        if found.complete:
            return None if found.values is None else _best_as_even(whole, moves, found.values)
    narrow = None if lattice is None else narrowest(whole, lattice)
    if lattice is None or narrow is None:
        return _searched_or_rough(asked)
    if lattice.empty or off_the_grid(whole) or seen_empty(whole):
        return None
    point, complete = narrow_point(whole, lattice, narrow, asked.centre)
    if point is None and complete:
        return None
    if point is None:
        return _searched(whole, asked.least, asked.grid)
    if complete and lattice.costed and whole.resolution is None:
        return _best_of_all(whole, point)
    known = _not_settled(asked, point)
    return known if known.proven else _bettered(asked, known)


@dataclass(frozen=True)
class _Question:
    """What is asked for, and what is known of it: a bound, multipliers, the best point between the steps."""

    whole: WholeModel
    lattice: Lattice | None
    floor: Fraction
    prices: tuple[float, ...]
    between: Vector

    @cached_property
    def grid(self) -> Fraction | None:
        """What first costs are a multiple of."""
        return self.whole.grid(self.whole.model.costs[0])

    @property
    def float_grid(self) -> float:
        return float(self.grid or 0)

    @property
    def least(self) -> Fraction:
        """No first cost is lower."""
        return raised(self.floor, self.grid)

    @property
    def all_prices(self) -> list[float]:
        """A multiplier for every row; those that the steps add have none."""
        return [*self.prices, *[0.0] * (len(self.whole.model.rows) - len(self.prices))]

    @property
    def centre(self) -> Floats:
        """The best point between the steps as a place among the whole ones; the middle of the ranges without one."""
        lattice, variables = self.lattice, self.whole.model.variables
        assert lattice is not None
        if not self.between:
            return np.asarray((lattice.low + lattice.high) / 2)
        return np.array([float((self.between[place] - variables[place].base) / (variables[place].step or 1))
                         for place in lattice.places])


def _searched_or_rough(asked: _Question) -> WholeSolution | None:
    """The canonical answer by HiGHS' search; of many weights, or where that finds none, the best along good ways."""
    rough = None
    if asked.lattice is not None and len(asked.lattice.places) > MANY_WEIGHTS:
        rough = _rough(asked)
        if rough is not None and rough.proven:
            return rough
    try:
        with share(PARTS_OF_SEARCH):
            return _searched(asked.whole, asked.least, asked.grid)
    except NotProven:
        rough = rough or _rough(asked)
        if rough is None:
            raise
        return rough


def _bettered(asked: _Question, known: WholeSolution) -> WholeSolution:
    """A better answer than one that is known, or the same with more known of it, as far as HiGHS' search goes."""
    try:
        # At a resolution a first cost that is higher, but counts as equal, may be that of the canonical answer.
        return _searched(asked.whole.at_most(0, asked.whole.top(known.objective)), asked.least, asked.grid) or known
    except NotProven:
        return known


def _rough(asked: _Question) -> WholeSolution | None:
    """A point along the most promising ways alone, near the best one between the steps, or by rounding."""
    point = _promising(asked) or rounded_point(asked.whole)
    return None if point is None else _not_settled(asked, point)


def _not_settled(asked: _Question, point: Vector) -> WholeSolution:
    """A point as an answer: proven where it comes to the bound, without a word on ties."""
    objective = asked.whole.cost(0, point)
    proven = asked.whole.cut(objective) <= asked.whole.cut(asked.least)
    return WholeSolution(point, objective, min(asked.least, objective), "exact" if proven else "", settled=False)


def _promising(asked: _Question) -> Vector | None:
    """A good point along the most promising ways alone, or near the best one between the steps."""
    whole, lattice, prices = asked.whole, asked.lattice, asked.all_prices
    if lattice is None or not lattice.costed or whole.resolution is not None:
        return None
    point = enumerated(whole, lattice, prices, FEW_WAYS, float(asked.least), asked.float_grid, beam=True).values
    if point is None:
        y = lattice.multipliers(prices)
        row = int(np.argmax(y)) if y.any() else -1
        for spare in SPARES if row >= 0 else ():
            point, _ = narrow_point(whole, lattice, Narrow(row, spare / float(y[row]), 0.0), asked.centre)
            if point is not None:
                break
    return point


def _best_of_all(whole: WholeModel, values: Vector) -> WholeSolution:
    """The answer where all the points that could have a lower first cost were gone through.

    Without a resolution they were compared by all costs. Else the best for the others in the interval is looked for.
    """
    objective = whole.cost(0, values)
    if whole.resolution is None:
        return WholeSolution(values, objective, objective, "exact", settled=True)
    best = _best_in_interval(whole, objective)
    if best is not None and best.values is not None:
        point = WholePoint(best.values, float(objective), complete=True)
    else:
        first = Stage(1, whole.model.costs[0], None)
        point = _ties_settled(whole.at_most(0, whole.top(objective)), first,
                              WholePoint(values, float(objective), complete=True))
    return WholeSolution(point.values, whole.cost(0, point.values), objective, "exact", point.complete)


def _best_as_even(whole: WholeModel, moves: RelativeMoves, values: Vector) -> WholeSolution:
    """The answer where no largest move is less than at these values: the best for the later costs of those as even."""
    objective, model = whole.cost(0, values), whole.model
    rows = tuple(row for number, row in enumerate(model.rows) if number not in moves.row)
    ends = {place: (max(v.lower, start - objective / share), min(v.upper, start + objective / share))
            for place, (v, start, share) in enumerate(zip(model.variables, moves.start, moves.share, strict=False))}
    rest = replace(whole, model=replace(model, rows=rows, costs=model.costs[1:]).with_bounds(ends))
    best = _gone_through(rest)
    point = WholePoint(values, float(objective), complete=True)
    point = replace(point, values=best.values) if best is not None and best.values is not None else \
        _ties_settled(whole.at_most(0, objective), Stage(1, model.costs[0], None), point)
    return WholeSolution(point.values, objective, objective, "exact", point.complete)


def _best_in_interval(whole: WholeModel, first: Fraction) -> Enumerated | None:
    """The best by the later costs of the points whose first cost is in the interval of this one, or below it.

    None where they are not gone through to the end.
    """
    return _gone_through(whole.at_most(0, whole.top(first)).with_costs(whole.model.costs[1:]))


def _gone_through(whole: WholeModel) -> Enumerated | None:
    """The best point of a model where all that could be are gone through to the end; else None."""
    try:
        lattice, prices = lattice_of(whole.model, whole.count), continuous_prices(whole.model)
    except NotProven:
        return None
    found = None if lattice is None or prices is None else enumerated(whole, lattice, prices)
    return found if found is not None and found.complete else None


def _below(bound: float) -> Fraction:
    """A bound in doubles as one that is surely not above it."""
    return Fraction(bound - COST_ROUNDING * max(1.0, abs(bound)))


def _searched(whole: WholeModel, least: Fraction, grid: Fraction | None) -> WholeSolution | None:
    """The canonical whole answer by HiGHS' search; no point has a first cost below `least`."""
    base = whole.base(whole.model.costs[0])
    stage = stage_of(whole, 0, least + (least - base) / 4 + 10 * (grid or 1))
    searched = minimum(whole, stage.cost, _gap(whole, least))
    if searched is not None and stage.spoilt(whole.cost(0, searched.values)):
        stage = stage_of(whole, 0, whole.cost(0, searched.values))
        searched = minimum(whole, stage.cost)
    if searched is None:
        return None
    bound, proof = _judged(whole, least, stage, searched)
    held, point = whole.at_most(0, whole.top(whole.cost(0, searched.values))), searched
    if whole.resolution is not None and not proof and searched.complete:
        lower = whole.at_most(0, whole.top(bound))
        try:
            better = minimum(lower, stage_of(lower, 1, whole.cost(1, point.values)).cost)
            held, point, proof = (held, point, "search") if better is None else (lower, better, "search")
            bound = max(bound, whole.cut(whole.cost(0, point.values)))
        except NotProven:
            pass  # whether there is one in the lower interval stays open
    point = _ties_settled(held, stage, point)
    objective = whole.cost(0, point.values)
    return WholeSolution(point.values, objective, min(bound, objective), proof, point.complete)


def _gap(whole: WholeModel, least: Fraction) -> float:
    """The relative gap at which a search for the first cost may stop."""
    if whole.resolution is None:
        return 0.0
    return float(whole.resolution) / 4 / max(abs(float(least)), float(whole.resolution))


def _judged(whole: WholeModel, least: Fraction, stage: Stage, point: WholePoint) -> tuple[Fraction, str]:
    """A bound on the first cost, and how it shows that of the point to be the least; empty where it does not."""
    objective = whole.cost(0, point.values)
    if whole.cut(objective) <= whole.cut(least):
        return least, "exact"
    if not math.isfinite(point.bound):
        return least, ""
    rounding = COST_ROUNDING * max(1.0, abs(point.bound))
    bound = max(least, stage.bound(Fraction(point.bound - rounding)))
    near = not stage.tilt and float(objective) - point.bound <= rounding
    proven = whole.cut(bound) >= whole.cut(objective) or near
    return min(bound, objective), "search" if point.complete and proven else ""


def _ties_settled(whole: WholeModel, stage: Stage, point: WholePoint) -> WholePoint:
    """The best point for the later costs among those as good for the first; `whole` holds the first already."""
    complete, held = True, 1
    while stage.following < len(whole.model.costs):
        if stage.following == len(whole.model.costs) - 1 and whole.alone(point.values):
            break
        for place in range(held, stage.following):
            whole = whole.at_most(place, whole.cost(place, point.values))
        held = stage.following
        stage = stage_of(whole, stage.following, whole.cost(stage.following, point.values))
        try:
            better = minimum(whole, stage.cost)
        except NotProven:  # the point found before is as good for the first cost, and keeps every row
            better = None
        complete = complete and better is not None and better.complete
        point = better or point
    return replace(point, complete=complete and point.complete)
