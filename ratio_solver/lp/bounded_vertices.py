"""The vertices of many small problems at once, in doubles, each with a bound on its error that is sure.

For problem p with free variables F and tight rows T, as many of one as of the other,

    A_TF x_F = b_T - A_TN x_N,        A_TF' y_T = c_F,

with x_N at their fixed values. With an approximate inverse B of A_TF, E = I - B A and ``|E| <= 1/2``, an approximate x
with residual r misses the exact solution by ``e = B r + E e``, of which no part is above ``m = 2 |B| |r|`` (row sum
norms; Rump, Verification methods, Acta Numerica 19 (2010), section 10). So each part by itself is at most that of
``|B| |r| + m |E| 1``, which is much less where rows are of unlike sizes. The residual carries its own rounding and that
of the data.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.lp.stack import Stack, StackSolution

UNIT = 2.0**-53
SUM_ROUNDING = 64 * UNIT
"""Rounding of a sum over the variables of a problem, relative to the sum of sizes, at most."""

REGULAR = 1e10
"""Condition of a matrix from which on no inverse is tried."""

DATA = 8
"""Roundings behind a coefficient or a right-hand side, at most."""

OF_BOUNDS = 1e-9
"""Rounding of a bound itself, relative, at most."""

MOST_FREE = 24
"""Free variables of a problem, at most, for which this is worth it."""


@dataclass(frozen=True)
class Vertices:
    """Exact vertices, nearly.

    Attributes
    ----------
    values, error : ndarray, shape (variables,)
        Of the free variables the value and how far it can be off; the fixed ones are exact.
    prices, price_error : ndarray, shape (rows,)
    known : ndarray of bool, shape (problems,)
        Whether the tight rows determine the vertex, and the error is bounded.
    best : ndarray of bool, shape (problems,)
        Whether any other point is sure to cost more, or as much and more by a later cost, if the vertex is one.
    worse : ndarray of bool, shape (problems,)
        Whether a row or bound that is tight is sure to save something by the first cost where it is left.
    """

    values: Floats
    error: Floats
    prices: Floats
    price_error: Floats
    known: Bools
    best: Bools
    worse: Bools


def vertices(stack: Stack, size: Floats, found: StackSolution, later: Sequence[Floats] = ()) -> Vertices:
    """Vertices of the problems of a stack from what is free and what is tight in each.

    Parameters
    ----------
    size : ndarray, shape (rows,)
        Of the terms that each bound is the sum of.
    later : sequence of ndarray, shape (variables,)
        Costs by which ties of that of the stack are broken, one after the other.
    """
    count, owner, row_owner, bound = stack.count, stack.owner, stack.row_owner, stack.bound
    row, column, value, free, tight = stack.row, stack.column, stack.value, found.free, found.tight
    fixed = np.where(found.at_upper, stack.upper, stack.lower)
    sizes = np.bincount(owner[free], minlength=count)
    known = (sizes == np.bincount(row_owner[tight], minlength=count)) & (sizes <= MOST_FREE)
    values, error = np.where(free, 0.0, fixed), np.zeros(len(owner))
    costs = (stack.cost, *later)
    prices, price_error = np.zeros((2, len(costs), len(row_owner)))
    # What the fixed variables leave of each row, and the sizes that its rounding error is measured by.
    still = ~free[column]
    term = value * np.where(still, fixed[column], 0.0)
    rest = bound - np.bincount(row, term, minlength=len(bound))
    size = size + np.bincount(row, np.abs(term), minlength=len(bound)).astype(float)
    rank_column, rank_row = _turn_within(owner, free, count), _turn_within(row_owner, tight, count)
    inside = free[column] & tight[row]
    place = np.full(count, -1)
    for k in np.unique(sizes[known & (sizes > 0)]):
        members = np.flatnonzero(known & (sizes == k))
        place[:] = -1
        place[members] = np.arange(len(members))
        mine = np.flatnonzero(inside & (place[owner[column]] >= 0))
        matrix = np.zeros((len(members), k, k))
        matrix[place[owner[column[mine]]], rank_row[row[mine]], rank_column[column[mine]]] = value[mine]
        columns = np.flatnonzero(free & (place[owner] >= 0)).reshape(-1, k)
        rows = np.flatnonzero(tight & (place[row_owner] >= 0)).reshape(-1, k)
        regular, inverse = _inverses(matrix)
        turned, turned_inverse = matrix.transpose(0, 2, 1), inverse.transpose(0, 2, 1)
        off, turned_off = _off_identity(matrix, inverse), _off_identity(turned, turned_inverse)
        good = regular & (off.max(axis=1) < 0.5) & (turned_off.max(axis=1) < 0.5)
        known[members[~good]] = False
        values[columns], error[columns] = _refined(matrix, inverse, off, rest[rows], size[rows])
        for which, cost in enumerate(costs):
            prices[which, rows], price_error[which, rows] = _refined(
                turned, turned_inverse, turned_off, cost[columns], np.abs(cost[columns]))
    worse, doubtful = _not_best(stack, found, costs, prices, price_error)
    return Vertices(values, error, prices[0], price_error[0], known, known & ~doubtful, worse)


def _not_best(stack: Stack, found: StackSolution, costs: Sequence[Floats], prices: Floats,
              errors: Floats) -> tuple[Bools, Bools]:
    """Problems that are `worse`, and those of which it is not sure that any other point costs more by costs in order.

    It is sure where a unit of the slack of every tight row, and of every variable at a bound, costs something by the
    first of the costs by which it costs or saves anything.
    """
    open_rows, open_, worse = found.tight, ~found.free, np.zeros(stack.count, dtype=bool)
    wrong_rows, wrong = np.zeros(len(open_rows), dtype=bool), np.zeros(len(open_), dtype=bool)
    size = np.abs(stack.value)
    for cost, price, error in zip(costs, prices, errors, strict=True):
        gain, gain_size, off = (np.bincount(stack.column, value * figures[stack.row], minlength=len(cost)).astype(float)
                                for value, figures in ((stack.value, price), (size, np.abs(price)), (size, error)))
        reduced, doubt = cost - gain, off + SUM_ROUNDING * (np.abs(cost) + gain_size)
        reduced = np.where(found.at_upper, -reduced, reduced)
        wrong_rows |= open_rows & (price < -error)
        wrong |= open_ & (reduced < -doubt)
        if cost is costs[0]:
            worse = stack.any_row(wrong_rows) | stack.any(wrong)
        open_rows, open_ = open_rows & (price <= error), open_ & (reduced <= doubt)
    return worse, stack.any_row(wrong_rows | open_rows) | stack.any(wrong | open_)


@dataclass(frozen=True)
class Beside:
    """What vertices say of the rows and bounds that are no part of them.

    Attributes
    ----------
    wrong : ndarray of bool, shape (problems,)
        The vertex is beyond one of them.
    alike : ndarray of bool, shape (problems,)
        The vertex may lie on one of them: it is one of several bases of the same point.
    rows : ndarray of bool, shape (rows,)
        Rows on which a vertex lies, or may lie.
    """

    wrong: Bools
    alike: Bools
    rows: Bools


def beside(stack: Stack, size: Floats, found: StackSolution, at: Vertices) -> Beside:
    """How vertices stand to the other rows and bounds, rounding counted; `size` as in `vertices`."""
    margin = at.error + 4 * UNIT * np.abs(at.values)
    low, high = at.values - stack.lower, stack.upper - at.values
    near = found.free & ~((low > margin) & (high > margin))
    products = stack.value * at.values[stack.column]
    over = stack.totals(products) - stack.bound
    doubt = SUM_ROUNDING * (size + stack.totals(np.abs(products)))
    doubt += stack.totals(np.abs(stack.value) * at.error[stack.column])
    touching = ~found.tight & (np.abs(over) <= doubt)
    beyond = ~found.tight & (over < -doubt)
    out = found.free & ((low < -margin) | (high < -margin))
    return Beside(stack.any_row(beyond) | stack.any(out), stack.any_row(touching) | stack.any(near),
                  touching | found.tight)


def bounds_of(stack: Stack, size: Floats, values: Floats, prices: Floats) -> tuple[Floats, Floats, Floats]:
    """What values cost, what nothing costs less than, and by how much at most these two are off.

    For any prices y >= 0 of the rows, as in `ratio_solver.lp.certificate`,

        cost  >=  y b + sum_j min over x_j in [lower_j, upper_j] of (c_j - g_j) x_j,        g = A' y.
    """
    y = np.maximum(prices, 0.0)
    gain, gain_size = (np.bincount(stack.column, figures * y[stack.row], minlength=len(stack.cost)).astype(float)
                       for figures in (stack.value, np.abs(stack.value)))
    reduced, most = stack.cost - gain, np.maximum(np.abs(stack.lower), np.abs(stack.upper))
    total = stack.sum(stack.cost * values)
    least = stack.sum(np.minimum(reduced * stack.lower, reduced * stack.upper)) + stack.sum_rows(y * stack.bound)
    doubt = stack.sum_rows(y * size) + stack.sum((np.abs(stack.cost) + gain_size) * most)
    return total, least, SUM_ROUNDING * doubt


def _turn_within(owner: Ints, chosen: Bools, count: int) -> Ints:
    """Which one of its problem's chosen each is, from 0."""
    before: Ints = np.cumsum(chosen) - chosen
    first = np.zeros(count, dtype=np.int64)
    per_problem = np.bincount(owner[chosen], minlength=count)
    first[1:] = np.cumsum(per_problem)[:-1]
    return np.asarray(before - first[owner], dtype=np.int64)


