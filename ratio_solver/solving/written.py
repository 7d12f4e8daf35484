"""The weights of an answer as they are written out: decimals that keep every limit, without tolerance.

Rounded to decimals the best weights miss the limits that bind by a hair, one way or the other. What is written out
is read again and judged exactly, so the weights that moved are nudged, by billionths of a gram, to the inner side.
"""

from __future__ import annotations

import numpy as np

from ratio_solver.dish.constraints import MORE, Limit
from ratio_solver.exact import Vector, exact
from ratio_solver.lp.model import Floats
from ratio_solver.solving.result import Proposal

WRITTEN_DECIMALS = 9
"""Of a gram; to so many a continuous weight is given."""

NUDGES = (2e-9, 2e-8, 2e-7)
"""How far inside the limits that bind are put, per unit of their coefficients' sum, g; the first that does."""

AT_BOUND = 1e-6
"""Grams from a bound within which a weight is at it, and stays there."""


def kept_weights(answer: Proposal) -> Vector:
    """Weights for the batch, g, that keep every limit of the answer exactly.

    Limits that leave no room (a least and a most that are the same) are met as nearly as decimals can; where other
    limits leave none either, the weights are those of the answer.
    """
    weights = tuple(weight.grams for weight in answer.weights)
    limits = [state.limit for state in answer.limits if not state.limit.members]
    roomy = [limit for limit in limits if not _banded(limit, limits)]
    if _keeps_all(roomy, weights):
        return weights
    binding = [state.limit for state in answer.limits if state.binding and state.limit in limits
               and state.limit.kind != "ingredient"]
    free = [place for place, weight in enumerate(answer.weights)
            if weight.minimum is not None and weight.maximum is not None
            and weight.minimum + exact(AT_BOUND) < weight.grams < weight.maximum - exact(AT_BOUND)]
    moved = [place for place in free if answer.weights[place].change]
    for places in (moved, free):
        for nudge in NUDGES:
            found = _nudged(weights, binding, roomy, places, nudge)
            if found is not None and _keeps_all(roomy, found):
                return found
    return weights


def _keeps_all(limits: list[Limit], weights: Vector) -> bool:
    return all(limit.margin(weights) >= 0 for limit in limits)


def _banded(limit: Limit, limits: list[Limit]) -> bool:
    return any((other.kind, other.subject, other.bound) == (limit.kind, limit.subject, limit.bound)
               and other.sense != limit.sense
               for other in limits)


def _nudged(weights: Vector, binding: list[Limit], roomy: list[Limit], places: list[int],
            nudge: float) -> Vector | None:
    """The least change (sum of squares) of some weights that puts the limits that bind inside; bands stay met."""
    if not places or not binding:
        return None
    rows: Floats = np.array([[float(a) for a in limit.row()[0]] for limit in binding])
    sums = np.abs(rows).sum(axis=1)
    sums[sums == 0] = 1.0
    inward = np.array([(1.0 if limit.sense == MORE else -1.0) if limit in roomy else 0.0 for limit in binding])
    change, *_ = np.linalg.lstsq(rows[:, places] / sums[:, None], inward * nudge, rcond=None)
    found = list(weights)
    for place, grams in zip(places, change.tolist(), strict=True):
        found[place] = exact(round(float(weights[place]) + grams, WRITTEN_DECIMALS))
    return tuple(found)
