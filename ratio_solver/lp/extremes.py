"""The lowest and highest values that variables take over a face: the whole feasible set, or the best answers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ratio_solver.errors import NotProven
from ratio_solver.lp.blocks import Block, minimise
from ratio_solver.lp.model import Arrays, Floats, LinearModel
from ratio_solver.lp.solve import Face, silent_stdout

Span = tuple[Floats, Floats]
"""Lowest and highest values of some variables, each of shape (variables,)."""

SAME = 1e-9
"""A value so near its bound is at it."""


def extremes(faces: Sequence[tuple[Arrays, Face]], points: Sequence[Floats]) -> Span:
    """Lowest and highest of the first variables over several faces together, in one stacked call.

    Parameters
    ----------
    faces : sequence of (Arrays, Face)
    points : sequence of ndarray, shape (count,)
        Known to be on one of the faces, at least one. Where one of them is at the bound of a variable, there
        is nothing to search.
    """
    lowest, highest = np.min(points, axis=0), np.max(points, axis=0)
    count = len(lowest)
    if not faces or not count:
        return lowest, highest
    lower = np.min([face.lower[:count] for _, face in faces], axis=0)
    upper = np.max([face.upper[:count] for _, face in faces], axis=0)
    wanted = [(place, 1.0) for place in np.flatnonzero(lowest - lower > SAME).tolist()]
    wanted += [(place, -1.0) for place in np.flatnonzero(upper - highest > SAME).tolist()]
    ends = minimise([block for arrays, face in faces for block in _blocks(arrays, face, wanted)])
    for (place, sign), end in zip(wanted * len(faces), ends, strict=True):
        if end is not None:
            side = lowest if sign > 0 else highest
            side[place] = sign * min(sign * side[place], sign * end[place])
    return lowest, highest


def _blocks(arrays: Arrays, face: Face, wanted: Sequence[tuple[int, float]]) -> list[Block]:
    low, high = row_ends(arrays, face.tight)
    unit = np.eye(arrays.matrix.shape[1])
    return [Block(sign * unit[place], arrays.matrix, low, high, face.lower, face.upper) for place, sign in wanted]


def searched_extremes(model: LinearModel, count: int, most: float) -> Span:
    """Lowest and highest of the first variables over all feasible points with a first cost of at most so much.

    Stepped variables keep to their steps: two integer searches for each variable.
    """
    arrays = model.arrays
    low, high = row_ends(arrays, np.zeros(len(arrays.bound), dtype=bool))
    steps = np.array([1.0 if v.step is None else float(v.step) for v in model.variables])
    whole = np.array([v.step is not None for v in model.variables])
    matrix = np.vstack((arrays.matrix, model.float_costs[0])) * steps
    low, high = np.append(low, -np.inf), np.append(high, most)
    unit = np.eye(count, len(steps))
    ends = []
    with silent_stdout():
        for cost in np.vstack((unit, -unit)):
            [point] = minimise([Block(cost, matrix, low, high, arrays.lower / steps, arrays.upper / steps, whole)])
            if point is None:
                raise NotProven("the solver stopped without the range of a weight")
            ends.append(float((point * steps) @ np.abs(cost)))
    return np.array(ends[:count]), np.array(ends[count:])


def closed_part(arrays: Arrays) -> Arrays:
    """The model without its open variables, which can always follow, and without the rows that define them."""
    kept = ~arrays.open
    rows = ~np.any(arrays.matrix[:, ~kept] != 0, axis=1)
    return Arrays(arrays.matrix[rows][:, kept], arrays.bound[rows], arrays.scale[rows], arrays.sign[rows],
                  arrays.lower[kept], arrays.upper[kept], arrays.open[kept])


def is_point(arrays: Arrays, face: Face) -> bool:
    """Whether the tight rows leave the free variables of a face no choice."""
    free = face.lower < face.upper
    equal = face.tight | (arrays.sign == 0)
    count = int(free.sum())
    return count == 0 or bool(np.linalg.matrix_rank(arrays.matrix[equal][:, free], tol=1e-9) == count)


def row_ends(arrays: Arrays, tight: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Least and most of every row; both alike where it is tight."""
    return (np.where((arrays.sign >= 0) | tight, arrays.bound, -np.inf),
            np.where((arrays.sign <= 0) | tight, arrays.bound, np.inf))
