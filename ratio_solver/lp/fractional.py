"""The most or least of a quotient of two linear sums over a model (linear-fractional programming).

    best  (p . x + p0) / (q . x + q0)     over the model,     p . x + p0 >= 0,  q . x + q0 >= 0

Iterations of Dinkelbach: for the quotient t of a point in hand, the point that is best for the linear
``p . x + p0 - t (q . x + q0)`` has a better quotient, or there is none. Each is one programme, the rise is faster
than linear, and steps (a whole number of this or that) change nothing, which is why this is used and not the single
programme of Charnes and Cooper (Naval Research Logistics Quarterly 9 (1962) 181-186). Where the points are exact and
best, so is the quotient.

References
----------
Dinkelbach W, On nonlinear fractional programming, Management Science 13 (1967) 492-498.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import Vector, dot

NIL = Fraction(1, 10**9)
"""A numerator or denominator of this or less (in its own unit, for the whole batch) is none."""

MOST_QUOTIENTS = 60

Seeker = Callable[[Vector], Vector | None]
"""The point with the least of a cost, or None where there is no point."""


@dataclass(frozen=True)
class Quotient:
    """``(above . x + above_constant) / (below . x + below_constant)``, neither ever negative."""

    above: Vector
    above_constant: Fraction
    below: Vector
    below_constant: Fraction

    def parts(self, values: Vector) -> tuple[Fraction, Fraction]:
        """Numerator and denominator at a point."""
        return dot(self.above, values) + self.above_constant, dot(self.below, values) + self.below_constant


def best_quotient(seek: Seeker, quotient: Quotient, *, most: bool, near: Fraction = Fraction(0),
                  enough: Fraction | None = None) -> Fraction | None:
    """The most (or least) that a quotient comes to.

    Parameters
    ----------
    seek : callable
    quotient : Quotient
    most : bool
    near : Fraction
        A value that no point betters, or that any point does: where to begin.
    enough : Fraction, optional
        More than this is not asked for.

    Returns
    -------
    Fraction or None
        `enough` where there is more, or no end; None where there is no point, or none with a denominator.
    """
    sign = 1 if most else -1
    best: Fraction | None = None
    for _ in range(MOST_QUOTIENTS):
        t = near if best is None else best
        values = seek(tuple(sign * (t * q - p) if p or q else p
                            for p, q in zip(quotient.above, quotient.below, strict=True)))
        if values is None:
            return best
        above, below = quotient.parts(values)
        if below <= NIL and best is None and not (most and above > NIL):
            values = seek(tuple(-q for q in quotient.below))  # the emptiest has no quotient: begin with the fullest
            if values is None:
                return None
            above, below = quotient.parts(values)
        if below <= NIL:
            return enough if most and above > NIL else best
        if best is not None and sign * (above / below - best) <= 0:
            return best
        best = above / below
        if enough is not None and best >= enough:
            return enough
    return best
