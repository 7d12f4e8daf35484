"""The lowest and highest values that variables take over parts of a model, in doubles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ratio_solver.errors import NotProven
from ratio_solver.lp import highs
from ratio_solver.lp.basis import CONSTANT, Basis
from ratio_solver.lp.model import Floats, LinearModel

Ranges = tuple[Floats, Floats]
"""Lowest and highest values of some variables, each of shape (variables,)."""

AT_RANGE_END = 1e-9
"""A value so near its bound (g) is at it, and there is nothing to search."""

MANY = 40
"""Ends of which it is worth to ask first which are reached by one variable alone."""

MOST_TOGETHER = 2_000_000
"""Entries of the programmes that are solved as one, which bounds the memory."""

UNKNOWN_RANGE = "the solver stopped without the range of a weight"


@dataclass(frozen=True)
class Face:
    """Points between bounds whose rows are between ends.

    Attributes
    ----------
    matrix : ndarray, shape (rows, variables)
    least, most : ndarray, shape (rows,)
    lower, upper : ndarray, shape (variables,)
    """

    matrix: Floats
    least: Floats
    most: Floats
    lower: Floats
    upper: Floats


def whole_face(model: LinearModel) -> Face:
    """All points of a model, less its open variables, which can always follow, and the rows that define them."""
    arrays = model.arrays
    kept = ~arrays.open
    rows = ~np.any(arrays.matrix[:, ~kept] != 0, axis=1)
    least, most = arrays.ends
    return Face(arrays.matrix[rows][:, kept], least[rows], most[rows], arrays.lower[kept], arrays.upper[kept])


def best_face(basis: Basis) -> Face:
    """The points that are as good as that of a basis by the first cost: what has a price there stays tight."""
    model = basis.model
    arrays, prices = model.arrays, basis.prices(model.whole_costs[:1])[0]
    least, most, lower, upper = (end.copy() for end in (*arrays.ends, arrays.lower, arrays.ceiling))
    for mark in [mark for mark, price in prices.items() if price and mark != CONSTANT]:
        if mark.kind == "row":
            least[mark.place] = most[mark.place] = arrays.bound[mark.place]
        elif mark.kind == "lower":
            upper[mark.place] = lower[mark.place]
        else:
            lower[mark.place] = upper[mark.place]
    return Face(arrays.matrix, least, most, lower, upper)


def value_ranges(faces: Sequence[Face], points: Sequence[Floats]) -> Ranges:
    """Lowest and highest of the first variables over several faces together.

    Parameters
    ----------
    faces : sequence of Face
        None of them empty.
    points : sequence of ndarray, shape (count,)
        Known to be on one of the faces, at least one.
    """
    lowest, highest = np.min(points, axis=0), np.max(points, axis=0)
    count = len(lowest)
    for face in faces:
        low, high = lowest - face.lower[:count] > AT_RANGE_END, face.upper[:count] - highest > AT_RANGE_END
        if low.sum() + high.sum() > MANY:
            at_low, at_high = _reached_alone(face, count)
            lowest, highest = np.where(at_low, face.lower[:count], lowest), np.where(at_high, face.upper[:count],
                                                                                    highest)
            low, high = low & ~at_low, high & ~at_high
        low, high = np.flatnonzero(low), np.flatnonzero(high)
        ends = _least_or_most(face, np.concatenate((low, high)), np.repeat((1.0, -1.0), (len(low), len(high))))
        lowest[low] = np.minimum(lowest[low], ends[:len(low)])
        highest[high] = np.maximum(highest[high], ends[len(low):])
    return lowest, highest


def _reached_alone(face: Face, count: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which of the first variables reach their lower, and their upper bound, when they alone move from some point.

    The point lies as far within all rows as it can, up to what any one variable can do to a row. Of many variables
    nearly all reach their bounds so, and no programme of their own is needed.
    """
    room = (np.abs(face.matrix) * (face.upper - face.lower)).max(axis=1, initial=0.0)
    low, high = np.isfinite(face.least), np.isfinite(face.most)
    bound = np.concatenate((face.least[low], -face.most[high]))
    point = highs.clearest_point(np.vstack((face.matrix[low], -face.matrix[high])), bound, np.ones(len(bound)),
                                 np.concatenate((room[low], room[high])), face.lower, face.upper)
    if point is None:
        return np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    left = face.matrix @ point
    ends: list[NDArray[np.bool_]] = []
    for bound in (face.lower, face.upper):
        there = left[:, None] + face.matrix[:, :count] * (bound - point)[:count]
        ends.append(np.all((there >= face.least[:, None]) & (there <= face.most[:, None]), axis=0))
    return ends[0], ends[1]


def _least_or_most(face: Face, places: NDArray[np.intp], signs: Floats) -> Floats:
    """The least (1.0) or most (-1.0) of some variables: as many programmes in one, as no two share anything.

    One call costs little more than its pivots, where fifty calls would mostly cost their set-up.
    """
    count, size = len(places), len(face.lower)
    if not count:
        return np.zeros(0)
    together = max(1, MOST_TOGETHER // face.matrix.size) if face.matrix.size else count
    if count > together:
        return np.concatenate([_least_or_most(face, places[first:first + together], signs[first:first + together])
                               for first in range(0, count, together)])
    cost = np.zeros((count, size))
    cost[np.arange(count), places] = signs
    found = highs.integer(cost.ravel(), highs.side_by_side(face.matrix, count),
                          (np.tile(face.least, count), np.tile(face.most, count)), np.tile(face.lower, count),
                          np.tile(face.upper, count), np.zeros(count * size, dtype=bool))
    if found is None:
        raise NotProven(UNKNOWN_RANGE)
    return found.values.reshape(count, size)[np.arange(count), places]


def searched_extremes(model: LinearModel, count: int, most: float) -> Ranges:
    """Lowest and highest of the first variables over all feasible points with a first cost of at most so much.

    Stepped variables keep to their steps: two integer searches for each variable.
    """
    arrays = model.arrays
    whole, steps, _ = model.steps
    matrix = np.vstack((arrays.matrix, model.float_costs[0])) * steps
    ends = np.append(arrays.ends[0], -np.inf), np.append(arrays.ends[1], most)
    found = []
    for sign in (1.0, -1.0):
        for place in range(count):
            cost = np.zeros(len(steps))
            cost[place] = sign
            point = highs.integer(cost, matrix, ends, arrays.lower / steps, arrays.upper / steps, whole)
            if point is None:
                raise NotProven(UNKNOWN_RANGE)
            found.append(float(point.values[place] * steps[place]))
    return np.array(found[:count]), np.array(found[count:])
