"""Bounds of a linear model that may be moved, and what moving them does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratio_solver.lp.model import Floats

NEAR = 1e-6
"""Rows and bounds missed by less are tight, and a range that is shorter (relative to its bound) has no width."""


@dataclass(frozen=True)
class Quotient:
    """(above . x + above_constant) / (below . x + below_constant) over the variables."""

    above: Floats
    above_constant: float
    below: Floats
    below_constant: float

    @property
    def bent(self) -> bool:
        """Whether its divisor depends on the variables."""
        return bool(np.any(self.below))

    def divisor(self, values: Floats) -> float:
        """The denominator at a point."""
        return float(self.below @ values) + self.below_constant

    def at(self, values: Floats) -> float:
        """The quotient at a point."""
        return (float(self.above @ values) + self.above_constant) / self.divisor(values)


@dataclass(frozen=True)
class Knob:
    """A bound that may be moved: of a row on a quotient, or of one variable.

    Attributes
    ----------
    sense : {">=", "<="}
    bound : float
    value : Quotient
        What is bounded.
    row, variable : int or None
        Where the bound is in the model; one of the two.
    least : float
        The bound has no meaning below.
    """

    sense: str
    bound: float
    value: Quotient
    row: int | None = None
    variable: int | None = None
    least: float = -np.inf

    @property
    def width(self) -> float:
        """What counts as no way at all."""
        return NEAR * max(1.0, abs(self.bound))


@dataclass(frozen=True)
class Side:
    """What moving a bound to one side does.

    Attributes
    ----------
    price : float
        Change of the cost for one more unit of the bound, at the bound.
    until : float
        How far the same rows and bounds stay priced; infinite where that has no end.
    bend : float
        Of a quotient: its divisor d at a bound b' on the way is ``d(b) / (1 - bend (b' - b))``.
    """

    price: float
    until: float
    bend: float = 0.0

    def change(self, step: float) -> float:
        """Exact change of the cost when the bound moves by a step within the range."""
        return self.price * step / (1.0 - self.bend * step)


@dataclass(frozen=True)
class Sides:
    """Both sides of a bound; None where it cannot be moved there."""

    more: Side | None
    less: Side | None
