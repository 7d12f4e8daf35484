"""Whole points on which one row comes out within narrow ends: sums of two halves that meet in the middle.

Where a row leaves less room than a step, one point in some thousands or millions lies in it, and a search that splits
ranges comes upon none. So the variables are parted in two halves, all the sums of each are listed and one list sorted,
and to each sum of the other those that make up the rest are found at once: the work is that of the square root of
the points (Horowitz E, Sahni S, Computing partitions with applications to the knapsack problem, Journal of the ACM 21
(1974) 277-292; from memory). The other rows are looked at for the points that are left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratio_solver.lp.clock import out_of_time
from ratio_solver.lp.lattice import SUM_ROUNDING, Lattice
from ratio_solver.lp.model import Floats, Ints
from ratio_solver.lp.search import WholeModel

SUMS = (2_000, 16_000, 120_000, 600_000)
"""Sums of a half: tried one after the other until there is a point."""

MOST_POINTS = 3_000_000
"""Points in a row's ends that are looked at."""

PARTED_BEST = 10
"""Of so many variables every way to part them in two is looked at."""

NUMBERS_AT_A_TIME, NUMBERS_KEPT = 2_000_000, 4_000_000
"""Whole numbers and rows of points looked at at once, and whole numbers of those kept: these bound the memory."""

NARROW = 0.5
"""A row that leaves less room than this share of what its largest coefficient does in a step."""


@dataclass(frozen=True)
class Narrow:
    """The row that fewest points keep.

    Attributes
    ----------
    row : int
        Of the lattice; ``least <= matrix[row] n`` and not above `least` by more than `room` where all is kept.
    room : float
    density : float
        Share of a step's change in which it is kept, with what whole steps can tell apart.
    """

    row: int
    room: float
    density: float


def narrowest(whole: WholeModel, lattice: Lattice) -> Narrow | None:
    """The row with the least room between it and another that is about its opposite; None where all have room."""
    matrix, least = lattice.matrix, lattice.least
    if len(least) < 2:
        return None
    found: Narrow | None = None
    for row in range(len(least)):
        both = matrix + matrix[row]
        most = np.maximum(both * lattice.low, both * lattice.high).sum(axis=1) - least - least[row]
        most[row] = np.inf
        room = float(most.min()) + float(lattice.noise[row])
        if room >= NARROW:
            continue
        grid = whole.grid(whole.model.rows[lattice.source[row]].coefficients)
        density = max(0.0, room) + (0.0 if grid is None else float(grid) / float(lattice.scale[row]))
        if density < NARROW and (found is None or density < found.density):
            found = Narrow(row, room, density)
    return found


