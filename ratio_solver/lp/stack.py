"""Many small linear programmes solved as a few large ones.

Problem p has its own variables and rows; none couples two problems, so the sum of the costs is least where each
is least:

    minimise    sum_p c_p . x_p + penalty * sum e          (c_p scaled to a largest cost of 1)
    subject to  A_p x_p + e_p  >= or ==  b_p               (rows scaled to a largest coefficient of 1)
                l_p <= x_p <= u_p;   e >= 0

One call of the solver for some hundred of them costs a small part of what the calls one by one do. The excess e
keeps a problem without an answer from spoiling its neighbours: a problem that pays for any is not judged here,
it is handed back as `missed`. The same for a stack on which the solver gives up: it is halved until the
culprit is alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.lp import highs
from ratio_solver.lp.model import Bools, Floats, Ints

PROBLEMS_TOGETHER = 250
"""Problems solved in one call: measured, the time per problem is flat from 200 to 400."""

PRICED = 1e-9
"""A multiplier above this (rows and costs scaled to 1) counts as a price, below it as rounding; what is read off so is
computed again, with a sure bound on its error (`ratio_solver.lp.bounded_vertices`)."""

PENALTY = 1e5
"""Cost of a unit of excess; a price this high is taken for none at all, which hands the problem back."""

AT_PENALTY = PENALTY * (1 - 1e-9)
"""From here on a price is that high."""


@dataclass(frozen=True)
class Stack:
    """Problems 0 to count - 1 one after the other.

    Attributes
    ----------
    count : int
    cost, lower, upper : ndarray, shape (variables,)
        Finite bounds, lower <= upper.
    owner : ndarray of int, shape (variables,)
        Problem of each variable, ascending.
    bound : ndarray, shape (rows,)
    equal : ndarray of bool, shape (rows,)
        True for ``==``, False for ``>=``.
    row_owner : ndarray of int, shape (rows,)
        Problem of each row, ascending.
    row, column : ndarray of int, shape (entries,)
        Place of each coefficient; `row` ascending.
    value : ndarray, shape (entries,)
    """

    count: int
    cost: Floats
    lower: Floats
    upper: Floats
    owner: Ints
    bound: Floats
    equal: Bools
    row_owner: Ints
    row: Ints
    column: Ints
    value: Floats

    def totals(self, entries: Floats) -> Floats:
        """Sums of figures per coefficient, by row."""
        return np.bincount(self.row, entries, minlength=len(self.bound)).astype(float)

    def sum(self, figures: Floats) -> Floats:
        """Sums of figures per variable, by problem."""
        return np.bincount(self.owner, figures, minlength=self.count).astype(float)

    def sum_rows(self, figures: Floats) -> Floats:
        """Sums of figures per row, by problem."""
        return np.bincount(self.row_owner, figures, minlength=self.count).astype(float)

    def any(self, flags: Bools) -> Bools:
        """Problems of which a variable is flagged."""
        return np.asarray(np.bincount(self.owner[flags], minlength=self.count) > 0)

    def any_row(self, flags: Bools) -> Bools:
        """Problems of which a row is flagged."""
        return np.asarray(np.bincount(self.row_owner[flags], minlength=self.count) > 0)


@dataclass(frozen=True)
class StackSolution:
    """What is tight at the best answer of each problem.

    Attributes
    ----------
    values : ndarray, shape (variables,)
    free : ndarray of bool, shape (variables,)
        Variables that no multiplier holds at a bound.
    at_upper : ndarray of bool, shape (variables,)
        Of the others, those at their upper bound.
    tight : ndarray of bool, shape (rows,)
        Rows with a price, and all equations.
    missed : ndarray of bool, shape (count,)
        Problems without an answer, or that this way of solving cannot judge.
    """

    values: Floats
    free: Bools
    at_upper: Bools
    tight: Bools
    missed: Bools


def solve_stack(stack: Stack) -> StackSolution:
    """Solve all problems of a stack, `PROBLEMS_TOGETHER` of them in one call of the solver."""
    scaled = _scaled(stack)
    parts = [part for first in range(0, stack.count, PROBLEMS_TOGETHER)
             for part in _solve_range(scaled, first, min(first + PROBLEMS_TOGETHER, stack.count))]
    if not parts:
        nothing = np.zeros(0, dtype=bool)
        return StackSolution(np.zeros(0), nothing, nothing, nothing, nothing)
    return StackSolution(*(np.concatenate([getattr(part, name) for part in parts])
                           for name in StackSolution.__annotations__))


def _scaled(stack: Stack) -> Stack:
    """The same problems with a largest cost of 1 each and a largest coefficient of 1 in each row."""
    dearest = np.zeros(stack.count)
    np.maximum.at(dearest, stack.owner, np.abs(stack.cost))
    largest = np.zeros(len(stack.bound))
    np.maximum.at(largest, stack.row, np.abs(stack.value))
    largest[largest == 0] = 1.0
    dearest[dearest == 0] = 1.0
    return Stack(stack.count, stack.cost / dearest[stack.owner], stack.lower, stack.upper, stack.owner,
                 stack.bound / largest, stack.equal, stack.row_owner, stack.row, stack.column,
                 stack.value / largest[stack.row])


def _solve_range(stack: Stack, first: int, last: int) -> list[StackSolution]:
    """Solve problems first to last - 1, halving on failure; the solutions of consecutive ranges."""
    columns = slice(*np.searchsorted(stack.owner, (first, last)))
    rows = slice(*np.searchsorted(stack.row_owner, (first, last)))
    if rows.start == rows.stop:
        return [_boxed(stack, columns, last - first)]
    found = _optimum(stack, columns, rows)
    if found is not None:
        return [_read_off(stack, columns, rows, found, first, last)]
    if last - first == 1:
        n, m = columns.stop - columns.start, rows.stop - rows.start
        return [StackSolution(stack.lower[columns].copy(), np.zeros(n, dtype=bool), np.zeros(n, dtype=bool),
                              np.zeros(m, dtype=bool), np.ones(1, dtype=bool))]
    middle = (first + last) // 2
    return [*_solve_range(stack, first, middle), *_solve_range(stack, middle, last)]


def _boxed(stack: Stack, columns: slice, count: int) -> StackSolution:
    """The solution of problems without rows: each variable at the better of its bounds."""
    wide = stack.upper[columns] > stack.lower[columns]
    at_upper = wide & (stack.cost[columns] < 0)
    return StackSolution(
        values=np.where(at_upper, stack.upper[columns], stack.lower[columns]),
        free=wide & (stack.cost[columns] == 0),
        at_upper=at_upper,
        tight=np.zeros(0, dtype=bool),
        missed=np.zeros(count, dtype=bool),
    )


def _read_off(stack: Stack, columns: slice, rows: slice, found: highs.Optimum, first: int, last: int) -> StackSolution:
    """What the solver says of problems first to last - 1."""
    wide = stack.upper[columns] > stack.lower[columns]
    n, m = columns.stop - columns.start, rows.stop - rows.start
    above, below = found.lower_prices[:n], -found.upper_prices[:n]
    equal, prices = stack.equal[rows], found.row_prices
    excess = found.values[n:n + m].copy()
    excess[equal] += found.values[n + m:]
    unpaid = (excess > 0) | (np.abs(prices) >= AT_PENALTY)
    return StackSolution(
        values=found.values[:n],
        free=wide & (below <= PRICED) & (above <= PRICED),
        at_upper=wide & (below > PRICED),
        tight=equal | (prices > PRICED),
        missed=np.bincount(stack.row_owner[rows][unpaid] - first, minlength=last - first) > 0,
    )


def _optimum(stack: Stack, columns: slice, rows: slice) -> highs.Optimum | None:
    """What the solver finds for some problems, or None where it gives up.

    Its variables are those of the problems, then the excess of every row, then a second excess of the equations.
    """
    n, m = columns.stop - columns.start, rows.stop - rows.start
    entries = slice(*np.searchsorted(stack.row, (rows.start, rows.stop)))
    equal = stack.equal[rows]
    equations = np.flatnonzero(equal)
    spare = m + len(equations)
    matrix = highs.sparse(
        np.concatenate((stack.value[entries], np.ones(m), np.full(len(equations), -1.0))),
        np.concatenate((stack.row[entries] - rows.start, np.arange(m), equations)),
        np.concatenate((stack.column[entries] - columns.start, n + np.arange(spare))), (m, n + spare))
    try:
        return highs.linear(
            np.concatenate((stack.cost[columns], np.full(spare, PENALTY))), matrix, stack.bound[rows],
            np.where(equal, 0.0, 1.0), np.concatenate((stack.lower[columns], np.zeros(spare))),
            np.concatenate((stack.upper[columns], np.full(spare, np.inf))), "highs-ds")
    except NotProven:
        return None


def free_less_tight(stack: Stack, found: StackSolution) -> Ints:
    """Free variables less tight rows of each problem: 0 where these determine one vertex."""
    free = np.bincount(stack.owner[found.free], minlength=stack.count)
    return np.asarray(free - np.bincount(stack.row_owner[found.tight], minlength=stack.count))


def solve_on_faces(stack: Stack, found: StackSolution, cost: Floats, chosen: Bools) -> StackSolution:
    """Minimise another cost over the best answers of the chosen problems; the others stay as they are.

    Parameters
    ----------
    stack : Stack
    found : StackSolution
        Of all its problems; what it has free and tight names the best answers.
    cost : ndarray, shape (variables,)
    chosen : ndarray of bool, shape (count,)
    """
    still = np.where(found.at_upper, stack.upper, stack.lower)
    face = replace(
        stack, cost=cost, lower=np.where(found.free, stack.lower, still),
        upper=np.where(found.free, stack.upper, still), equal=found.tight,
    )
    part, variables, lines = _chosen(face, chosen)
    second = solve_stack(part)
    values, free, at_upper, tight, missed = (getattr(found, name).copy() for name in StackSolution.__annotations__)
    values[variables] = second.values
    at_upper[variables] = np.where(found.free[variables], second.at_upper, found.at_upper[variables])
    free[variables] &= second.free
    tight[lines] |= second.tight
    missed[np.flatnonzero(chosen)] |= second.missed
    return StackSolution(values, free, at_upper, tight, missed)


def _chosen(stack: Stack, chosen: Bools) -> tuple[Stack, Bools, Bools]:
    """The chosen problems of a stack, and which variables and rows are theirs."""
    number = np.cumsum(chosen) - 1
    variables, lines = chosen[stack.owner], chosen[stack.row_owner]
    entries = lines[stack.row]
    part = Stack(
        int(chosen.sum()), stack.cost[variables], stack.lower[variables], stack.upper[variables],
        number[stack.owner[variables]], stack.bound[lines], stack.equal[lines], number[stack.row_owner[lines]],
        (np.cumsum(lines) - 1)[stack.row[entries]], (np.cumsum(variables) - 1)[stack.column[entries]],
        stack.value[entries],
    )
    return part, variables, lines
