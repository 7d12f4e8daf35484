"""Many small linear programmes of one shape at once, by the bounded dual simplex method in arrays.

    minimise    c . x     subject to   A x >= b,   l <= x <= u        (u finite; all of problem p)

Each problem has its rows as a dense tableau over the columns that are not basic, ``basic = Q - T nonbasic``, and all
are pivoted together: what numpy is fast at. With every column at the bound that its cost prefers the slacks are a dual
feasible basis, so there is nothing to be found first; other bounds keep it dual feasible, so that a problem goes on
from where one with wider bounds ended. The ratio test is the long one: columns whose two bounds lie within the step are
turned from one to the other, and one pivot does the work of many (Maros I, A generalized dual phase-2 simplex
algorithm, European Journal of Operational Research 149 (2003) 1-16; from memory).

Nothing here is exact, and nothing rests on it: `least` reckons from the multipliers and the rows as they were
given how low the cost can be, whatever they are, with its rounding counted (weak duality, `lp.certificate`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratio_solver.lp.model import Bools, Floats, Ints

FEASIBLE = 1e-9
"""How far a basic value may be beyond a bound, rows scaled to a largest coefficient of 1."""

PIVOT = 1e-9
"""The least a pivot may be."""

WIDE = 1e15
"""The upper bound of a slack."""

MOST_ROUNDS = 200

ROUNDING = 128 * 2.0**-53
"""Rounding of the sums in a bound, relative to their sizes, at most; that of the coefficients is in it."""


@dataclass
class Tableaus:
    """Problems where they stand, one by one in the first axis; changed in place.

    Attributes
    ----------
    tableau : ndarray, shape (problems, rows, columns)
    right : ndarray, shape (problems, rows)
    reduced : ndarray, shape (problems, columns)
        Reduced cost of what stands in each place.
    at_upper : ndarray of bool, shape (problems, columns)
    inside, outside : ndarray of int, shape (problems, rows) and (problems, columns)
        Which variables are basic and which are not; from `columns` on they are slacks.
    """

    tableau: Floats
    right: Floats
    reduced: Floats
    at_upper: Bools
    inside: Ints
    outside: Ints

    def taken(self, places: Ints | Bools) -> Tableaus:
        """Some of the problems, copied."""
        return Tableaus(*(getattr(self, name)[places] for name in self.__annotations__))

    def put(self, places: Ints, others: Tableaus) -> None:
        """Others in some places."""
        for name in self.__annotations__:
            getattr(self, name)[places] = getattr(others, name)


def begun(rows: Floats, bound: Floats, cost: Floats) -> Tableaus:
    """Problems with their slacks basic and every column at the bound that its cost prefers."""
    count, lines, columns = rows.shape
    return Tableaus(-rows, -bound, cost.copy(), cost < 0,
                    np.tile(np.arange(columns, columns + lines), (count, 1)), np.tile(np.arange(columns), (count, 1)))


def solve(at: Tableaus, lower: Floats, upper: Floats,
          equal: Bools | None = None) -> tuple[Floats, Bools, Floats, Bools]:
    """Bring problems to their best points within these bounds.

    Parameters
    ----------
    lower, upper : ndarray, shape (problems, columns)
    equal : ndarray of bool, shape (problems, rows), optional
        Rows that are equations; their multipliers, in a ray too, may be negative. None of them unless said.

    Returns
    -------
    values : ndarray, shape (problems, columns + rows)
        Of the columns and the slacks.
    empty : ndarray of bool, shape (problems,)
        Problems that have no point by this reckoning.
    ray : ndarray, shape (problems, rows)
        Of those the multipliers that show it.
    lost : ndarray of bool, shape (problems,)
        Problems given up.
    """
    count, lines, columns = at.tableau.shape
    slack = np.full((count, lines), WIDE) if equal is None else np.where(equal, 0.0, WIDE)
    ends = [np.concatenate(end, axis=1) for end in ((lower, np.zeros((count, lines))), (upper, slack))]
    line = np.arange(count)[:, None]
    low_in, high_in = (end[line, at.inside] for end in ends)
    low_out, high_out = (end[line, at.outside] for end in ends)
    empty, lost, ray = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool), np.zeros((count, lines))
    if not lines:  # nothing is asked for: every column stays at the bound that its cost prefers
        return np.where(at.at_upper, upper, lower), empty, ray, lost
    basic = np.zeros((count, lines))
    active = np.arange(count)
    now, bounds = at, (low_in, high_in, low_out, high_out)
    for _ in range(MOST_ROUNDS):
        still, values, entering = _round(now, *bounds)
        basic[active] = values
        none = still & (entering < 0)
        if none.any():
            empty[active[none]] = True
            ray[active[none]] = _rays(now, bounds, none)
        going = still & ~none
        if now is not at and not going.all():
            at.put(active[~going], now.taken(~going))
            for kept, part in zip((low_in, high_in, low_out, high_out), bounds, strict=True):
                kept[active[~going]] = part[~going]
        if not going.any():
            break
        if not going.all():
            active, now = active[going], now.taken(going)
            bounds = tuple(part[going] for part in bounds)  # type: ignore[assignment]
    else:
        lost[active] = True
    out = np.where(at.at_upper, high_out, low_out)
    found = np.zeros((count, columns + lines))
    found[line, at.outside], found[line, at.inside] = out, basic
    return found, empty, ray, lost


def _worst(now: Tableaus, low_in: Floats, high_in: Floats, low_out: Floats,
           high_out: Floats) -> tuple[Floats, Ints, Floats, Floats]:
    """Basic values, the row that is missed most in each problem, by how much, and the way it must go."""
    out = np.where(now.at_upper, high_out, low_out)
    values = now.right - np.matmul(now.tableau, out[:, :, None])[:, :, 0]
    short, over = low_in - values, values - high_in
    missed = np.maximum(short, over)
    row = missed.argmax(axis=1)
    every = np.arange(len(row))
    return values, row, missed[every, row], np.where(short[every, row] >= over[every, row], 1.0, -1.0)


def _round(now: Tableaus, low_in: Floats, high_in: Floats, low_out: Floats,
           high_out: Floats) -> tuple[Bools, Floats, Ints]:
    """One pivot of every problem that is not at its best point: which these are, basic values, what enters (or -1)."""
    values, row, missed, way = _worst(now, low_in, high_in, low_out, high_out)
    every = np.arange(len(row))
    still = missed > FEASIBLE
    line = now.tableau[every, row]
    rate = -way[:, None] * line
    wide = high_out - low_out
    may = np.where(now.at_upper, rate < -PIVOT, rate > PIVOT) & (wide > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        when = np.where(may, np.maximum(now.reduced / rate, 0.0), np.inf)
    reach = np.where(may, np.abs(rate) * wide, 0.0)
    order = np.argsort(when, axis=1)
    total = np.cumsum(reach[every[:, None], order], axis=1)
    enough = total >= (missed - FEASIBLE)[:, None]
    rank = enough.argmax(axis=1)
    entering = np.where(enough[:, -1], order[every, rank], -1)
    go = np.flatnonzero(still & (entering >= 0))
    if len(go):
        column, at_row = entering[go], row[go]
        passed = np.zeros(now.at_upper.shape, dtype=bool)
        passed[every[:, None], order] = np.arange(order.shape[1]) < rank[:, None]
        now.at_upper[go] ^= (passed & may)[go]
        time = when[go, column]
        now.reduced[go] -= time[:, None] * rate[go]
        now.reduced[go, column] = way[go] * time
        now.at_upper[go, column] = way[go] < 0
        for out, inside in ((low_out, low_in), (high_out, high_in), (now.outside, now.inside)):
            out[go, column], inside[go, at_row] = inside[go, at_row], out[go, column]
        _pivoted(now, go, at_row, column)
    return still, values, entering


def _pivoted(now: Tableaus, go: Ints, row: Ints, column: Ints) -> None:
    """Exchange what is basic in a row with what is not in a column."""
    tableau, right, every = now.tableau[go], now.right[go], np.arange(len(go))
    pivot = tableau[every, row, column]
    line, entries = tableau[every, row] / pivot[:, None], tableau[every, :, column]
    head = right[every, row] / pivot
    tableau -= entries[:, :, None] * line[:, None, :]
    right -= entries * head[:, None]
    tableau[every, :, column] = -entries / pivot[:, None]
    line[every, column] = 1 / pivot
    tableau[every, row], right[every, row] = line, head
    now.tableau[go], now.right[go] = tableau, right


def _rays(now: Tableaus, bounds: tuple[Floats, ...], which: Bools) -> Floats:
    """The multipliers of the rows that show that a problem has no point."""
    _, row, _, way = _worst(now, *bounds)
    places = np.flatnonzero(which)
    lines, columns = now.tableau.shape[1:]
    found = np.zeros((len(places), columns + lines))
    np.put_along_axis(found, now.outside[places], way[places, None] * now.tableau[places, row[places]], 1)
    found[np.arange(len(places)), now.inside[places, row[places]]] = way[places]
    return np.maximum(found[:, columns:], 0.0)


def reduced_costs(at: Tableaus) -> Floats:
    """Of the columns and the slacks where problems stand, shape (problems, columns + rows); 0 of what is basic."""
    lines, columns = at.tableau.shape[1:]
    found = np.zeros((len(at.tableau), columns + lines))
    np.put_along_axis(found, at.outside, at.reduced, 1)
    return found


def multipliers(at: Tableaus) -> Floats:
    """The multipliers of the rows where problems stand, none of them negative, shape (problems, rows)."""
    return np.maximum(reduced_costs(at)[:, at.tableau.shape[2]:], 0.0)


def least(rows: Floats, bound: Floats, size: Floats, cost: Floats, prices: Floats, lower: Floats,
          upper: Floats) -> tuple[Floats, Floats]:
    """How low the cost can be, for any prices >= 0 of the rows, rounding counted; and the reduced costs.

    Parameters
    ----------
    rows : ndarray, shape (problems, rows, columns)
    bound, size, prices : ndarray, shape (problems, rows)
        Size of the terms that a bound is the sum of: what its rounding is measured by.
    cost, lower, upper : ndarray, shape (problems, columns)
    """
    gain = np.matmul(prices[:, None, :], rows)[:, 0]
    reduced = cost - gain
    sizes = np.matmul(prices[:, None, :], np.abs(rows))[:, 0] + np.abs(cost)
    most = np.maximum(np.abs(lower), np.abs(upper))
    worth = (prices * bound).sum(axis=1) + np.minimum(reduced * lower, reduced * upper).sum(axis=1)
    doubt = ROUNDING * ((prices * size).sum(axis=1) + (sizes * most).sum(axis=1))
    return worth - doubt, reduced
