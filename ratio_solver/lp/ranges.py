"""The lowest and highest values that variables take: over all points of a model, in doubles; over the best, exactly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.exact import Vector
from ratio_solver.lp import highs, many
from ratio_solver.lp.basis import Basis
from ratio_solver.lp.highs import Searched
from ratio_solver.lp.model import Floats, LinearModel
from ratio_solver.lp.simplex import best_end

Ranges = tuple[Floats, Floats]
"""Lowest and highest values of some variables, each of shape (variables,)."""

AT_RANGE_END = 1e-9
"""A value so near its bound (g) is at it, and there is nothing to search."""

MOST_TOGETHER = 500_000
"""Entries of the programmes that are solved as one, which bounds the memory."""

MOST_CORNERS = 8
"""Rows whose best points are tried, which bounds the memory."""

UNKNOWN_RANGE = "the solver stopped without the range of a weight"


@dataclass(frozen=True)
class Face:
    """Points between bounds that keep rows.

    Attributes
    ----------
    matrix : ndarray, shape (rows, variables)
    least : ndarray, shape (rows,)
    lower, upper : ndarray, shape (variables,)
    """

    matrix: Floats
    least: Floats
    lower: Floats
    upper: Floats


def whole_face(model: LinearModel) -> Face:
    """All points of a model, less its open variables, which can always follow, and the rows that define them."""
    arrays = model.arrays
    kept = ~arrays.open
    rows = ~np.any(arrays.matrix[:, ~kept] != 0, axis=1)
    matrix, bound, sign = arrays.matrix[rows][:, kept], arrays.bound[rows], arrays.sign[rows]
    more, less = sign >= 0, sign <= 0
    return Face(np.vstack((matrix[more], -matrix[less])), np.concatenate((bound[more], -bound[less])),
                arrays.lower[kept], arrays.upper[kept])


def value_ranges(faces: Sequence[Face], points: Sequence[Floats]) -> Ranges:
    """Lowest and highest of the first variables over several faces of one shape together.

    Each end that no point shows to be a bound is a programme of its own, and all are solved at once (`lp.many`).

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
        low, high = _plain_ends(face)
        lowest, highest = np.minimum(lowest, low[:count]), np.maximum(highest, high[:count])
    ends = [(number, place, sign) for number, face in enumerate(faces)
            for sign, far in ((1.0, lowest - face.lower[:count]), (-1.0, face.upper[:count] - highest))
            for place in np.flatnonzero(far > AT_RANGE_END).tolist()]
    together = max(1, MOST_TOGETHER // max(1, faces[0].matrix.size)) if faces else 1
    for first in range(0, len(ends), together):
        some = ends[first:first + together]
        for (_, place, _), value in zip(some, _least_or_most(faces, some), strict=True):
            lowest[place], highest[place] = min(lowest[place], value), max(highest[place], value)
    return lowest, highest


def _plain_ends(face: Face) -> Ranges:
    """The bounds that variables come to from points that keep some row best, or all of them well; else infinite."""
    if not face.least.size:
        return face.lower, face.upper
    corners = np.where(face.matrix > 0, face.upper, face.lower)[:MOST_CORNERS]
    points = np.vstack((corners.mean(axis=0), corners))
    over = (points @ face.matrix.T - face.least)[:, :, None]
    low, high = ((over + face.matrix * (end - points)[:, None] >= 0).all(axis=1).any(axis=0)
                 for end in (face.lower, face.upper))
    return np.where(low, face.lower, np.inf), np.where(high, face.upper, -np.inf)


def _least_or_most(faces: Sequence[Face], ends: Sequence[tuple[int, int, float]]) -> list[float]:
    """The least (1.0) or most (-1.0) of one variable on one face each."""
    every = np.arange(len(ends))
    number, place = (np.array([end[k] for end in ends], dtype=np.int64) for k in (0, 1))
    matrix, least, lower, upper = (np.stack([getattr(face, name) for face in faces])[number]
                                   for name in ("matrix", "least", "lower", "upper"))
    cost = np.zeros(lower.shape)
    cost[every, place] = [sign for _, _, sign in ends]
    values, empty, _, lost = many.solve(many.begun(matrix, least, cost), lower, upper)
    if (empty | lost).any():
        raise NotProven(UNKNOWN_RANGE)
    found: list[float] = values[every, place].tolist()
    return found


def best_ranges(bases: Sequence[Basis], count: int) -> Ranges:
    """Lowest and highest of the first variables over all points as good by the first cost as those of some bases."""
    ends = [(min(best_end(basis, place, 1) for basis in bases), max(best_end(basis, place, -1) for basis in bases))
            for place in range(count)]
    return np.array([float(low) for low, _ in ends]), np.array([float(high) for _, high in ends])


def searched_extremes(model: LinearModel, count: int, most: float) -> Ranges:
    """Lowest and highest of the first variables over all points of a model with 0-or-1 variables.

    Those with a first cost of at most so much; two integer searches for each variable.
    """
    found = []
    for sign in (1.0, -1.0):
        for place in range(count):
            point = _least_point(model, sign * np.eye(1, len(model.variables), place)[0], most, ())
            if point is None:
                raise NotProven(UNKNOWN_RANGE)
            found.append(float(point.values[place]))
    return np.array(found[:count]), np.array(found[count:])


def searched_ways(model: LinearModel, known: Vector, most: float) -> Iterator[LinearModel]:
    """The model with its 0-or-1 variables fixed, in ways that take in all points with a first cost of at most so much.

    The first way is that of a known point. A 1 only ever loosens the rows other than those over these variables alone:
    after a way those points are searched for that have a 1 where it has none.
    """
    whole, values, cuts = np.flatnonzero(model.steps[0]).tolist(), [float(value) for value in known], []
    while True:
        used = {place: round(values[place]) for place in whole}
        yield model.with_bounds({place: (Fraction(value),) * 2 for place, value in used.items()})
        cuts.append([float(place in used and not used[place]) for place in range(len(values))])
        point = _least_point(model, model.float_costs[0], most, cuts)
        if point is None:
            return
        values = point.values.tolist()


def _least_point(model: LinearModel, cost: Floats, most: float, cuts: Sequence[Sequence[float]]) -> Searched | None:
    """The point with the least of a cost, with a first cost of at most so much and at least 1 of each cut."""
    arrays = model.arrays
    ends = (np.concatenate((arrays.ends[0], [-np.inf], np.ones(len(cuts)))),
            np.concatenate((arrays.ends[1], [most], np.full(len(cuts), np.inf))))
    return highs.integer(cost, np.vstack((arrays.matrix, model.float_costs[0], *cuts)), ends, arrays.lower,
                         arrays.upper, model.steps[0])
