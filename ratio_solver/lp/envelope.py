"""The lowest of several parametric answers: one for every way to set the stepped variables."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise, product

from ratio_solver.errors import NotProven
from ratio_solver.lp.model import LinearModel
from ratio_solver.lp.parametric import Piece

MOST_WAYS = 64
"""Ways to choose that a curve is drawn through; each takes some tenths of a second."""

MOST_TRIED = 4096
"""Ways to choose that are looked at for those that allow the most."""

TOO_MANY = f"there are {{}} ways to choose, and a curve is drawn through {MOST_WAYS} at most: choose from fewer"

DIGITS = 30
"""Decimals of a crossing of two pieces where it is no rational number."""


@dataclass(frozen=True)
class Stretch:
    """A piece as far as it is the lowest."""

    piece: Piece
    low: Fraction
    high: Fraction


def ways(model: LinearModel) -> tuple[LinearModel, ...]:
    """The model with its 0-or-1 variables fixed, in every way that allows as much as any other.

    A 1 only ever loosens the rows other than those over these variables alone, so a way that another
    allows and more is left out. A model without such variables is its own only way.
    """
    places = [j for j, variable in enumerate(model.variables) if variable.step is not None]
    if not places:
        return (model,)
    ranges = [range(int(model.variables[j].lower), int(model.variables[j].upper) + 1) for j in places]
    if math.prod(map(len, ranges)) > MOST_TRIED:
        raise NotProven(TOO_MANY.format("far too many"))
    rows = [row for row in model.rows
            if all(not a or j in places for j, a in enumerate(row.coefficients)) and any(row.coefficients)]

    def allowed(chosen: tuple[int, ...]) -> bool:
        values = dict(zip(places, map(Fraction, chosen), strict=True))
        return all(row.over(tuple(values.get(j, Fraction(0)) for j in range(len(model.variables)))) >= 0
                   for row in rows)

    found = [chosen for chosen in product(*ranges) if allowed(chosen)]
    known = set(found)
    most = [chosen for chosen in found
            if not any(value < ranges[k][-1] and (*chosen[:k], value + 1, *chosen[k + 1:]) in known
                       for k, value in enumerate(chosen))]
    if len(most) > MOST_WAYS:
        raise NotProven(TOO_MANY.format(len(most)))
    return tuple(model.with_bounds({j: (Fraction(value),) * 2 for j, value in zip(places, chosen, strict=True)})
                 for chosen in most)


def lowest(traces: Sequence[Sequence[Piece]]) -> tuple[Stretch, ...]:
    """The lowest of several answers at every t, each given in rising pieces over its own range from 0."""
    pieces = [piece for one in traces for piece in one]
    cuts = sorted({end for piece in pieces for end in (piece.low, piece.high)})
    found: list[Stretch] = []
    for start, end in pairwise(cuts):
        over = [piece for piece in pieces if piece.low <= start and end <= piece.high]
        inner = sorted({start, end, *(t for k, one in enumerate(over) for other in over[:k]
                                      if _may_cross(one, other, start, end)
                                      for t in crossings(one, other) if start < t < end)})
        for low, high in pairwise(inner):
            if not over:
                continue
            middle = (low + high) / 2
            best = min(over, key=lambda piece, t=middle: (piece.cost_at(t), piece.tie_at(t)))  # type: ignore[misc]
            if found and found[-1].piece is best and found[-1].high == low:
                found[-1] = Stretch(best, found[-1].low, high)
            else:
                found.append(Stretch(best, low, high))
    return tuple(found)


def _may_cross(one: Piece, other: Piece, start: Fraction, end: Fraction) -> bool:
    """Whether doubles allow of a crossing in the interval; only then is it worth an exact look."""
    p, q, r, s = map(float, one.formula)
    p2, q2, r2, s2 = map(float, other.formula)
    terms = ((p * r2, -p2 * r), (p * s2, q * r2, -p2 * s, -q2 * r), (q * s2, -q2 * s))
    c, b, a = (sum(parts) for parts in terms)
    noise = [1e-9 * sum(map(abs, parts)) for parts in terms]
    low, high = float(start), float(end)
    middle = (a * low * high + b * (low + high) / 2 + c)  # the third control point: the curve lies in their hull
    ends = [a * t * t + b * t + c for t in (low, high)]
    slack = noise[2] * high * high + noise[1] * high + noise[0]
    return min(*ends, middle) <= slack and max(*ends, middle) >= -slack


def crossings(one: Piece, other: Piece) -> Iterator[Fraction]:
    """Where two pieces cost the same: roots of (p + q t)(r' + s' t) = (p' + q' t)(r + s t)."""
    (p, q, r, s), (p2, q2, r2, s2) = one.formula, other.formula
    a, b, c = q * s2 - q2 * s, p * s2 + q * r2 - p2 * s - q2 * r, p * r2 - p2 * r
    if not a:
        if b:
            yield -c / b
        return
    square = b * b - 4 * a * c
    if square >= 0:
        root = _root(square)
        yield from ((-b + root) / (2 * a), (-b - root) / (2 * a))


def _root(value: Fraction) -> Fraction:
    """Square root, exact where it is rational, else to `DIGITS` decimals."""
    above, below = math.isqrt(value.numerator), math.isqrt(value.denominator)
    if above * above == value.numerator and below * below == value.denominator:
        return Fraction(above, below)
    scale = 10 ** (2 * DIGITS)
    return Fraction(math.isqrt(value.numerator * scale // value.denominator), 10**DIGITS)
