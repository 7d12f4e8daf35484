"""The simplex method on an exact basis: the best point of a model, proven, or the proof that there is none.

It begins with every variable at the bound that the first cost prefers and what follows from these: a dish is a few
pivots from there. Where it is more, HiGHS says in doubles what is tight at a best point; the basis that these rows and
bounds make is exact, and a pivot or two away from the best one where the doubles are wrong. First the dual method
brings the point within all rows and bounds: a row that no slack can bring nearer shows that no point exists (Farkas
1902). Then the primal method makes it best: for the first cost, among equally good points for the second, and so on,
all at once. Of all that may leave or enter the first is taken, which cannot go round in a circle (Bland RG, New finite
pivoting rules for the simplex method, Mathematics of Operations Research 2 (1977) 103-107).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from fractions import Fraction

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.lp import highs
from ratio_solver.lp.basis import CONSTANT, Basis, Growing, box_basis
from ratio_solver.lp.model import LinearModel, Mark, Slack

TIGHT = 1e-7
"""Rows (scaled to 1) and bounds that the solver's point is nearer to than this may be tight: where to begin."""

FEW_PIVOTS, MANY_VARIABLES = 40, 500
"""Pivots that take about as long as asking the solver; of so many variables each takes much longer."""

MOST_PIVOTS = 5000
"""Pivots after which a programme is given up; a dish takes some ten."""

UNENDING = "the best weights could not be found in exact arithmetic"


def starting_basis(model: LinearModel) -> Basis:
    """A basis at the best point for the first cost, or near it; of a model without a point where that shows."""
    if len(model.variables) < MANY_VARIABLES:
        with suppress(NotProven):
            return best_or_none(_preferred_basis(model), model.whole_costs[:1], FEW_PIVOTS)[0]
    return solver_basis(model)


def _preferred_basis(model: LinearModel) -> Basis:
    """Every variable at the bound that the first cost prefers, but one of each equation, which follows from the others.

    That is the one which costs least, if it can within its bounds one that does.
    """
    cost = dict(model.whole_costs[0].entries)
    basis = Growing(model, [cost.get(place, 0) < 0 for place in range(len(model.variables))])
    for place, row in enumerate(model.rows):
        if row.sense == "==":
            form = terms, _ = basis.form(*row.slack[:2])
            gone = min((mark for mark, n in terms.items() if n and mark.kind not in ("row", "")),
                       key=lambda mark: (abs(cost.get(mark.place, 0)), terms[CONSTANT] * terms[mark] > 0, mark),
                       default=None)
            if gone is not None:
                basis.put(Mark("row", place), form, gone)
    return basis.basis()


def solver_basis(model: LinearModel) -> Basis:
    """The basis of the solver's best point for the first cost, as far as it can be told from doubles."""
    arrays, found = model.arrays, None
    if len(arrays.lower) and len(arrays.bound):
        with suppress(NotProven):
            found = highs.linear(model.float_costs[0], arrays.matrix, arrays.bound, arrays.sign, arrays.lower,
                                 arrays.ceiling)
    if found is None:
        return box_basis(model, (False,) * len(model.variables))
    below, above = found.values - arrays.lower, arrays.upper - found.values
    basis = Growing(model, ((found.upper_prices < 0) | (above < below)).tolist())
    free = (below > TIGHT) & (above > TIGHT)
    held = np.where(free, -1.0, np.abs(found.lower_prices + found.upper_prices)).tolist()
    over = np.abs(arrays.matrix @ found.values - arrays.bound)
    prices = np.where(arrays.sign == 0, np.inf, np.abs(found.row_prices))
    for row in np.lexsort((over, -prices)).tolist():
        if prices[row] or over[row] <= TIGHT:
            form = terms, _ = basis.form(*model.rows[row].slack[:2])
            gone = min((mark for mark, n in terms.items() if n and mark.kind not in ("row", "")),
                       key=lambda mark: (held[mark.place], mark), default=None)
            if gone is not None and (held[gone.place] < 0 or prices[row]):
                basis.put(Mark("row", row), form, gone)
    return basis.basis()


def best_basis(basis: Basis, costs: Sequence[Slack], most: int = MOST_PIVOTS) -> Basis | None:
    """The best basis for the costs, from any; None where it is proven that no point exists.

    Raises
    ------
    NotProven
        Where a method does not come to an end within so many pivots.
    """
    found, proof = best_or_none(basis, costs, most)
    return None if proof else found


def best_or_none(basis: Basis, costs: Sequence[Slack], most: int = MOST_PIVOTS) -> tuple[Basis, frozenset[Mark]]:
    """The best basis, and nothing; or the last, and the rows and bounds that no point keeps together."""
    kept, proof = _feasible_basis(basis, costs[:1], most)
    if proof:
        return kept, proof
    for _ in range(most):
        gone = _falling(kept, costs)
        if gone is None:
            return kept, proof
        stop = least_quotient((margin, -rate, mark) for mark, margin, rate in kept.margins(gone)[1] if rate < 0)
        if stop is None:
            raise NotProven("a cost has no least: it falls without end")
        kept = kept.swapped(gone, stop[1])
    raise NotProven(UNENDING)


def _feasible_basis(basis: Basis, costs: Sequence[Slack], most: int) -> tuple[Basis, frozenset[Mark]]:
    """A basis whose point keeps every row and bound, by the dual method; or the last, and what no point keeps."""
    firm, come = basis.model.firm, basis.missed()
    if come is not None and _falling(basis, costs) is not None:
        costs = ()
    for _ in range(most):
        if come is None:
            return basis, frozenset()
        terms, _unit = basis.form(*basis.model.slacks[come][:2])
        way = 1 if terms[CONSTANT] < 0 else -1
        prices = basis.prices(costs)
        stops = [([Fraction(price.get(mark, 0), way * n) for price in prices], mark) for mark, n in terms.items()
                 if way * n > 0 and mark != CONSTANT and mark not in firm]
        if not stops:
            return basis, frozenset([come, *(mark for mark, n in terms.items() if n and mark != CONSTANT)])
        basis = basis.swapped(min(stops)[1], come)
        come = basis.missed()
    raise NotProven(UNENDING)


def least_quotient(stops: Iterable[tuple[int, int, Mark]]) -> tuple[Fraction, Mark] | None:
    """The least of some quotients of whole numbers, the second of them positive, and of equal ones the first mark."""
    best: tuple[int, int, Mark] | None = None
    for above, below, mark in stops:
        less = -1 if best is None else above * best[1] - best[0] * below
        if less < 0 or (best is not None and not less and mark < best[2]):
            best = above, below, mark
    return None if best is None else (Fraction(*best[:2]), best[2])


def best_end(basis: Basis, place: int, sign: int) -> Fraction:
    """The least (1) or most (-1) of a variable over all points as good by the first cost as that of a best basis.

    What has a price stays tight, so the variable moves only with what is tight without one.
    """
    key = place, sign
    if key not in basis.best_ends:
        cost = basis.model.whole_costs[0]
        found = basis if basis.idle.isdisjoint(basis.forms[place][0]) else \
            best_basis(basis, (cost, Slack(((place, sign),), 0, 1))) or basis
        basis.best_ends[key] = found.point[place]
    return basis.best_ends[key]


def _falling(basis: Basis, costs: Sequence[Slack]) -> Mark | None:
    """The first tight row or bound that costs something: the first cost, the second where the first stays."""
    prices = basis.prices(costs)
    return min((mark for mark in basis.tight - basis.model.firm if basis.falls(mark, prices)), default=None)
