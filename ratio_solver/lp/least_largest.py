"""The whole points whose largest relative move is the least there can be.

The first cost is then one variable, which a row for each weight holds above ``share_j |w_j - start_j|``. At a whole
point it is one of these moves, so it has one of the levels that they can have; weights that move by no more than a
level lie in a box, and whether one point of the box keeps the rows is told by going through those that the multipliers
of the linear programme leave (`lp.enumeration`): just above its bound these are few, near a corner of the box. The
least level is found by halving, of the range first and then of the levels in what is left of it, and every one below it
is proven to have no point.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

import numpy as np

from ratio_solver.exact import ONE, ZERO
from ratio_solver.lp.enumeration import Enumerated, enumerated
from ratio_solver.lp.lattice import Lattice, moves_and_ties
from ratio_solver.lp.model import Ints
from ratio_solver.lp.search import WholeModel

SOME_WAYS = 500
"""Ways that are followed to any point of a box of very many."""


@dataclass(frozen=True)
class RelativeMoves:
    """What the largest of some moves is made of.

    Attributes
    ----------
    row : tuple of int
        The rows that hold it above the move of each weight.
    start, share : tuple of Fraction, one per weight
        Where a weight moves from, and what a unit of it counts.
    base, step : tuple of Fraction, one per weight
    farthest : Fraction
        No weight within its bounds moves by more.
    """

    row: tuple[int, ...]
    start: tuple[Fraction, ...]
    share: tuple[Fraction, ...]
    base: tuple[Fraction, ...]
    step: tuple[Fraction, ...]
    farthest: Fraction

    @property
    def _each(self) -> Iterator[tuple[Fraction, Fraction, Fraction]]:
        """Of each weight the start from its base, its step, and its share."""
        for start, base, step, share in zip(self.start, self.base, self.step, self.share, strict=True):
            yield start - base, step, share

    @property
    def finest(self) -> Fraction:
        """The least that a step counts."""
        return min(step * share for _, step, share in self._each)

    def levels(self, least: Fraction, below: Fraction) -> list[Fraction]:
        """What the moves can be, from the least to below an end, in their order."""
        found = set()
        for start, step, share in self._each:
            for way in (1, -1):
                n = ceil((least / share + way * start) / step)
                while (level := share * (n * step - way * start)) < below:
                    found.add(level)
                    n += 1
        return sorted(found)

    def box(self, most: Fraction) -> tuple[Ints, Ints]:
        """The weights, in steps, that move by no more."""
        each = list(self._each)
        return (np.array([ceil((start - most / share) / step) for start, step, share in each]),
                np.array([floor((start + most / share) / step) for start, step, share in each]))


def moves_behind(whole: WholeModel) -> RelativeMoves | None:
    """What the first cost is the largest of; None where it is not the largest of relative moves."""
    model, mains = whole.model, whole.model.variables[:whole.count]
    costing = [place for place, c in enumerate(model.costs[0]) if c]
    if len(costing) != 1 or model.costs[0][costing[0]] != ONE:
        return None
    largest, moves = costing[0], moves_and_ties(model, {place: place for place in range(whole.count)})[0]
    rows: dict[int, tuple[int, Fraction, Fraction]] = {}
    for number, row in enumerate(model.rows):
        entries = {place: row.coefficients[place] for place, _ in row.slack.entries}
        if entries.pop(largest, None):
            of, shares = {moves.get(place) for place in entries}, set(entries.values())
            if None in of or len(of) != 1 or len(shares) != 1 or len(entries) != 2 or row.bound or row.sense != ">=":
                return None
            (main, start), (share,) = next(filter(None, of)), shares
            rows[main] = number, start, -share / row.coefficients[largest]
    if len(rows) != whole.count or any(share <= 0 for _, _, share in rows.values()):
        return None
    held = [rows[main] for main in range(whole.count)]
    far = max(share * max(abs(v.upper - start), abs(v.lower - start))
              for v, (_, start, share) in zip(mains, held, strict=True))
    return RelativeMoves(tuple(number for number, _, _ in held), tuple(start for _, start, _ in held),
                         tuple(share for _, _, share in held), tuple(v.base for v in mains),
                         tuple(v.step or ONE for v in mains), far)


def least_largest(whole: WholeModel, moves: RelativeMoves, lattice: Lattice, prices: Sequence[float],
                  least: Fraction) -> Enumerated:
    """A point with the least largest move; complete where that, or that there is no point, is proven.

    Parameters
    ----------
    whole : WholeModel
    moves : RelativeMoves
        Of the model.
    lattice : Lattice
        Of the model.
    prices : sequence of float
        Multipliers of its rows, best those of the linear programme.
    least : Fraction
        No largest move is less.
    """
    free = whole.with_costs(((ZERO,) * len(whole.model.variables),))
    nothing = replace(lattice, linear=0 * lattice.linear[:1], keep=0 * lattice.keep[:1])

    def within(most: Fraction) -> Enumerated:
        low, high = moves.box(most)
        box = replace(nothing, low=np.maximum(lattice.low, low), high=np.minimum(lattice.high, high))
        found = enumerated(free, box, prices, first=0.0)
        return found if found.complete else enumerated(free, box, prices, SOME_WAYS, first=0.0, beam=True)

    width, most = moves.finest, least + moves.finest
    best = within(most)
    while best.complete and best.values is None:
        if most >= moves.farthest:
            return best
        least, width, most = most, 2 * width, most + 2 * width
        best = within(most)
    while best.values is not None and most - least > moves.finest:
        between = (least + most) / 2
        found = within(between)
        if found.values is not None:
            best, most = found, whole.cost(0, found.values)
        elif found.complete:
            least = between
        else:
            break
    levels = [*moves.levels(least, most), most]
    low, high = 0, len(levels) - 1 if best.values is None else bisect_left(levels, whole.cost(0, best.values))
    while low < high:
        middle = (low + high) // 2
        found = within(levels[middle])
        if found.complete and found.values is None:
            low = middle + 1
        elif found.values is None:  # too many ways: below there are fewer
            high = middle
        else:
            best, high = found, bisect_left(levels, whole.cost(0, found.values))
    proven = best.values is not None and whole.cost(0, best.values) == levels[low]
    return replace(best, complete=proven)
