"""Solve a linear model with SciPy (HiGHS): the costs one after the other, prices of the first.

A later cost may only choose among the answers that are best for the earlier ones. For a linear programme
these are a face of the feasible set, and complementary slackness names it: rows with a price are tight,
variables with a reduced cost stay at their bound. So no tolerance on an objective is needed.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from ratio_solver.errors import NotProven
from ratio_solver.lp.model import Arrays, Floats, LinearModel

PRICED = 1e-9
"""A multiplier above this (rows and costs scaled to 1) counts as a price, below it as rounding."""

_INFEASIBLE = 2


@dataclass(frozen=True)
class Solution:
    """An optimal point of a model.

    Attributes
    ----------
    values : ndarray, shape (variables,)
    objective : float
        The first cost.
    row_prices : ndarray, shape (rows,)
        Change of the first cost for one more unit of a row's bound.
    lower_prices, upper_prices : ndarray, shape (variables,)
        The same for the variables' bounds.
    face : Face or None
        What is tight at the values after the last cost.
    """

    values: Floats
    objective: float
    row_prices: Floats
    lower_prices: Floats
    upper_prices: Floats
    face: Face | None = None


@dataclass(frozen=True)
class Infeasible:
    """No values satisfy the rows and bounds, by the solver's word (`ratio_solver.lp.feasibility` proves it)."""


@dataclass(frozen=True)
class Face:
    """Rows held tight and variables held at a bound: the answers that are equally good."""

    tight: NDArray[np.bool_]
    lower: Floats
    upper: Floats


def solve_lp(model: LinearModel) -> Solution | Infeasible:
    """Solve the model without regard to steps; ties go to the later costs.

    Raises
    ------
    NotProven
        Where the solver gives up.
    """
    arrays = model.arrays
    face = whole_set(arrays)
    first: Solution | None = None
    values = arrays.lower
    for cost in model.float_costs or (np.zeros(len(model.variables)),):
        found = on_face(arrays, cost, face)
        if isinstance(found, Infeasible):
            if first is None:
                return found
            break  # a face found by rounding alone: the point found before is on it
        first = first or found
        values = found.values
        face = narrowed(arrays, cost, found, face)
    assert first is not None
    return replace(first, values=values, face=face)


def whole_set(arrays: Arrays) -> Face:
    """The face that is the feasible set itself."""
    return Face(np.zeros(len(arrays.bound), dtype=bool), arrays.lower, arrays.ceiling)


def narrowed(arrays: Arrays, cost: Floats, found: Solution, face: Face) -> Face:
    """The part of the face on which the cost is as low as in the solution found."""
    size = float(np.abs(cost).max(initial=0.0)) or 1.0
    priced = np.abs(found.row_prices * arrays.scale) > PRICED * size
    at_lower = found.lower_prices > PRICED * size
    at_upper = -found.upper_prices > PRICED * size
    return Face(
        tight=face.tight | priced,
        lower=np.where(at_upper & ~at_lower, face.upper, face.lower),
        upper=np.where(at_lower & ~at_upper, face.lower, face.upper),
    )


def on_face(arrays: Arrays, cost: Floats, face: Face) -> Solution | Infeasible:
    """Minimise one cost over a face of the feasible set."""
    if not len(cost):
        return _without_variables(arrays)
    equal = face.tight | (arrays.sign == 0)
    sign = arrays.sign[~equal, None]
    result = _linprog(
        cost,
        A_ub=-sign * arrays.matrix[~equal] if (~equal).any() else None,
        b_ub=-sign[:, 0] * arrays.bound[~equal] if (~equal).any() else None,
        A_eq=arrays.matrix[equal] if equal.any() else None,
        b_eq=arrays.bound[equal] if equal.any() else None,
        bounds=np.column_stack((face.lower, face.upper)),
    )
    if result is None:
        return Infeasible()
    prices = np.zeros(len(arrays.bound))
    if (~equal).any():
        prices[~equal] = -arrays.sign[~equal] * result.ineqlin.marginals
    if equal.any():
        prices[equal] = result.eqlin.marginals
    return Solution(
        values=np.clip(result.x, face.lower, face.upper),
        objective=float(result.fun),
        row_prices=prices / arrays.scale,
        lower_prices=result.lower.marginals,
        upper_prices=result.upper.marginals,
    )


