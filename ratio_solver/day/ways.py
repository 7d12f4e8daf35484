"""What limits that join people leave open on the steps, closed: each block's ways from the best on, and combinations.

With a price y >= 0 for each limit that joins, no weights have less moved than ``sum_p L_p - y . bounds``, where L_p is
the least of ``moved_p + y . used_p`` of one block by itself (Lagrangian relaxation, Geoffrion 1974). A combination of
ways, one of each block, that keeps the limits has ``sum_p (moved_p + y . used_p - L_p) + y . spare`` more moved than
that; so blocks are asked for their ways by how much more than L_p these take, until a combination is as good as the
bound, or nothing is left that could be better than the best known (as Handler and Zang, 1980, for a shortest path).
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import count

import numpy as np

from ratio_solver.day.kitchen import Component
from ratio_solver.day.limits import KitchenLimit
from ratio_solver.day.programme import used_of_limit
from ratio_solver.dish.constraints import LESS, MORE
from ratio_solver.errors import NotProven
from ratio_solver.exact import ZERO, Vector, dot
from ratio_solver.lp.model import Floats
from ratio_solver.lp.search import common_divisor
from ratio_solver.solving.scale_steps import step_of
from ratio_solver.solving.within import weights_with_prices

WAYS_A_ROUND = 8
"""Ways that are asked for, for each block, before combinations are tried; then as many more."""

MOST_COMBINATIONS = 100_000
"""Of some of the blocks; of more the best are kept, and what comes out is not proven."""

SAME_SUM = 1e-6
"""g; sums that differ by less are the same: what comes out is solved again, and checked in rationals."""

Amounts = tuple[tuple[Fraction | None, Fraction | None], ...]
"""Least and most that is used of each limit."""


@dataclass(frozen=True)
class Way:
    """Weights of a block, by what they come to.

    Attributes
    ----------
    used : tuple of Fraction
        Of each limit that joins.
    moved : Fraction
        g.
    """

    used: Vector
    moved: Fraction


class BlockWays:
    """The ways of a block, those with the least of ``moved + prices . used`` first.

    Parameters
    ----------
    part : Component
    joins : sequence of KitchenLimit
        Those that join it to others, each with a price.
    prices : sequence of Fraction
        g moved for a unit of each limit.
    time_limit : float, optional
        Seconds for the first.

    Attributes
    ----------
    least : Fraction
        L_p; no weights have less.
    found : list of Way
        Those that were asked for, each with other amounts used, and the fewest g moved for them.
    proven : bool
        Whether they are the fewest: False where a search was cut short.

    Raises
    ------
    NotProven
        Where none is found in the time.
    """

    def __init__(self, part: Component, joins: Sequence[KitchenLimit], prices: Vector,
                 time_limit: float | None = None) -> None:
        self.part, self.prices = part, prices
        self.own = [limit.taken_by(part.places) for limit in joins]
        self.grid = [common_divisor([amount * step_of(part.recipe.ingredients[part.places.index(at)])
                                     for at, amount in limit.above.items()]) for limit in self.own]
        self.each = tuple(dot(prices, [limit.above.get(at, ZERO) for limit in self.own]) for at in part.places)
        self.found: list[Way] = []
        self.proven = True
        self._waiting: list[tuple[Fraction, int, Way, Amounts]] = []
        self._number = count()
        self._look(((None, None),) * len(joins), time_limit)
        if not self._waiting:
            raise NotProven("there are no weights")
        self.least = self._waiting[0][0]

    @property
    def more(self) -> float:
        """How much more than the least the next way takes; infinite where there is none."""
        return float(self._waiting[0][0] - self.least) if self._waiting else math.inf

    def take(self) -> None:
        """The next way; then those that use less or more of something are looked for."""
        _, _, way, amounts = heapq.heappop(self._waiting)
        self.found.append(way)
        same = list(amounts)
        for place, (used, grid) in enumerate(zip(way.used, self.grid, strict=True)):
            low, high = amounts[place]
            for ends in ((low, used - grid), (used + grid, high)) if grid is not None else ():
                self._look((*same[:place], ends, *amounts[place + 1:]))
            same[place] = used, used

    def within(self, amounts: Sequence[tuple[Fraction | None, Fraction | None]]) -> Component:
        """The block, using no less and no more of the limits."""
        held = [replace(limit, model=replace(limit.model, sense=sense, bound=bound))
                for limit, ends in zip(self.own, amounts, strict=True) if limit.above
                for sense, bound in zip((MORE, LESS), ends, strict=True) if bound is not None]
        return replace(self.part, sparse=(*self.part.sparse, *held))

    def _look(self, amounts: Amounts, time_limit: float | None = None) -> None:
        if any(low is not None and high is not None and low > high for low, high in amounts):
            return
        held = self.within(amounts)
        best = weights_with_prices(held.recipe, held.limits, self.each, time_limit)
        if best is not None:
            grams = dict(zip(self.part.places, best.grams, strict=True))
            used = tuple(used_of_limit(limit, grams) for limit in self.own)
            self.proven = self.proven and best.proven
            heapq.heappush(self._waiting, (best.bound, next(self._number), Way(used, best.moved), amounts))


@dataclass(frozen=True)
class Combined:
    """A way of each block that together keep the limits, or None; and whether no others have fewer g moved."""

    ways: list[Way] | None
    best: bool


def combined(blocks: Sequence[BlockWays], bounds: Vector, enough: Fraction, most: Fraction | None) -> Combined:
    """A way of each block that together keep the limits, with the fewest g moved, as far as the time goes.

    Parameters
    ----------
    blocks : sequence of BlockWays
    bounds : tuple of Fraction
        Of the limits that join.
    enough : Fraction
        g moved; no weights have fewer.
    most : Fraction or None
        g moved, where weights are known already; what has as many is not looked for.
    """
    best: list[Way] | None = None
    prices = np.array([float(price) for price in blocks[0].prices])
    room = np.array([float(bound) for bound in bounds])
    least = float(sum((block.least for block in blocks), ZERO))
    slack = math.inf if most is None else float(most) - least + prices @ room
    taken = WAYS_A_ROUND * len(blocks)
    while True:
        try:
            while sum(len(block.found) for block in blocks) < taken:
                block = min(blocks, key=lambda block: block.more)
                if block.more >= slack:
                    break
                block.take()
        except NotProven:
            return Combined(_best_combination(blocks, prices, room, slack)[0] or best, False)
        found, complete = _best_combination(blocks, prices, room, slack)
        if found is not None:
            best, moved = found, sum((way.moved for way in found), ZERO)
            if moved <= enough:
                return Combined(best, True)
            slack = min(slack, float(moved) - least + prices @ room)
        if min(block.more for block in blocks) >= slack:
            return Combined(best, complete and all(block.proven for block in blocks))
        taken *= 2


def _best_combination(blocks: Sequence[BlockWays], prices: Floats, room: Floats, slack: float
                      ) -> tuple[list[Way] | None, bool]:
    """The best combination of the ways that were found, block by block; one for each that is used of the limits.

    And whether none was left out for there being too many.
    """
    used, moved, picked = np.zeros((1, len(room))), np.zeros(1), np.zeros((1, 0), dtype=int)
    least, complete = 0.0, True
    for block in blocks:
        if not block.found:
            return None, complete
        least += float(block.least)
        takes = np.array([[float(amount) for amount in way.used] for way in block.found])
        adds = np.array([float(way.moved) for way in block.found])
        old, new = (at.ravel() for at in np.indices((len(moved), len(adds))))
        used, moved, picked = used[old] + takes[new], moved[old] + adds[new], np.column_stack((picked[old], new))
        more = moved + used @ prices - least
        order = np.lexsort((moved, *np.round(used / SAME_SUM).T))
        order = order[more[order] < slack - SAME_SUM]
        same = (np.abs(np.diff(used[order], axis=0)) < SAME_SUM).all(axis=1)
        order = order[np.append(True, ~same)[:len(order)]]
        if len(order) > MOST_COMBINATIONS:
            complete = False
            order = order[np.argsort(more[order], kind="stable")[:MOST_COMBINATIONS]]
        used, moved, picked = used[order], moved[order], picked[order]
    keeps = np.flatnonzero((used <= room + SAME_SUM).all(axis=1) & (moved + room @ prices - least < slack - SAME_SUM))
    if not len(keeps):
        return None, complete
    chosen = picked[keeps[np.argmin(moved[keeps])]]
    return [block.found[at] for block, at in zip(blocks, chosen.tolist(), strict=True)], complete
