"""How low a cost can be over every way to choose, in exact arithmetic."""

from __future__ import annotations

import heapq
from fractions import Fraction
from itertools import count

from ratio_solver.exact import ONE, ZERO
from ratio_solver.lp.branching import chosen, part_of, tied, to_split
from ratio_solver.lp.certificate import dual_bound
from ratio_solver.lp.feasibility import has_point
from ratio_solver.lp.model import Floats, LinearModel
from ratio_solver.lp.solve import Infeasible, on_face, whole_set

MOST_PARTS = 64
"""Parts of the ways to choose that are looked at; each is a linear programme and its bound in rationals."""


def least_cost(model: LinearModel, enough: Fraction | None = None, most: int = MOST_PARTS) -> Fraction:
    """An exact lower bound on the first cost, whichever choice is made: weak duality, part by part.

    The part with the lowest bound is split first, until nothing is left to choose in it, or its bound is `enough`. A
    part without a point is left out where that is proven.
    """
    ties = tied(model)
    bound, values = _bounded(model)
    tie = count()
    parts = [(bound, next(tie), dict[int, Fraction](), values)]
    for _ in range(most):
        bound, _, fixed, values = parts[0]
        part = part_of(model, fixed, ties)
        place = None if values is None else to_split(part, values, chosen(part, values, ties), ties)
        if place is None or (enough is not None and bound >= enough):
            break
        heapq.heappop(parts)
        for value in (ONE, ZERO):
            further = {**fixed, place: value}
            half = part_of(model, further, ties)
            if all(variable.lower <= variable.upper for variable in half.variables):
                lowest, point = _bounded(half)
                if point is not None or has_point(half, 1) is not False:
                    heapq.heappush(parts, (max(bound, lowest), next(tie), further, point))
        if not parts:
            break  # no point at all: the bound is as good as any
    return bound


def _bounded(model: LinearModel) -> tuple[Fraction, Floats | None]:
    """The bound of a linear programme's multipliers, and its point; where the solver finds none, that of the box."""
    found = on_face(model.arrays, model.float_costs[0], whole_set(model.arrays))
    if isinstance(found, Infeasible):
        return dual_bound(model, model.costs[0], [0.0] * len(model.rows)), None
    return dual_bound(model, model.costs[0], found.row_prices.tolist()), found.values