def box_around(lattice: Lattice, centre: Floats, sums: int) -> tuple[Ints, Ints]:
    """The largest ranges around a point whose halves have no more sums; all there is where that is no more."""
    low, high = lattice.low, lattice.high
    near = np.clip(np.round(centre), low, high).astype(np.int64)
    widest = int(np.max(high - low, initial=0))
    reach, step = 0, 1
    while reach < widest:
        wider = reach + step
        spans = np.minimum(high, near + wider) - np.maximum(low, near - wider) + 1
        if max(_numbers_of_sums(spans)) > sums:
            break
        reach, step = wider, max(1, wider // 8)
    return np.maximum(low, near - reach), np.minimum(high, near + reach)


def _in_halves(spans: Ints) -> tuple[list[int], list[int]]:
    """Variables in two halves with about as many sums each: the widest as evenly as can be, then each other."""
    order = np.argsort(-spans, kind="stable")
    widest, others = order[:PARTED_BEST], order[PARTED_BEST:].tolist()
    sizes = np.log(spans[widest].astype(float))
    ways = np.arange(2 ** max(0, len(widest) - 1))[:, None] >> np.arange(len(widest)) & 1
    chosen = ways[np.abs(ways @ sizes - sizes.sum() / 2).argmin()].astype(bool)
    halves = (widest[~chosen].tolist(), widest[chosen].tolist())
    sums = [float(sizes[~chosen].sum()), float(sizes[chosen].sum())]
    for place in others:
        side = 0 if sums[0] <= sums[1] else 1
        halves[side].append(place)
        sums[side] += float(np.log(spans[place]))
    return halves


def _numbers_of_sums(spans: Ints) -> tuple[float, float]:
    first, second = (float(np.prod(spans[half].astype(float))) for half in _in_halves(spans))
    return first, second


class Halves:
    """The sums of a line over the two halves of a box, from which its points between two ends are told.

    Parameters
    ----------
    lattice : Lattice
    box : two ndarray of int, shape (variables,)
        Least and most of each variable.
    line : ndarray, shape (variables,)
    """

    def __init__(self, lattice: Lattice, box: tuple[Ints, Ints], line: Floats) -> None:
        low, high = box
        self.lattice, self.size = lattice, len(low)
        self.complete = bool((low == lattice.low).all() and (high == lattice.high).all())
        self.halves = _in_halves(high - low + 1)
        self.first, self.second = (_Half(low[half], high[half]) for half in self.halves)
        self.sums, sums = (half.sums(line[own])
                           for half, own in zip((self.first, self.second), self.halves, strict=True))
        self.order = np.argsort(sums, kind="stable")
        self.ordered = sums[self.order]
        self.noise = SUM_ROUNDING * float(np.abs(line) @ np.maximum(np.abs(low), np.abs(high)))

    def between(self, least: float, most: float) -> Ints | None:
        """All the points of the box on which the line comes out between two ends and that keep the rows.

        Returns
        -------
        ndarray of int, shape (points, variables), or None
            Points that rounding leaves open are among them; None where they are too many, or time is up.
        """
        noise = self.noise + SUM_ROUNDING * max(abs(least), abs(most))
        first = np.searchsorted(self.ordered, least - noise - self.sums, side="left")
        counts = np.searchsorted(self.ordered, most + noise - self.sums, side="right") - first
        if int(counts.sum()) > MOST_POINTS:
            return None
        ends = np.cumsum(counts)
        found, kept, count = [np.zeros((0, self.size), dtype=np.int64)], 0, int(ends[-1])
        at_a_time = max(1, NUMBERS_AT_A_TIME // (self.size + len(self.lattice.least)))
        for start in range(0, count, at_a_time):
            places = np.arange(start, min(start + at_a_time, count))
            first_half = np.searchsorted(ends, places, side="right")
            second_half = self.order[(first + counts - ends)[first_half] + places]
            found.append(self._kept(first_half, second_half))
            kept += found[-1].size
            if kept > NUMBERS_KEPT or out_of_time():
                return None
        return np.concatenate(found)

    def _kept(self, first: Ints, second: Ints) -> Ints:
        """The points that these of the two halves make, where they keep the rows and the choices."""
        lattice = self.lattice
        points = np.empty((len(first), self.size), dtype=np.int64)
        points[:, self.halves[0]], points[:, self.halves[1]] = self.first.points(first), self.second.points(second)
        over = points @ lattice.matrix.T - lattice.least + lattice.noise
        return lattice.chosen(points[(over >= 0).all(axis=1)])


class _Half:
    """The whole points of a box by their numbers, the last variable counting fastest: none is kept."""

    def __init__(self, low: Ints, high: Ints) -> None:
        self.low, self.spans = low, high - low + 1
        self.strides = np.append(np.cumprod(self.spans[:0:-1])[::-1], 1)[:len(low)]

    def sums(self, line: Floats) -> Floats:
        """What a line comes to on each point."""
        found = np.zeros(1)
        for low, span, each in zip(self.low, self.spans, line, strict=True):
            found = (found[:, None] + each * np.arange(low, low + span)).ravel()
        return found

    def points(self, numbers: Ints) -> Ints:
        """The points of these numbers."""
        return np.asarray(self.low + numbers[:, None] // self.strides % self.spans)
