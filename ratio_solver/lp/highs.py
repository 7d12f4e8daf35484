"""The solver: HiGHS by SciPy, in doubles. The only module that imports SciPy, and only where it is asked: loading it
takes longer than most dishes, which are solved without it, as a menu may be.

What it says is a place to begin: whatever is shown is found or checked again in exact arithmetic.
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ratio_solver.errors import NotProven
from ratio_solver.lp.clock import out_of_time, time_left
from ratio_solver.lp.model import Floats

_BEST, _INFEASIBLE = 0, 2

LARGE_MATRIX = 100_000
"""Entries of a matrix that is handed on as a sparse one: SciPy makes several copies of it."""

GAVE_UP = "the solver's search came to no end"
OUT_OF_TIME = "the time for the search is up, and none was found"


@dataclass(frozen=True)
class Optimum:
    """A best point in doubles, and its multipliers: change of the cost for one more unit of a bound.

    Attributes
    ----------
    values, lower_prices, upper_prices : ndarray, shape (variables,)
    row_prices : ndarray, shape (rows,)
    """

    values: Floats
    row_prices: Floats
    lower_prices: Floats
    upper_prices: Floats


def linear(cost: Floats, matrix: Any, bound: Floats, sign: Floats, lower: Floats,
           upper: Floats) -> Optimum | None:
    """A linear programme; None where it has no point by the solver's word.

    Parameters
    ----------
    cost, lower, upper : ndarray, shape (variables,)
    matrix : ndarray or sparse array, shape (rows, variables)
    bound, sign : ndarray, shape (rows,)
        +1 for ``matrix x >= bound``, -1 for <=, 0 for ==.

    Raises
    ------
    NotProven
        Where the solver gives up.
    """
    from scipy.optimize import linprog

    if isinstance(matrix, np.ndarray) and matrix.size > LARGE_MATRIX:
        from scipy.sparse import csr_array

        matrix = csr_array(matrix)
    equal, rows = sign == 0, {}
    if not equal.all():
        given, side = matrix[~equal] if equal.any() else matrix, sign[~equal]
        rows = {"A_ub": -given if (side > 0).all() else (given.T * -side).T, "b_ub": -side * bound[~equal]}
    if equal.any():
        rows |= {"A_eq": matrix[equal], "b_eq": bound[equal]}
    for presolve in (False, True):
        result = linprog(cost, bounds=np.column_stack((lower, upper)), method="highs",
                         options={"presolve": presolve}, **rows)
        if result.status == _BEST:
            break
    else:
        if result.status == _INFEASIBLE:
            return None
        raise NotProven(GAVE_UP)
    prices = np.zeros(len(bound))
    prices[~equal] = -sign[~equal] * result.ineqlin.marginals
    prices[equal] = result.eqlin.marginals
    return Optimum(np.clip(result.x, lower, upper), prices, result.lower.marginals, result.upper.marginals)


def clearest_point(matrix: Floats, bound: Floats, sign: Floats, room: Floats, lower: Floats,
                   upper: Floats) -> Floats | None:
    """The point that keeps the largest share (up to all) of its room clear of every row; None without any point.

    Parameters
    ----------
    matrix, bound, sign, lower, upper
        As in `linear`.
    room : ndarray, shape (rows,)
        Of an equation none is kept.
    """
    found = linear(np.append(np.zeros(len(lower)), -1.0), np.column_stack((matrix, -sign * room)), bound, sign,
                   np.append(lower, 0.0), np.append(upper, 1.0))
    return None if found is None else found.values[:-1]


@dataclass(frozen=True)
class Searched:
    """The best point that a search found.

    Attributes
    ----------
    values : ndarray, shape (variables,)
    cost, bound : float
        No point has a cost below the bound, by the solver's word.
    complete : bool
        Whether the search ended of itself.
    """

    values: Floats
    cost: float
    bound: float
    complete: bool


def integer(cost: Floats, matrix: Any, ends: tuple[Floats, Floats], lower: Floats, upper: Floats,
            whole: NDArray[np.bool_], gap: float = 0.0, nodes: int | None = None) -> Searched | None:
    """A programme some of whose variables are integers; None where it has no point by the solver's word.

    Parameters
    ----------
    cost, lower, upper : ndarray, shape (variables,)
    matrix : ndarray or sparse array, shape (rows, variables)
    ends : two ndarray, shape (rows,)
        Least and most of every row.
    whole : ndarray of bool, shape (variables,)
        Which variables are integers.
    gap : float
        The search may stop at this relative gap.
    nodes : int, optional
        Nodes after which it is cut short.

    Raises
    ------
    NotProven
        Where the solver gives up without a point.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    rows = [LinearConstraint(matrix, *ends)] if len(ends[0]) else []
    limit: dict[str, float] = {} if nodes is None else {"node_limit": nodes}
    for presolve in (True, False) if whole.any() else (False, True):
        if whole.any() and out_of_time():
            raise NotProven(OUT_OF_TIME)
        if whole.any() and math.isfinite(left := time_left()):
            limit["time_limit"] = left
        with _silent_stdout():
            result = milp(cost, integrality=whole, bounds=Bounds(lower, upper), constraints=rows,
                          options={"mip_rel_gap": gap, "presolve": presolve, **limit})
        if result.x is not None:
            # Without an integer there is no search, and the optimum is its own bound.
            bound = result.fun if result.mip_dual_bound is None else result.mip_dual_bound
            return Searched(result.x, float(result.fun), float(bound), result.status == _BEST)
        if result.status == _INFEASIBLE:
            return None
    raise NotProven(OUT_OF_TIME if out_of_time() else GAVE_UP)


def sparse(value: Floats, row: NDArray[np.int64], column: NDArray[np.int64], shape: tuple[int, int]) -> Any:
    """A sparse matrix from its entries."""
    from scipy.sparse import csr_array

    return csr_array((value, (row, column)), shape=shape)


@contextmanager
def _silent_stdout() -> Iterator[None]:
    """Keep the solver's own messages off standard output, where results go.

    Some releases of HiGHS print a line from inside the search whatever they are told.
    """
    if sys.stdout is not None:
        sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:
        kept = None  # the process was started with its standard output closed
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        if kept is None:
            os.close(1)
        else:
            os.dup2(kept, 1)
            os.close(kept)
        if nowhere != 1:
            os.close(nowhere)
