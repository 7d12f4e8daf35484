"""Many small linear programmes solved together.

Problem p has its own variables and rows:

    minimise    c_p . x_p                      (c_p scaled to a largest cost of 1)
    subject to  A_p x_p  >= or ==  b_p         (rows scaled to a largest coefficient of 1)
                l_p <= x_p <= u_p

Those of about as many variables are brought to one shape and solved at once (`lp.many`), an equation as a row whose
slack has no room. All that is taken of the solution is what a reduced cost holds at a bound: it is in doubles.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ratio_solver.lp import many
from ratio_solver.lp.model import Bools, Floats, Ints

GROUP = 4
"""Problems are solved together with those of as many variables, counted by so many."""

PRICED = 1e-9
"""A multiplier above this (rows and costs scaled to 1) counts as a price, below it as rounding; what is read off so is
computed again, with a sure bound on its error (`ratio_solver.lp.bounded_vertices`)."""


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
    free : ndarray of bool, shape (variables,)
        Variables that no multiplier holds at a bound.
    at_upper : ndarray of bool, shape (variables,)
        Of the others, those at their upper bound.
    tight : ndarray of bool, shape (rows,)
        Rows with a price, and all equations. Of a problem that has no answer or was given up every row is tight and no
        variable free, which makes no vertex.
    missed : ndarray of bool, shape (count,)
        Problems that have no answer by this reckoning.
    """

    free: Bools
    at_upper: Bools
    tight: Bools
    missed: Bools


def solve_stack(stack: Stack) -> StackSolution:
    """Solve all problems of a stack."""
    scaled, (n, m) = _scaled(stack), (len(stack.cost), len(stack.bound))
    found = StackSolution(*(np.zeros(size, dtype=bool) for size in (n, n, m, stack.count)))
    groups = -(-np.bincount(stack.owner, minlength=stack.count) // GROUP)
    for group in np.unique(groups):
        mine = groups == group
        part, variables, lines = _chosen(scaled, mine)
        some = _solved_together(part)
        found.free[variables], found.at_upper[variables] = some.free, some.at_upper
        found.tight[lines], found.missed[mine] = some.tight, some.missed
    return found


def _solved_together(stack: Stack) -> StackSolution:
    """Solve problems brought to one shape: the variables and rows that are too many are fixed at 0 and empty."""
    column, row = (np.arange(len(owner)) - np.searchsorted(owner, owner) for owner in (stack.owner, stack.row_owner))
    variables, lines = (stack.owner, column), (stack.row_owner, row)
    columns, rows = (int(place.max(initial=0)) + 1 for place in (column, row))
    cost, lower, upper = np.zeros((3, stack.count, columns))
    cost[variables], lower[variables], upper[variables] = stack.cost, stack.lower, stack.upper
    bound, equal = np.zeros((stack.count, rows)), np.zeros((stack.count, rows), dtype=bool)
    bound[lines], equal[lines] = stack.bound, stack.equal
    matrix = np.zeros((stack.count, rows, columns))
    matrix[stack.owner[stack.column], row[stack.row], column[stack.column]] = stack.value
    at = many.begun(matrix, bound, cost)
    _, empty, _, lost = many.solve(at, lower, upper, equal)
    reduced = many.reduced_costs(at)
    held, price = reduced[variables], reduced[:, columns:][lines]
    none = empty | lost
    wide = (stack.upper > stack.lower) & ~none[stack.owner]
    return StackSolution(wide & (np.abs(held) <= PRICED), wide & (held < -PRICED),
                         stack.equal | (price > PRICED) | none[stack.row_owner], empty)


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
    free, at_upper, tight = found.free.copy(), found.at_upper.copy(), found.tight.copy()
    at_upper[variables] = np.where(found.free[variables], second.at_upper, found.at_upper[variables])
    free[variables] &= second.free
    tight[lines] |= second.tight
    return StackSolution(free, at_upper, tight, found.missed)


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
