"""The most or least of a quotient of two linear sums over a model (linear-fractional programming).

    best  (p . x + p0) / (q . x + q0)     over the model,     p . x + p0 >= 0,  q . x + q0 >= 0

Iterations of Dinkelbach: for the quotient t of a point in hand, the point that is best for the linear
``p . x + p0 - t (q . x + q0)`` has a better quotient, or there is none. Each is one linear programme, the rise
is faster than linear, and steps (a whole number of this or that) change nothing, which is why this is used
and not the single programme of Charnes and Cooper (Naval Research Logistics Quarterly 9 (1962) 181-186).

References
----------
Dinkelbach W, On nonlinear fractional programming, Management Science 13 (1967) 492-498.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.lp.branching import settle
from ratio_solver.lp.feasibility import has_point
from ratio_solver.lp.model import Floats, LinearModel
from ratio_solver.lp.solve import Infeasible, on_face, whole_set

NIL = 1e-9
"""A denominator of this or less (in its own unit, for the whole batch) is none."""

MOST_ROUNDS = 60

UNFOUND = "the solver finds no weights, and exact arithmetic does not show that there are none"


@dataclass(frozen=True)
class Quotient:
    """``(above . x + above_constant) / (below . x + below_constant)``, neither ever negative.

    Attributes
    ----------
    above, below : ndarray, shape (variables,)
    above_constant, below_constant : float
    """

    above: Floats
    above_constant: float
    below: Floats
    below_constant: float

    def divisor(self, values: Floats) -> float:
        """The denominator at a point."""
        return float(self.below @ values) + self.below_constant

    def at(self, values: Floats) -> float:
        """The quotient at a point; infinite where only the denominator is nil, NaN where both are."""
        above, below = float(self.above @ values) + self.above_constant, self.divisor(values)
        if below > NIL:
            return above / below
        return math.inf if above > NIL else math.nan


def minimise(model: LinearModel, cost: Floats) -> Floats | None:
    """A point of the model with the least cost, shape (variables,), or None where it is proven to have none.

    Raises
    ------
    NotProven
        Where the solver finds none and there is one.
    """
    exact = tuple(Fraction(value) for value in cost.tolist())
    settled = settle(replace(model, costs=(exact,)))
    found = settled if isinstance(settled, Infeasible) else on_face(settled.arrays, cost, whole_set(settled.arrays))
    if not isinstance(found, Infeasible):
        return found.values
    if has_point(model):
        raise NotProven(UNFOUND)
    return None


def best_quotient(
    seek: Callable[[Floats], Floats | None], quotient: Quotient, *, most: bool, near: float | None = None
) -> float | None:
    """The most (or least) that a quotient comes to.

    Parameters
    ----------
    seek : callable
        The point with the least of a cost, shape (variables,), or None where there is no point.
    quotient : Quotient
    most : bool
    near : float, optional
        A value that no point betters: a short cut.

    Returns
    -------
    float or None
        Infinite where the most has no end; None where there is no point, or none with a denominator.
    """
    sign = 1.0 if most else -1.0
    values = seek(-sign * quotient.above if near is None else _direction(quotient, near, sign))
    if values is None:
        return None
    if quotient.divisor(values) <= NIL:
        if most and quotient.at(values) == math.inf:
            return math.inf
        values = seek(-quotient.below)  # the emptiest dish has no quotient: begin with the fullest
        if values is None or quotient.divisor(values) <= NIL:
            return None
    best = quotient.at(values)
    for _ in range(MOST_ROUNDS):
        values = seek(_direction(quotient, best, sign))
        if values is None:
            break
        here = quotient.at(values)
        if math.isnan(here) or sign * (here - best) <= 1e-13 * abs(best):
            break
        if math.isinf(here):
            return here
        best = here
    return best


def _direction(quotient: Quotient, value: float, sign: float) -> Floats:
    """Cost whose least is the best of ``above - value * below``, its largest coefficient 1."""
    cost = -sign * (quotient.above - value * quotient.below)
    return cost / (float(np.abs(cost).max(initial=0.0)) or 1.0)


def floats(vector: Sequence[Fraction]) -> Floats:
    """Rationals as doubles."""
    return np.array([float(value) for value in vector], dtype=np.float64)