def _inverses(matrix: Floats) -> tuple[Bools, Floats]:
    """Approximate inverses, and of which matrices they are tried."""
    k = matrix.shape[1]
    with np.errstate(all="ignore"):
        regular = np.linalg.cond(matrix, 1) < REGULAR if k > 1 else np.abs(matrix[:, 0, 0]) > 1 / REGULAR
    safe = np.where(regular[:, None, None], matrix, np.eye(k))
    return regular, np.linalg.inv(safe)


def _off_identity(matrix: Floats, inverse: Floats) -> Floats:
    """How far a matrix times its inverse may be from the identity, summed by row, shape (problems, k)."""
    k = matrix.shape[1]
    off = np.abs(np.eye(k) - inverse @ matrix).sum(axis=2)
    return np.asarray(off + DATA * k * UNIT * (np.abs(inverse) @ np.abs(matrix)).sum(axis=2))


def _refined(matrix: Floats, inverse: Floats, off: Floats, right: Floats, size: Floats) -> tuple[Floats, Floats]:
    """Solutions, and a bound on the error of each figure; `off` is by how much at most the inverse is none."""
    x = np.einsum("bij,bj->bi", inverse, right)
    x = x + np.einsum("bij,bj->bi", inverse, right - np.einsum("bij,bj->bi", matrix, x))
    residual = np.abs(right - np.einsum("bij,bj->bi", matrix, x))
    rounding = (DATA + 32) * UNIT * (size + np.einsum("bij,bj->bi", np.abs(matrix), np.abs(x)))
    each = np.einsum("bij,bj->bi", np.abs(inverse), residual + rounding)
    most = 2.0 * np.abs(inverse).sum(axis=2).max(axis=1) * (residual + rounding).max(axis=1)
    return x, (1 + OF_BOUNDS) * (each + off * most[:, None])
