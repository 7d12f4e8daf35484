"""Check an answer outside the solver, in exact rational arithmetic.

Weak duality: for any multipliers y with y_r >= 0 on >= rows and y_r <= 0 on <= rows,

    c . x  >=  sum_r y_r b_r + sum_j min(d_j l_j, d_j u_j),     d = c - A' y,

for every feasible x. Recomputed from the solver's own multipliers this is a proof of how low the
cost can be that does not rest on the solver. For an infeasible model the same sum with c = 0 is a
proof that there is no answer when it is positive (Farkas).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import ZERO, Vector
from ratio_solver.lp.model import Floats, LinearModel

TOLERANCE = Fraction(1, 10**6)
"""How far a linear programme's answer (doubles) may miss a row, in units of its largest coefficient."""


@dataclass(frozen=True)
class Certificate:
    """What the exact check found.

    Attributes
    ----------
    shortfall : Fraction
        Largest amount by which a row or bound is missed, in units of its largest coefficient; 0 when all
        are kept exactly.
    worst : str
        The row or variable that is missed most; empty when none is.
    objective, bound : Fraction
        The cost of the answer, and the exact lower bound on the cost of any.
    """

    shortfall: Fraction
    worst: str
    objective: Fraction
    bound: Fraction

    @property
    def gap(self) -> Fraction:
        """How far from the best the answer can be at most."""
        return max(ZERO, self.objective - self.bound)

    def holds(self, tolerance: Fraction = TOLERANCE) -> bool:
        """Whether the answer is feasible and best to this tolerance (relative for the cost)."""
        return self.shortfall <= tolerance and self.gap <= tolerance * max(Fraction(1), abs(self.objective))


def certify(model: LinearModel, values: Vector, row_prices: Floats) -> Certificate:
    """Check values against a model, and bound its first cost with the multipliers given."""
    missed = [(-row.over(values) / _size(row.coefficients), row.name) for row in model.rows]
    missed += [(variable.lower - value, variable.name)
               for variable, value in zip(model.variables, values, strict=True)]
    missed += [(value - variable.upper, variable.name)
               for variable, value in zip(model.variables, values, strict=True)]
    shortfall, worst = max(missed, key=lambda pair: pair[0], default=(ZERO, ""))
    cost = model.costs[0]
    objective = sum((c * x for c, x in zip(cost, values, strict=True) if c), ZERO)
    return Certificate(max(ZERO, shortfall), worst if shortfall > 0 else "", objective,
                       dual_bound(model, cost, [float(price) for price in row_prices]))


def dual_bound(model: LinearModel, cost: Sequence[Fraction], row_prices: Sequence[float]) -> Fraction:
    """Exact lower bound on a cost over the model (its steps left out), from any multipliers."""
    reduced = list(cost)
    total = ZERO
    for row, price in zip(model.rows, row_prices, strict=True):
        wrong = (price < 0 and row.sense == ">=") or (price > 0 and row.sense == "<=")
        if wrong or not price:
            continue
        y = Fraction(price)
        total += y * row.bound
        for place, a in enumerate(row.coefficients):
            if a:
                reduced[place] -= y * a
    for d, variable in zip(reduced, model.variables, strict=True):
        if d:
            total += min(d * variable.lower, d * variable.upper)
    return total


def _size(coefficients: Vector) -> Fraction:
    largest = max((abs(a) for a in coefficients), default=ZERO)
    return largest or Fraction(1)
