"""Solve a linear model whose variables come in whole steps; every answer is exact.

The canonical answer. Let G be the points whose stepped variables are multiples of their steps within their
bounds and that keep every row in exact arithmetic. The answer is the point of G with the least first cost; among
those the least second cost, and so on to the last; costs are compared as rationals, without tolerance. The first
cost may have a resolution: then it counts as the interval of that length in which it lies, and the lowest interval
is asked for. The definition does not mention the solver. Where the last cost has weights that are independent over
the rationals and looks at every stepped variable, there is exactly one such point.

How it is found. On G a cost whose terms are multiples of their grids is a multiple of the greatest common
divisor of these. So the exact bound of the linear programme, raised to that grid, is a floor under every whole
answer: one that reaches it is proven the least in exact arithmetic. Where the solver can tell grid units of a cost
apart, the cost and the next one are minimised at once (`_Stage`), else one after the other, the earlier held by
exact rows.

What rests on the solver: that it misses no point when it says a search is complete, and that it orders points whose
costs differ by less than about 1e-9 (1e-6 of a second cost minimised at once with a first). A search that exceeds
its limit of nodes is never called complete (`WholeSolution.proof`, `WholeSolution.settled`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.errors import NotProven
from ratio_solver.exact import Vector
from ratio_solver.lp.search import USABLE, WholeModel, WholePoint, minimum, raised

SEEN = Fraction(1, 10**5)
"""The least that a second cost may weigh beside a first when both are minimised at once."""

COST_ROUNDING = 1e-9
"""Rounding of a cost, relative."""


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
        How the objective is known to be the least: it equals an exact bound on the grid; the solver's search
        was completed without a gap; or it is not known.
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


def solve_whole(whole: WholeModel, floor: Fraction) -> WholeSolution | None:
    """The canonical whole answer of a model; None where it has none.

    Parameters
    ----------
    whole : WholeModel
    floor : Fraction
        An exact lower bound on the first cost over all points, whole or not: that of the linear programme, or of the
        best of its parts where there are choices (`solve.branched`).

    Raises
    ------
    NotProven
        Where the solver gives up without a point.
    """
    grid = whole.grid(whole.model.costs[0])
    least = raised(floor, grid)
    base = whole.base(whole.model.costs[0])
    stage = _stage(whole, 0, least + (least - base) / 4 + 10 * (grid or 1))
    searched = minimum(whole, stage.cost, _gap(whole, least))
    if searched is not None and stage.spoilt(whole.cost(0, searched.values)):
        stage = _stage(whole, 0, whole.cost(0, searched.values))
        searched = minimum(whole, stage.cost)
    if searched is None:
        return None
    bound, proof = _judged(whole, least, stage, searched)
    held, point = whole.at_most(0, whole.top(whole.cost(0, searched.values))), searched
    if whole.resolution is not None and not proof and searched.complete:
        lower = whole.at_most(0, whole.top(bound))
        try:
            better = minimum(lower, _stage(lower, 1, whole.cost(1, point.values)).cost)
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


def _judged(whole: WholeModel, least: Fraction, stage: _Stage, point: WholePoint) -> tuple[Fraction, str]:
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


def _ties_settled(whole: WholeModel, stage: _Stage, point: WholePoint) -> WholePoint:
    """The best point for the later costs among those as good for the first; `whole` holds the first already."""
    complete, held = True, 1
    while stage.following < len(whole.model.costs):
        if stage.following == len(whole.model.costs) - 1 and whole.alone(point.values):
            break
        for place in range(held, stage.following):
            whole = whole.at_most(place, whole.cost(place, point.values))
        held = stage.following
        stage = _stage(whole, stage.following, whole.cost(stage.following, point.values))
        try:
            better = minimum(whole, stage.cost)
        except NotProven:  # the point found before is as good for the first cost, and keeps every row
            better = None
        complete = complete and better is not None and better.complete
        point = better or point
    return replace(point, complete=complete and point.complete)


@dataclass(frozen=True)
class _Stage:
    """One cost to minimise, or two at once: the second so small that it cannot outweigh a grid unit of the first.

    Counted from what the variables' lower bounds make of them (their bases), both costs are >= 0. Where then second
    <= steepness * first for every point and first <= most at the best, ``first + share * second`` with
    ``share * steepness * most = grid / 2`` has its minimum at the least first cost, and there at the least second.
    """

    following: int
    cost: Vector
    grid: Fraction | None
    tilt: Fraction = Fraction(0)
    share: Fraction = Fraction(0)
    bases: tuple[Fraction, Fraction] = (Fraction(0), Fraction(0))

    def spoilt(self, value: Fraction) -> bool:
        """Whether the first cost came out so high that the second may have outweighed a grid unit of it."""
        return bool(self.tilt) and self.grid is not None and self.tilt * (value - self.bases[0]) >= self.grid

    def bound(self, bound: Fraction) -> Fraction:
        """What a bound on the joint cost says of the first."""
        first, second = self.bases
        return raised((bound - self.share * second + self.tilt * first) / (1 + self.tilt), self.grid)


def _stage(whole: WholeModel, place: int, most: Fraction) -> _Stage:
    """The cost at this place, joined with the next where the solver can still tell both apart."""
    costs = whole.model.costs
    first, grid = costs[place], whole.grid(costs[place])
    if place + 1 < len(costs) and grid is not None and _tells_apart(first, grid):
        steepness = _steepness(first, costs[place + 1])
        if steepness is not None:
            bases = whole.base(first), whole.base(costs[place + 1])
            share = grid / (2 * steepness * max(most - bases[0], grid))
            if share * min(c for c in costs[place + 1] if c) > SEEN * max(first):
                joint = tuple(a + share * b if b else a for a, b in zip(first, costs[place + 1], strict=True))
                return _Stage(place + 2, joint, grid, share * steepness, share, bases)
    return _Stage(place + 1, first, grid)


def _steepness(first: Vector, second: Vector) -> Fraction | None:
    """The least s with second <= s * first, both counted from their bases; None where there is none."""
    pairs = [(a, b) for a, b in zip(first, second, strict=True) if a or b]
    if not pairs or any(a <= 0 or b <= 0 for a, b in pairs):
        return None
    return max(b / a for a, b in pairs)


def _tells_apart(cost: Vector, grid: Fraction | None) -> bool:
    """Whether the solver can tell neighbouring values of a cost from each other."""
    return grid is not None and float(grid) > USABLE * max(float(abs(c)) for c in cost)
