"""The mix of two that keeps every row with the least total; it knows no food.

    minimise    x_i + x_j     over all pairs i < j
    subject to  a_r . x >= b_r  for every row r,     x >= 0,  all others 0

The least of a linear cost lies where two of the rows (or x = 0) cross. All crossings of all pairs are tried
at once in doubles; the best are then computed again and checked in rationals.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

import numpy as np

from ratio_solver.exact import Vector, dot
from ratio_solver.lp.basis import common_point

Least = tuple[Vector, Fraction]
"""Coefficients and the least they must come to."""

TRIED = 2000
"""Crossings that are checked exactly at most: nearly all hold."""
PAIRS = 60
"""Pairs that are tried on the scale's steps at most."""
MORE_STEPS = 25
"""Steps by which the whole weights may exceed the least total."""
NEARLY = 1e-9
"""What doubles miss a row by less than (rows scaled to 1, relative to the weights) is looked at in rationals."""


@dataclass(frozen=True)
class Mix:
    """Two of the candidates and their amounts.

    Attributes
    ----------
    places : tuple of int, two
    least : tuple of Fraction, two
        The least total that keeps every row.
    weighed : tuple of Fraction or None
        Multiples of the step with the least total; None where none nearby keep every row.
    """

    places: tuple[int, int]
    least: Vector
    weighed: Vector | None


def best_mix(rows: Sequence[Least], count: int, step: Fraction) -> Mix | None:
    """The best mix of two of `count` candidates, or None where no two keep every row.

    A pair that can be weighed in whole steps goes before one that cannot.
    """
    loose: Mix | None = None
    best: Mix | None = None
    seen: set[tuple[int, int]] = set()
    for places, least in _crossings(rows, count):
        if best is not None and best.weighed is not None and sum(least) >= sum(best.weighed):
            break
        if places in seen or len(seen) >= PAIRS:
            continue
        seen.add(places)
        weighed = _in_steps(_two(rows, places), least, step)
        mix = Mix(places, least, weighed)
        if weighed is None:
            loose = loose or mix
        elif best is None or best.weighed is None or sum(weighed) < sum(best.weighed):
            best = mix
    return best or loose


def _crossings(rows: Sequence[Least], count: int) -> Iterator[tuple[tuple[int, int], Vector]]:
    """Pairs and the crossing that is feasible with the least total, in the order of the totals."""
    pairs = np.array(list(combinations(range(count), 2)), dtype=int).reshape(-1, 2)
    if not len(pairs) or not rows:
        return
    matrix = np.array([[float(a) for a in row] for row, _ in rows])
    bound = np.array([float(b) for _, b in rows])
    scale = np.maximum(np.abs(matrix).max(axis=1), 1e-300)
    matrix, bound = matrix / scale[:, None], bound / scale
    two = np.concatenate([matrix.T[pairs].transpose(0, 2, 1),
                          np.broadcast_to(np.eye(2), (len(pairs), 2, 2))], axis=1)
    ends = np.concatenate([bound, [0.0, 0.0]])
    found = []
    with np.errstate(all="ignore"):
        for r, s in combinations(range(len(ends)), 2):
            det = two[:, r, 0] * two[:, s, 1] - two[:, r, 1] * two[:, s, 0]
            x = (ends[r] * two[:, s, 1] - ends[s] * two[:, r, 1]) / det
            y = (two[:, r, 0] * ends[s] - two[:, s, 0] * ends[r]) / det
            over = two[:, :, 0] * x[:, None] + two[:, :, 1] * y[:, None] - ends
            good = np.isfinite(x + y) & (over >= -NEARLY * (1 + np.abs(x) + np.abs(y))[:, None]).all(axis=1)
            found += [(float(x[k] + y[k]), int(k), r, s) for k in np.nonzero(good)[0]]
    for _, k, r, s in sorted(found)[:TRIED]:
        places = (int(pairs[k, 0]), int(pairs[k, 1]))
        held = [*_two(rows, places), ((Fraction(1), Fraction(0)), Fraction(0)),
                ((Fraction(0), Fraction(1)), Fraction(0))]
        point = common_point([held[r], held[s]], 2)
        if point is not None and min(point) >= 0 and _keeps(held, point):
            yield places, point


def _two(rows: Sequence[Least], places: tuple[int, int]) -> list[Least]:
    return [((row[places[0]], row[places[1]]), bound) for row, bound in rows]


def _keeps(rows: Sequence[Least], point: Vector) -> bool:
    return all(dot(row, point) >= bound for row, bound in rows)


def _in_steps(rows: Sequence[Least], least: Vector, step: Fraction) -> Vector | None:
    """Whole steps of both with the least total, near the crossing in total."""
    lowest = math.ceil(sum(least) / step)
    matrix = np.array([[float(a) for a in row] for row, _ in rows]) * float(step)
    bound = np.array([float(b) for _, b in rows])
    room = NEARLY * (1 + np.abs(bound))
    for total in range(lowest, min(lowest + MORE_STEPS, 20_000)):
        one = np.arange(1, total)
        over = matrix[:, :1] * one + matrix[:, 1:] * (total - one) - bound[:, None]
        for k in one[(over >= -room[:, None]).all(axis=0)]:
            point = (int(k) * step, (total - int(k)) * step)
            if _keeps(rows, point):
                return point
    return None
