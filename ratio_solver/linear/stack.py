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

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csr_array

from ratio_solver.linear.model import Floats
from ratio_solver.linear.solve import PRICED

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

TOGETHER = 250
"""Problems solved in one call: measured, the time per problem is flat from 200 to 400."""

PENALTY = 1e5
"""Cost of a unit of excess; a price this high is taken for none at all, which hands the problem back."""


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


def solve_stack(stack: Stack, together: int = TOGETHER) -> StackSolution:
    """Solve all problems of a stack, `together` of them in one call of the solver."""
    scaled = _scaled(stack)
    found = StackSolution(
        values=stack.lower.copy(),
        free=np.zeros(len(stack.cost), dtype=bool),
        at_upper=np.zeros(len(stack.cost), dtype=bool),
        tight=np.zeros(len(stack.bound), dtype=bool),
        missed=np.zeros(stack.count, dtype=bool),
    )
    for first in range(0, stack.count, together):
        _solve_range(scaled, first, min(first + together, stack.count), found)
    return found


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


def _solve_range(stack: Stack, first: int, last: int, found: StackSolution) -> None:
    """Solve problems first to last - 1 and enter what was found; halve on failure."""
    columns = slice(*np.searchsorted(stack.owner, (first, last)))
    rows = slice(*np.searchsorted(stack.row_owner, (first, last)))
    wide = stack.upper[columns] > stack.lower[columns]
    if rows.start == rows.stop:
        found.at_upper[columns] = wide & (stack.cost[columns] < 0)
        found.free[columns] = wide & (stack.cost[columns] == 0)
        return
    result = _call(stack, columns, rows)
    if result is None:
        if last - first == 1:
            found.missed[first] = True
            return
        middle = (first + last) // 2
        _solve_range(stack, first, middle, found)
        _solve_range(stack, middle, last, found)
        return
    n = columns.stop - columns.start
    above, below = result.lower.marginals[:n], -result.upper.marginals[:n]
    found.values[columns] = np.clip(result.x[:n], stack.lower[columns], stack.upper[columns])
    found.at_upper[columns] = wide & (below > PRICED)
    found.free[columns] = wide & (below <= PRICED) & (above <= PRICED)
    equal = stack.equal[rows]
    prices = np.zeros(rows.stop - rows.start)
    prices[~equal] = -result.ineqlin.marginals
    prices[equal] = result.eqlin.marginals
    found.tight[rows] = equal | (prices > PRICED)
    excess = np.zeros(len(prices))
    excess[:] = result.x[n:n + len(prices)]
    excess[equal] += result.x[n + len(prices):]
    unpaid = (excess > 0) | (np.abs(prices) >= PENALTY * (1 - 1e-9))
    found.missed[stack.row_owner[rows][unpaid]] = True


def _call(stack: Stack, columns: slice, rows: slice) -> Any:
    """SciPy's result for some problems, or None where it gives up.

    Its variables are those of the problems, then the excess of every row, then a second excess of the equations.
    """
    n, m = columns.stop - columns.start, rows.stop - rows.start
    entries = slice(*np.searchsorted(stack.row, (rows.start, rows.stop)))
    equal = stack.equal[rows]
    equations = np.flatnonzero(equal)
    row = np.concatenate((stack.row[entries] - rows.start, np.arange(m), equations))
    column = np.concatenate((stack.column[entries] - columns.start, n + np.arange(m + len(equations))))
    value = np.concatenate((stack.value[entries], np.ones(m), np.full(len(equations), -1.0)))
    width = n + m + len(equations)
    matrix = csr_array((value, (row, column)), shape=(m, width))
    bounds = np.zeros((width, 2))
    bounds[:n, 0], bounds[:n, 1] = stack.lower[columns], stack.upper[columns]
    bounds[n:, 1] = np.inf
    cost = np.concatenate((stack.cost[columns], np.full(m + len(equations), PENALTY)))
    for presolve in (False, True):
        result = linprog(
            cost,
            A_ub=-matrix[~equal] if len(equations) else -matrix,
            b_ub=-stack.bound[rows][~equal],
            A_eq=matrix[equal] if len(equations) else None,
            b_eq=stack.bound[rows][equal] if len(equations) else None,
            bounds=bounds,
            method="highs-ds",
            options={"presolve": presolve},
        )
        if result.status == 0:
            return result
    return None
