"""The very vertex that a solver's doubles stand for, in exact rational arithmetic.

A solver names the best answer by what is tight there: rows with a price, variables held at a bound. These
alone determine the vertex, so it is computed again from them, without rounding. The digits then do not depend
on the path by which the solver came there, or on how the model was written down for it.

The multipliers follow in the same way: with F the variables strictly between their bounds and T the tight rows,
``sum_T y_r a_rj = c_j`` for every j in F. Where this leaves a row's multiplier open (a degenerate vertex), the
solver's own is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.exact import ZERO, Vector
from ratio_solver.lp.model import Floats, LinearModel
from ratio_solver.lp.solve import Solution

NEAR = 1e-6
"""How far (relative, at least of 1) the vertex may be from the solver's doubles and still be the same one."""


def polished(model: LinearModel, found: Solution) -> tuple[Vector, Solution]:
    """Exact values of the variables, and the solution with the multipliers that belong to them.

    Where what is tight does not determine a vertex that keeps the model, the solver's doubles are kept as they are.
    """
    doubles = tuple(Fraction(value) for value in found.values.tolist())
    values = _vertex(model, found)
    if values is None or not _kept(model, values, found.values):
        return doubles, found
    prices = found.row_prices.copy()
    for row, price in exact_prices(model, values).items():
        prices[row] = float(price)
    return values, replace(found, row_prices=prices)


def _vertex(model: LinearModel, found: Solution) -> Vector | None:
    face = found.face
    if face is None:
        return None
    at_upper = (face.lower == face.upper) & (face.lower == model.arrays.upper)
    held = {
        place: variable.upper if at_upper[place] else variable.lower
        for place, variable in enumerate(model.variables) if face.lower[place] == face.upper[place]
    }
    free = [place for place in range(len(model.variables)) if place not in held]
    equations = []
    for row, tight in zip(model.rows, face.tight, strict=True):
        if tight or row.sense == "==":
            rest = sum((a * held[j] for j, a in enumerate(row.coefficients) if a and j in held), ZERO)
            equations.append([*(row.coefficients[j] for j in free), row.bound - rest])
    solved = solve_exactly(equations, len(free))
    if solved is None or any(value is None for value in solved):
        return None
    moving = iter([value for value in solved if value is not None])
    return tuple(held[j] if j in held else next(moving) for j in range(len(model.variables)))


def _kept(model: LinearModel, values: Vector, doubles: Floats) -> bool:
    near = all(
        abs(float(value) - double) <= NEAR * max(1.0, abs(double))
        for value, double in zip(values, doubles.tolist(), strict=True)
    )
    inside = near and all(v.lower <= x <= v.upper for v, x in zip(model.variables, values, strict=True))
    return inside and all(row.over(values) >= 0 for row in model.rows)


def exact_prices(model: LinearModel, values: Vector) -> dict[int, Fraction]:
    """Multipliers of the first cost by row, where the vertex determines them; 0 for rows that are not tight."""
    tight = [place for place, row in enumerate(model.rows) if row.over(values) == 0]
    free = [j for j, v in enumerate(model.variables) if v.lower < values[j] < v.upper]
    equations = [[*(model.rows[place].coefficients[j] for place in tight), model.costs[0][j]] for j in free]
    solved = solve_exactly(equations, len(tight))
    prices = {place: ZERO for place in range(len(model.rows)) if place not in tight}
    for place, price in zip(tight, solved or (), strict=False):
        wrong = price is not None and ((price < 0 and model.rows[place].sense == ">=")
                                       or (price > 0 and model.rows[place].sense == "<="))
        if price is not None and not wrong:
            prices[place] = price
    return prices


def solve_exactly(equations: Sequence[Sequence[Fraction]], count: int) -> tuple[Fraction | None, ...] | None:
    """Gauss-Jordan elimination in rationals.

    Parameters
    ----------
    equations : sequence of rows
        Each the `count` coefficients and then the right-hand side.

    Returns
    -------
    tuple or None
        Per unknown its value, or None where the equations leave it open; None where they contradict each other.
    """
    rows = [list(row) for row in equations]
    pivots: dict[int, int] = {}
    top = 0
    for column in range(count):
        pivot = next((k for k in range(top, len(rows)) if rows[k][column]), None)
        if pivot is None:
            continue
        rows[top], rows[pivot] = rows[pivot], rows[top]
        lead = rows[top][column]
        rows[top] = [a / lead if a else a for a in rows[top]]
        used = [(j, a) for j, a in enumerate(rows[top]) if a]
        for k, row in enumerate(rows):
            factor = row[column]
            if k != top and factor:
                for j, a in used:
                    row[j] -= factor * a
        pivots[column] = top
        top += 1
    if any(row[count] for row in rows[top:]):
        return None
    return tuple(
        rows[pivots[column]][count]
        if column in pivots and not any(rows[pivots[column]][j] for j in range(count) if j != column) else None
        for column in range(count)
    )
