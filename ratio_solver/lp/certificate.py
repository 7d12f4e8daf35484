"""Check an answer outside the solver, in exact rational arithmetic.

Weak duality: for any multipliers y with y_r >= 0 on >= rows and y_r <= 0 on <= rows,

    c . x  >=  sum_r y_r b_r + sum_j min(d_j l_j, d_j u_j),     d = c - A' y,

for every feasible x. Reckoned from the multipliers of an answer this is a proof of how low the cost can be that
does not rest on how the answer was found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from ratio_solver.exact import ZERO, Vector, dot
from ratio_solver.lp.model import LinearModel

TOLERANCE = Fraction(1, 10**6)
"""How far weights that are given to 1e-9 g may miss a row, in units of its largest coefficient."""


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


def certify(model: LinearModel, values: Vector, row_prices: Sequence[float]) -> Certificate:
    """Check values against a model, and bound its first cost with the multipliers given."""
    missed = [(-left / row.largest, row.name)
              for row, left in zip(model.rows, model.over(values), strict=True) if left < 0]
    missed += [(max(variable.lower - value, value - variable.upper), variable.name)
               for variable, value in zip(model.variables, values, strict=True)
               if not variable.lower <= value <= variable.upper]
    shortfall, worst = max(missed, key=lambda pair: pair[0], default=(ZERO, ""))
    return Certificate(shortfall, worst, dot(model.costs[0], values), dual_bound(model, row_prices))


def dual_bound(model: LinearModel, row_prices: Sequence[float]) -> Fraction:
    """Exact lower bound on the first cost over the model (its steps left out), from any multipliers."""
    cost = model.whole_costs[0]
    priced = [(row.slack, Fraction(price) / row.slack.unit) for row, price in zip(model.rows, row_prices, strict=True)
              if price and not ((price < 0 and row.sense == ">=") or (price > 0 and row.sense == "<="))]
    common = lcm(cost.unit, *[price.denominator for _, price in priced])
    total, reduced = 0, [0] * len(model.variables)
    for place, a in cost.entries:
        reduced[place] = a * (common // cost.unit)
    for (entries, constant, _), price in priced:
        times = price.numerator * (common // price.denominator)
        total -= times * constant
        for place, a in entries:
            reduced[place] -= times * a
    ends = [(v.lower, v.upper) for v in model.variables]
    per = lcm(*[end.denominator for pair in ends for end in pair])
    least = sum([min(d * low.numerator * (per // low.denominator), d * high.numerator * (per // high.denominator))
                 for d, (low, high) in zip(reduced, ends, strict=True) if d])
    return Fraction(total * per + least, common * per)