def _without_variables(arrays: Arrays) -> Solution | Infeasible:
    """A model in which nothing may move: every row says 0 against its bound."""
    short = arrays.sign * arrays.bound > 0
    if short.any():
        return Infeasible()
    none = np.zeros(0)
    return Solution(none, 0.0, np.zeros(len(arrays.bound)), none, none)


def _linprog(cost: Floats, **rows: object) -> Any:
    """SciPy's result, or None where it says twice that there is no feasible point."""
    for presolve in (True, False):
        result = linprog(cost, method="highs", options={"presolve": presolve}, **rows)
        if result.status == 0:
            return result
    if result.status == _INFEASIBLE:
        return None
    raise NotProven(f"the solver stopped without an answer: {result.message}")


@contextmanager
def silent_stdout() -> Iterator[None]:
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


@dataclass(frozen=True)
class StepSolution:
    """An answer on the steps of the model.

    Attributes
    ----------
    values : tuple of Fraction, one per variable
        Exactly on the steps; variables without a step as the solver has them.
    objective : float
        The first cost.
    bound : float
        No answer has a lower first cost, by the solver's own proof.
    """

    values: tuple[Fraction, ...]
    objective: float
    bound: float


def solve_steps(model: LinearModel) -> StepSolution | Infeasible:
    """Solve the model with its steps, to proven optimality; ties go to the later costs."""
    arrays = model.arrays
    steps = np.array([1.0 if v.step is None else float(v.step) for v in model.variables])
    whole = np.array([v.step is not None for v in model.variables])
    bases = np.array([float(v.base) for v in model.variables])
    low = np.where(whole, np.ceil((arrays.lower - bases) / steps - 1e-9), arrays.lower)
    high = np.where(whole, np.floor((arrays.upper - bases) / steps + 1e-9), arrays.upper)
    if (low > high).any():
        return Infeasible()
    bound = arrays.bound - arrays.matrix @ bases
    more = np.where(arrays.sign >= 0, bound, -np.inf)
    less = np.where(arrays.sign <= 0, bound, np.inf)
    constraints = [LinearConstraint(arrays.matrix * steps, more, less)] if len(arrays.bound) else []
    best: Any = None
    values = low
    for cost in model.float_costs:
        with silent_stdout():
            result = milp(cost * steps, integrality=whole, bounds=Bounds(low, high),
                          constraints=constraints, options={"mip_rel_gap": 0.0})
        if result.status == _INFEASIBLE and best is None:
            return Infeasible()
        if result.status != 0:
            if best is None:
                raise NotProven(f"the solver stopped without an answer: {result.message}")
            break
        best = best or result
        values = result.x
        allowed = float(result.fun) + 1e-7 * max(1.0, abs(float(result.fun)))
        constraints = [*constraints, LinearConstraint((cost * steps)[None, :], -np.inf, allowed)]
    assert best is not None
    exact = tuple(
        variable.base + round(value) * variable.step if variable.step is not None else Fraction(float(value))
        for value, variable in zip(values, model.variables, strict=True)
    )
    ahead = float(model.float_costs[0] @ bases)
    return StepSolution(exact, float(best.fun) + ahead, float(best.mip_dual_bound) + ahead)


@dataclass(frozen=True)
class Settled:
    """A model whose stepped variables are fixed at their best values.

    Attributes
    ----------
    model : LinearModel
        Its prices are those of a linear programme in which these variables stay as they are.
    searched : float or None
        No answer to the model as it was has a lower first cost, by the solver's own search; None where there was
        nothing to search.
    """

    model: LinearModel
    searched: float | None = None


def settle(model: LinearModel) -> LinearModel | Infeasible:
    """The model with its stepped variables fixed at their best values; the model itself if it has none."""
    found = settle_searched(model)
    return found if isinstance(found, Infeasible) else found.model


def settle_searched(model: LinearModel) -> Settled | Infeasible:
    """The same, with what the search says of all other values of these variables."""
    if not model.stepped:
        return Settled(model)
    whole = solve_steps(model)
    if isinstance(whole, Infeasible):
        return whole
    return Settled(model.with_bounds({
        place: (value, value)
        for place, (value, variable) in enumerate(zip(whole.values, model.variables, strict=True))
        if variable.step is not None
    }), whole.bound)
