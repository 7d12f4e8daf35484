"""How far the parameter of a model can go, exactly."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from ratio_solver.errors import NotProven
from ratio_solver.exact import ZERO, Vector, dot
from ratio_solver.lp.feasibility import has_point
from ratio_solver.lp.model import LinearModel, Row
from ratio_solver.lp.parametric import Moving, pieces_at
from ratio_solver.lp.solve import Infeasible, solve_lp


def highest(model: LinearModel, moving: Moving, most: Fraction) -> Fraction | None:
    """The highest t, up to `most`, for which the model has an answer; None where it has none at 0.

    The moving row is a >= row whose left side over the right, ``(a0 x - b0) / (a1 x - b1)``, is to be as
    great as can be; the denominator is nowhere negative. Dinkelbach (1967): with t in hand maximise
    ``(a0 x - b0) - t (a1 x - b1)`` and take the quotient of the answer, until the maximum is nil. Each
    answer is proved best in rationals, so the last t is exact.

    Raises
    ------
    NotProven
        Where an answer cannot be proved best.
    """
    row = model.rows[moving.row]
    free = model.without_rows(frozenset({moving.row}))
    t = ZERO
    while t < most:
        cost = tuple(t * r - a for a, r in zip(row.coefficients, moving.rate, strict=True))
        point = best_point(replace(free, costs=(cost, (ZERO,) * len(cost))))
        if point is None:
            return None
        above = dot(row.coefficients, point) - row.bound
        below = dot(moving.rate, point) - moving.bound_rate
        if above - t * below <= 0:
            return t if above - t * below == 0 else None
        t = min(most, above / below) if below > 0 else most
    return most


def best_point(model: LinearModel) -> Vector | None:
    """An answer of the model that is proved best, exact; None where it is proven to have none. Raises NotProven."""
    nothing = Moving(len(model.rows), (ZERO,) * len(model.variables), ZERO)
    with_nothing = replace(model, rows=(*model.rows, Row("nothing", nothing.rate, ">=", ZERO)))
    piece = next(pieces_at(with_nothing, nothing, ZERO), None)
    if piece is not None:
        return piece.values
    if isinstance(solve_lp(model), Infeasible) and has_point(model) is False:
        return None
    raise NotProven("no answer could be proved best")
