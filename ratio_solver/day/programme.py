"""The linear programme of a block of a day in doubles, and what its multipliers prove in rationals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np

from ratio_solver.day.kitchen import Component, Kitchen
from ratio_solver.day.limits import KitchenLimit
from ratio_solver.dish.constraints import MORE
from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.lp import highs
from ratio_solver.lp.highs import Optimum
from ratio_solver.lp.model import Floats

JOINS = ("pot", "stock")
"""Kinds of limits that join people."""

GAP_OF_WHOLE = 1e-4
"""How much better other numbers of batches may be, relative to the grams moved in all."""

FOR_ONE_MORE = 1e-3
"""g that may be moved for one more batch, so that there is room in the pots."""


def joining(limit: KitchenLimit) -> bool:
    """Whether it joins people, and is not about one weight alone."""
    return limit.model.kind in JOINS and len(limit.places) > 1


def held_by(limit: KitchenLimit, weights: Mapping[int, Fraction]) -> Fraction:
    """What the batches of a pot hold, or what the stock has."""
    return limit.model.bound - sum((amount * weights.get(place, ZERO) for place, amount in limit.above.items()
                                    if amount < 0), ZERO)


def used_of_limit(limit: KitchenLimit, weights: Mapping[int, Fraction]) -> Fraction:
    """What weights, by their places in the kitchen, take of a pot or of the stock."""
    return sum((amount * weights.get(place, ZERO) for place, amount in limit.above.items()), ZERO)


class Programme:
    """The linear programme of a block in doubles, sparse; every row is ``>=``.

    Parameters
    ----------
    kitchen : Kitchen
    block : Component
    without : KitchenLimit, optional
        A limit that is left out.
    fixed : mapping of int to Fraction
        Weights that are known.
    kept_back : Fraction
        Share of each pot and of the stock that is not given away.
    """

    def __init__(self, kitchen: Kitchen, block: Component, without: KitchenLimit | None = None,
                 fixed: Mapping[int, Fraction] = MappingProxyType({}), kept_back: Fraction = ZERO) -> None:
        self.kept_back = kept_back
        self.places = block.places
        items = [kitchen.items[place] for place in self.places]
        starts = [exact(item.start) for item in items]
        self.low, self.high = ([fixed.get(place, start if end is None else exact(end)) for place, start, end in
                                zip(self.places, starts, ends, strict=True)]
                               for ends in ([item.minimum for item in items], [item.maximum for item in items]))
        self.base = [min(max(start, low), high) for start, low, high in zip(starts, self.low, self.high, strict=True)]
        self.keep = [exact(item.keep) for item in items]
        self.constant = sum((keep * abs(start - base) for start, base, keep in
                             zip(starts, self.base, self.keep, strict=True)), ZERO)
        self.at = {place: here for here, place in enumerate(self.places)}
        self.limits = [limit for limit in block.sparse if limit.model.kind != "ingredient" and limit is not without]
        self.rows = [self._at_least(limit) for limit in self.limits]

    def _at_least(self, limit: KitchenLimit) -> tuple[dict[int, Fraction], Fraction, float]:
        """A limit as a row of ``>=`` over moves from the base, and what it is divided by for the solver."""
        model, entries = limit.model, dict(limit.above)
        bound, given = model.bound, ONE - self.kept_back
        if joining(limit):
            bound *= given
            entries.update({place: amount * given for place, amount in entries.items() if amount < 0})
        for place, amount in limit.below.items():
            entries[place] = entries.get(place, ZERO) - bound * amount
        sign = ONE if model.sense == MORE else -ONE
        row = {self.at[place]: sign * amount for place, amount in entries.items()}
        left = sign * bound * model.constant - sum((a * self.base[place] for place, a in row.items()), ZERO)
        return row, left, max((abs(float(a)) for a in row.values()), default=1.0) or 1.0

    @cached_property
    def arrays(self) -> tuple[Floats, Any, Floats, Floats, Floats, Floats]:
        """Cost, matrix, bounds of rows, signs, lower and upper: what the solver is given."""
        count = len(self.places)
        entries = [(number, place, float(a) / scale) for number, (row, _, scale) in enumerate(self.rows)
                   for place, a in row.items()]
        number, place, value = np.array(entries).reshape(-1, 3).T
        matrix = highs.sparse(np.append(value, -value), np.append(number, number).astype(np.int64),
                              np.append(place, place + count).astype(np.int64), (len(self.rows), 2 * count))
        bound = np.array([float(left) / scale for _, left, scale in self.rows])
        rooms = [high - base for high, base in zip(self.high, self.base, strict=True)]
        rooms += [base - low for low, base in zip(self.low, self.base, strict=True)]
        return (np.array([float(keep) for keep in self.keep] * 2), matrix, bound, np.ones(len(bound)),
                np.zeros(2 * count), np.array([float(room) for room in rooms]))

    def solved(self) -> Optimum | None:
        """The best point and the multipliers of the rows, in doubles; None where the solver finds no point."""
        return highs.linear(*self.arrays)

    def in_whole(self, places: Sequence[int]) -> dict[int, Fraction] | None:
        """The best whole numbers at these places, nearly, and of those as good the higher; None where there are none.

        Raises
        ------
        NotProven
            Where the solver gives up, or the time is up.
        """
        cost, matrix, bound, _, lower, upper = self.arrays
        whole = np.isin(np.arange(len(cost)), [self.at[place] for place in places])
        found = highs.integer(np.where(whole, cost - FOR_ONE_MORE, cost), matrix, (bound, np.full(len(bound), np.inf)),
                              lower, upper, whole, GAP_OF_WHOLE)
        if found is None:
            return None
        weights = self.weights(found.values.tolist())
        return {place: Fraction(round(weights[place])) for place in places}

    def prices(self, solved: Optimum) -> list[Fraction]:
        """What a unit more of each limit that joins people would save, g moved."""
        return [Fraction(max(0.0, price)) / Fraction(scale) for limit, (_, _, scale), price in
                zip(self.limits, self.rows, solved.row_prices.tolist(), strict=True) if joining(limit)]

    def least(self, limit: KitchenLimit) -> Fraction | None:
        """The least of a sum over all portions."""
        one = np.array([float(limit.above.get(place, ZERO)) for place in self.places])
        found = highs.linear(np.append(one, -one), *self.arrays[1:])
        return None if found is None else used_of_limit(limit, self.weights(found.values.tolist()))

    def weights(self, values: Sequence[float]) -> dict[int, Fraction]:
        """Weights of a point, g, by their places in the kitchen."""
        moves = zip(self.places, self.base, values, values[len(self.places):], strict=False)
        return {place: base + Fraction(up) - Fraction(down) for place, base, up, down in moves}

    def bound(self, prices: Sequence[float]) -> Fraction:
        """Exact lower bound on the grams moved, from any multipliers (weak duality)."""
        up, down = list(self.keep), list(self.keep)
        total = self.constant
        for (row, left, scale), price in zip(self.rows, prices, strict=True):
            if price > 0:
                y = Fraction(price) / Fraction(scale)
                total += y * left
                for place, a in row.items():
                    up[place] -= y * a
                    down[place] += y * a
        for place, base in enumerate(self.base):
            total += min(ZERO, up[place]) * (self.high[place] - base)
            total += min(ZERO, down[place]) * (base - self.low[place])
        return total
