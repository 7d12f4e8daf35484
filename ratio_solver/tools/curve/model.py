"""A curve of a dish as data: its pieces, its breakpoints and the recipe's own point."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import Vector
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.lp.envelope import LowestRegion
from ratio_solver.recipe.model import Recipe
from ratio_solver.tools.curve.drawing import Formula


@dataclass(frozen=True)
class CurvePiece:
    """A curve between two breakpoints, ``y = (p + q x) / (r + s x)``.

    Attributes
    ----------
    start, end : Fraction
        x, in the unit of the curve's axis.
    formula : tuple of Fraction, four
        p, q, r, s.
    binding : tuple of str
        Names of the limits that bind all along it, the one drawn against left out.
    at_start : tuple of str
        Labels of ingredients that stay at their start, within their bounds.
    stretch : LowestRegion
        The proven piece of the parametric model behind it.
    """

    start: Fraction
    end: Fraction
    formula: Formula
    binding: tuple[str, ...]
    at_start: tuple[str, ...]
    stretch: LowestRegion

    def at(self, x: Fraction) -> Fraction:
        """y at x."""
        p, q, r, s = self.formula
        return (p + q * x) / (r + s * x)


@dataclass(frozen=True)
class Point:
    """An end of a curve or a breakpoint.

    Attributes
    ----------
    x, y : Fraction
    binds, frees : tuple of str
        Limits that start to bind here as x rises, and those that no longer do.
    leaves, returns : tuple of str
        Ingredients that start to move away from their start, and those that are back at it.
    passes : tuple of str
        Ingredients that pass their start: from here each gram counts the other way.
    weights : tuple of Fraction
        Of all ingredients at this point, g for the batch.
    """

    x: Fraction
    y: Fraction
    binds: tuple[str, ...]
    frees: tuple[str, ...]
    leaves: tuple[str, ...]
    returns: tuple[str, ...]
    passes: tuple[str, ...]
    weights: Vector


@dataclass(frozen=True)
class Own:
    """The recipe's own targets on a curve's axes; y is None where x cannot be reached."""

    x: Fraction
    y: Fraction | None
    reachable: bool


@dataclass(frozen=True)
class Curve:
    """One curve.

    Attributes
    ----------
    of : {"net-carbs", "ratio"}
        Against the ceiling, g per serving: the highest ratio. Against the least ratio: the grams moved.
    pieces : tuple of CurvePiece
        Rising in x, without a gap; empty where nothing can be drawn.
    points : tuple of Point
        One more than there are pieces.
    own : Own or None
    endless : bool
        Whether the curve goes on above its last point.
    begun : bool
        Whether it comes from below its first point, which is where it was asked for from.
    """

    of: str
    pieces: tuple[CurvePiece, ...]
    points: tuple[Point, ...]
    own: Own | None
    endless: bool
    begun: bool = False

    def at(self, x: Fraction) -> Fraction | None:
        """y at x; None outside the curve."""
        return next((piece.at(x) for piece in self.pieces if piece.start <= x <= piece.end), None)


@dataclass(frozen=True)
class Curves:
    """The curves of a dish; `best_ratio` is None where no weights keep the other limits at all."""

    recipe: Recipe
    curves: tuple[Curve, ...]
    best_ratio: Fraction | None
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    guaranteed: Guaranteed = None
