"""One whole point: near another in a narrow row, any, the best for one cost; or the proof that there is none."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.exact import ZERO, Vector
from ratio_solver.lp import highs
from ratio_solver.lp.enumeration import FEW_WAYS, TooMany, best_of, enumerated
from ratio_solver.lp.halves import SUMS, Halves, Narrow, box_around, narrowest
from ratio_solver.lp.lattice import Lattice, lattice_of
from ratio_solver.lp.model import Floats
from ratio_solver.lp.search import A_GLANCE, WholeModel, minimum, off_the_grid, rounded_point
from ratio_solver.lp.solve import continuous_prices


def narrow_point(whole: WholeModel, lattice: Lattice, narrow: Narrow, centre: Floats,
                 sizes: Sequence[int] = SUMS) -> tuple[Vector | None, bool]:
    """The best point near another that keeps a narrow row and all the others, and whether all there are were seen."""
    line, least = lattice.matrix[narrow.row], float(lattice.least[narrow.row])
    found: Vector | None = None
    for sums in sizes:
        halves = Halves(lattice, box_around(lattice, centre, sums), line)
        points = halves.between(least, least + narrow.room)
        if points is None:
            break
        try:
            better = best_of(whole, lattice, points)
        except TooMany:
            break
        if halves.complete:
            return better, True
        if better is not None and found is not None:
            return min(found, better, key=lambda values: whole.cost(0, values)), False
        found = better
    return found, False


def some_point(whole: WholeModel) -> Vector | None:
    """Any whole point; None where there is none, by proof or by search.

    Raises
    ------
    NotProven
        Where none is found, and it is not known that there is none.
    """
    point = rounded_point(whole)
    if point is not None:
        return point
    lattice = lattice_of(whole.model, whole.count)
    narrow = None if lattice is None else narrowest(whole, lattice)
    if lattice is not None and narrow is not None:
        if lattice.empty or off_the_grid(whole):
            return None
        with suppress(NotProven):
            found = minimum(whole, whole.model.costs[0], effort=A_GLANCE)
            return None if found is None else found.values
        point, complete = narrow_point(whole, lattice, narrow, _middle(lattice))
        if point is not None or complete:
            return point
    found = minimum(whole, whole.model.costs[0])
    return None if found is None else found.values


def _middle(lattice: Lattice) -> Floats:
    """Where whole points are looked for first: as far within all rows as can be."""
    low, high = (lattice.low.astype(float), lattice.high.astype(float))
    found = highs.clearest_point(lattice.matrix, lattice.least, np.ones(len(lattice.least)),
                                 np.abs(lattice.matrix).sum(axis=1) / 2, low, high)
    return (low + high) / 2 if found is None else found


def proven_empty(whole: WholeModel) -> bool:
    """Whether it is proven that there is no whole point: by what values a row can have, or by going through all."""
    lattice = lattice_of(whole.model, whole.count)
    if lattice is None:
        return False
    if lattice.empty or off_the_grid(whole):
        return True
    narrow = narrowest(whole, lattice)
    if narrow is not None:
        point, complete = narrow_point(whole, lattice, narrow, (lattice.low + lattice.high) / 2, SUMS[-1:])
        return complete and point is None
    free = whole.with_costs(((ZERO,) * len(whole.model.variables),))
    found = enumerated(free, replace(lattice, linear=0 * lattice.linear[:1], keep=0 * lattice.keep[:1]), ())
    return found.complete and found.values is None


def least_point(whole: WholeModel, cost: Vector) -> Vector | None:
    """The whole point with the least of one cost, as far as it is found; None where there is no point.

    Raises
    ------
    NotProven
        Where none is found, and it is not known that there is none.
    """
    asked = whole.with_costs((cost,))
    lattice = lattice_of(asked.model, asked.count)
    if lattice is not None and lattice.costed:
        prices = continuous_prices(asked.model)
        if prices is None:
            return None
        way = enumerated(asked, lattice, prices, FEW_WAYS)
        if way.complete:
            return way.values
    point = minimum(whole, cost)
    return None if point is None else point.values
