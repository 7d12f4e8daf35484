"""From any basis of a point to one that is proved best: the simplex method in rationals.

A solver's answer is best within its tolerance. Where two variables differ in the second cost by less than that,
the basis it stands on need not be best; from there the exact one is a pivot or two away. Of all that may enter,
and of all that may leave, the first is taken, which cannot go round in a circle (Bland RG, New finite pivoting rules
for the simplex method, Mathematics of Operations Research 2 (1977) 103-107).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import ZERO, Vector, dot
from ratio_solver.lp.basis import Basis, Mark
from ratio_solver.lp.model import LinearModel

MOST_PIVOTS = 200


@dataclass(frozen=True)
class _Entering:
    """A row or bound of the basis that is let go of, and how the point moves then."""

    mark: Mark
    move: Vector


def best_basis(basis: Basis, model: LinearModel) -> Basis | None:
    """The basis, or another reached from it, that is best for the first cost and among those for the second.

    Returns
    -------
    Basis or None
        None where the point of the basis does not keep every row and bound, or where this does not come to an end.
    """
    for _ in range(MOST_PIVOTS):
        point = basis.point(model)
        if point is None or any(margin < 0 for _, margin, _ in _margins(basis, model, point, point)):
            return None
        entering = _entering(basis, model)
        if entering is None:
            return basis
        following = _left(basis, model, point, entering)
        if following is None:
            return None
        basis = following
    return None


def _entering(basis: Basis, model: LinearModel) -> _Entering | None:
    """The first row or bound without which the costs fall, the second where the first stays; None where none is."""
    duals = basis.duals(model, model.costs[:2])
    for k, r in enumerate(basis.rows):
        sign = {">=": 1, "<=": -1, "==": 0}[model.rows[r].sense]
        if sign and _first([sign * y[k] for y in duals]) < 0:
            side = tuple(Fraction(sign) if place == k else ZERO for place in range(len(basis.rows)))
            return _Entering(Mark("row", r), basis.direction(model, side))
    for j in sorted(basis.held):
        variable = model.variables[j]
        if variable.lower == variable.upper:
            continue
        sign = 1 if basis.held[j] == "lower" else -1
        column = tuple(model.rows[r].coefficients[j] for r in basis.rows)
        reduced = [cost[j] - dot(y, column) for cost, y in zip(model.costs[:2], duals, strict=True)]
        if _first([sign * value for value in reduced]) < 0:
            move = list(basis.direction(model, tuple(-sign * a for a in column)))
            move[j] = Fraction(sign)
            return _Entering(Mark(basis.held[j], j), tuple(move))
    return None


def _first(values: Sequence[Fraction]) -> Fraction:
    """The first that is not nil."""
    return next((value for value in values if value), ZERO)


def _left(basis: Basis, model: LinearModel, point: Vector, entering: _Entering) -> Basis | None:
    """The basis after the move to the first row or bound in its way; None where nothing is."""
    stops = [(margin / -change, mark) for mark, margin, change in _margins(basis, model, point, entering.move)
             if change < 0]
    gone = entering.mark
    if gone.kind != "row":
        variable = model.variables[gone.place]
        other = Mark("upper" if gone.kind == "lower" else "lower", gone.place)
        stops.append((variable.upper - variable.lower, other))
    if not stops:
        return None
    way = min(step for step, _ in stops)
    return _swapped(basis, gone, min(mark for step, mark in stops if step == way))


def _margins(
    basis: Basis, model: LinearModel, point: Vector, move: Vector
) -> Iterator[tuple[Mark, Fraction, Fraction]]:
    """What each row and bound outside the basis leaves over, and how that changes with the move."""
    for j in basis.free:
        variable = model.variables[j]
        yield Mark("lower", j), point[j] - variable.lower, move[j]
        yield Mark("upper", j), variable.upper - point[j], -move[j]
    for k, row in enumerate(model.rows):
        if k not in basis.rows:
            change = dot(row.coefficients, move)
            margin = row.over(point)
            yield Mark("row", k), margin, -abs(change) if row.sense == "==" else \
                change if row.sense == ">=" else -change


def _swapped(basis: Basis, gone: Mark, come: Mark) -> Basis:
    """The basis with one row or bound in place of another."""
    rows, held = [r for r in basis.rows if gone != Mark("row", r)], dict(basis.held)
    if gone.kind != "row":
        del held[gone.place]
    if come.kind == "row":
        rows.append(come.place)
    else:
        held[come.place] = come.kind
    size = len(basis.held) + len(basis.free)
    return Basis(tuple(rows), held, tuple(j for j in range(size) if j not in held))
