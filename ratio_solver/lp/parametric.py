"""How the best answer of a linear model changes while one of its rows moves; it knows no food.

    z(t) = minimise   c1 . x, then c2 . x
           subject to the rows and bounds of the model, one of whose rows is, at the parameter t,
                      (a0 - t a1) . x   >=, <= or ==   b0 - t b1

Within one basis (the rows and bounds that determine x) everything follows from the answer x^ at one t^.
With tau = t - t^, B the basis at t^, h = B^-1 e_r for the moving row r, g = a1 . x^ - b1 and k = a1 . h,

    x(t) = x^ + s h,        s = tau g / (1 - tau k)                       (Sherman and Morrison, 1950)
    y(t) = y^ + q u,        q = tau y^_r / (1 - tau k),      u = B^-T a1
    d_j(t) = d^_j + q (a1_j - u . A_j)                                    (reduced costs)

so every row that is not tight and every reduced cost is linear in s or q, and the t at which the next one
changes sign is a rational number: breakpoints are exact. Bases are found by the solver in doubles, but
each is computed again and proved optimal over its whole interval in rationals (primal and dual feasible),
and the intervals must cover the range without a gap.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, Vector, dot
from ratio_solver.lp.basis import Basis, Mark, basis_at
from ratio_solver.lp.model import LinearModel, Row
from ratio_solver.lp.pivots import best_basis

NARROW = Fraction(1, 10**7)
"""A gap between two proven intervals that is narrower than this share of the range is closed."""
SAMPLES = tuple(Fraction(n, 1000) for n in (503, 387, 641, 211, 807, 97, 913, 29, 977))
"""Where in a gap to look for a basis: no round number, so that it is not a breakpoint."""
FAR = Fraction(10**9)
"""Stands for no end."""
Span = tuple[Fraction | None, Fraction | None]
"""From, to; None is without end."""


@dataclass(frozen=True)
class Moving:
    """The row of a model that moves: at t it is ``(coefficients - t rate) . x  sense  bound - t bound_rate``."""

    row: int
    rate: Vector
    bound_rate: Fraction

    def at(self, model: LinearModel, t: Fraction) -> LinearModel:
        """The model with the row where it is at t; the model itself has it at t = 0."""
        row = model.rows[self.row]
        coefficients = tuple(a - t * r for a, r in zip(row.coefficients, self.rate, strict=True))
        moved = replace(row, coefficients=coefficients, bound=row.bound - t * self.bound_rate)
        return replace(model, rows=tuple(moved if k == self.row else r for k, r in enumerate(model.rows)))


@dataclass(frozen=True)
class Piece:
    """The answer between two breakpoints.

    Attributes
    ----------
    low, high : Fraction
        The parameter's interval.
    tight : frozenset of Mark
        Rows and bounds that are tight all along it.
    origin : Fraction
        t^ of the formulas at the head of this module.
    values, direction : tuple of Fraction, one per variable
        x^ and h.
    gain, curl : Fraction
        g and k.
    cost, slope : Fraction
        c1 . x^ and c1 . h.
    tie, tie_slope : Fraction
        c2 . x^ and c2 . h.
    """

    low: Fraction
    high: Fraction
    tight: frozenset[Mark]
    origin: Fraction
    values: Vector
    direction: Vector
    gain: Fraction
    curl: Fraction
    cost: Fraction
    slope: Fraction
    tie: Fraction
    tie_slope: Fraction

    def along(self, t: Fraction) -> Fraction:
        """s of the formulas."""
        tau = t - self.origin
        return tau * self.gain / (1 - tau * self.curl)

    def values_at(self, t: Fraction) -> Vector:
        """The answer at t."""
        s = self.along(t)
        return tuple(x + s * h for x, h in zip(self.values, self.direction, strict=True))

    def cost_at(self, t: Fraction) -> Fraction:
        """The least c1 . x at t."""
        return self.cost + self.along(t) * self.slope

    def tie_at(self, t: Fraction) -> Fraction:
        """c2 . x at t, least among the answers that are best by the first cost."""
        return self.tie + self.along(t) * self.tie_slope

    @property
    def formula(self) -> tuple[Fraction, Fraction, Fraction, Fraction]:
        """p, q, r, s of ``cost = (p + q t) / (r + s t)``."""
        turned = self.slope * self.gain
        base = 1 + self.origin * self.curl
        return (self.cost * base - turned * self.origin, turned - self.cost * self.curl, base, -self.curl)


def trace(model: LinearModel, moving: Moving, low: Fraction, high: Fraction) -> tuple[Piece, ...]:
    """The answer for every t from `low` to `high`, in pieces; neighbours differ in what is tight.

    Parameters
    ----------
    model : LinearModel
        With two costs; steps are left out. Feasible all over the range.
    moving : Moving
    low, high : Fraction
        With low <= high; a range without width has no pieces.

    Raises
    ------
    NotProven
        Where no basis can be proved optimal somewhere in the range.
    """
    width = NARROW * (high - low)
    found: list[Piece] = []
    gaps = [(low, high)] if low < high else []
    while gaps:
        start, end = gaps.pop()
        piece = _piece_within(model, moving, start, end)
        if piece is None:
            if end - start <= width:
                continue
            raise NotProven(f"no answer between {float(start):.9g} and {float(end):.9g} could be proved best")
        inside = replace(piece, low=max(start, piece.low), high=min(end, piece.high))
        found.append(inside)
        gaps += [(a, b) for a, b in ((start, inside.low), (inside.high, end)) if a < b]
    return tuple(_joined(sorted(found, key=lambda piece: piece.low)))


def _joined(pieces: Sequence[Piece]) -> Iterator[Piece]:
    """Neighbours in which the same is tight are one piece; gaps too narrow to prove are closed."""
    last: Piece | None = None
    for piece in pieces:
        if last is None:
            last = piece
        elif last.tight == piece.tight:
            last = replace(last, high=piece.high)
        else:
            yield replace(last, high=piece.low)
            last = piece
    if last is not None:
        yield last


def _piece_within(model: LinearModel, moving: Moving, start: Fraction, end: Fraction) -> Piece | None:
    """A proven piece that has a part of its width in the gap."""
    for share in SAMPLES:
        t = _short(start + share * (end - start), end - start)
        for piece in pieces_at(model, moving, t):
            if max(start, piece.low) < min(end, piece.high):
                return piece
    return None


def pieces_at(model: LinearModel, moving: Moving, t: Fraction) -> Iterator[Piece]:
    """Proven pieces around t: from the bases that the solver stands on, then from those a few pivots away."""
    here = moving.at(model, t)
    unproven = []
    for basis in basis_at(here):
        piece = piece_of(basis, model, moving, t)
        if piece is None:
            unproven.append(basis)
        else:
            yield piece
    for basis in unproven:
        better = best_basis(basis, here)
        piece = None if better is None else piece_of(better, model, moving, t)
        if piece is not None:
            yield piece


def _short(value: Fraction, width: Fraction) -> Fraction:
    """A number with few digits near the value, as exact as the width asks for: long ones are slow."""
    digits = 4
    while Fraction(1, 10 ** (digits - 3)) > width and digits < 40:
        digits += 1
    return Fraction(round(value * 10**digits), 10**digits)


def piece_of(basis: Basis, model: LinearModel, moving: Moving, t: Fraction) -> Piece | None:
    """The interval around t over which a basis is proved optimal; None where it is not at t itself."""
    here = moving.at(model, t)
    point = basis.point(here)
    if point is None:
        return None
    place = basis.rows.index(moving.row) if moving.row in basis.rows else None
    h = basis.direction(here, tuple(ONE if k == place else ZERO for k in range(len(basis.rows))))
    u, *duals = basis.duals(here, [moving.rate, *here.costs[:2]])
    gain = dot(moving.rate, point) - moving.bound_rate
    curl = dot(moving.rate, h)
    primal = _primal_span(basis, here, moving, point, h)
    if primal is None:
        return None
    low, high = _tau_span(primal, gain, curl) if place is not None else (None, None)
    if place is None:
        still = _still_span(here.rows[moving.row], point, gain)
        if still is None:
            return None
        low, high = still
    dual = _dual_span(basis, here, moving, u, duals, place, curl)
    if dual is None:
        return None
    low, high = _both((low, high), dual)
    if curl and place is not None:  # the basis itself ends where 1 - tau k = 0
        low, high = _both((low, high), (None, ONE / curl) if curl > 0 else (ONE / curl, None))
    cost, tie = here.costs[:2]
    return Piece(t - FAR if low is None else t + low, t + FAR if high is None else t + high,
                 _tight(basis, here, moving, point, h), t, point, h,
                 gain if place is not None else ZERO, curl, dot(cost, point), dot(cost, h),
                 dot(tie, point), dot(tie, h))


def _primal_span(basis: Basis, here: LinearModel, moving: Moving, point: Vector, h: Vector) -> Span | None:
    """The s over which every row and bound that does not move is kept; None where one is not at s = 0."""
    span: Span = (None, None)
    for margin, change in _margins(basis, here, moving, point, h):
        if margin < 0:
            return None
        span = _both(span, _kept(margin, change))
    return span


def _margins(basis: Basis, here: LinearModel, moving: Moving, point: Vector,
             h: Vector) -> Iterator[tuple[Fraction, Fraction]]:
    """What each leaves over at s = 0, and how that changes with s."""
    for j in basis.free:
        variable = here.variables[j]
        yield point[j] - variable.lower, h[j]
        yield variable.upper - point[j], -h[j]
    for k, row in enumerate(here.rows):
        if k in basis.rows or k == moving.row:
            continue
        sign = -1 if row.sense == "<=" else 1
        over = sign * (dot(row.coefficients, point) - row.bound)
        change = sign * dot(row.coefficients, h)
        yield (-abs(over), -abs(change)) if row.sense == "==" else (over, change)


def _still_span(row: Row, point: Vector, gain: Fraction) -> Span | None:
    """The tau over which the moving row is kept by an answer that it does not determine."""
    sign = -1 if row.sense == "<=" else 1
    margin = sign * (dot(row.coefficients, point) - row.bound)
    return None if margin < 0 else _kept(margin, -sign * gain)


def _dual_span(basis: Basis, here: LinearModel, moving: Moving, u: Vector, duals: Sequence[Vector],
               place: int | None, curl: Fraction) -> Span | None:
    """The tau over which no price and no reduced cost has the wrong sign, the second cost where the first is nil."""
    rises = [y[place] if place is not None else ZERO for y in duals]
    span: Span = (None, None)
    for sign, firsts, change in _signed(basis, here, moving, u, duals, place):
        for first, rise in zip(firsts, rises, strict=True):
            if not first and (not change or not rise):
                continue  # nil all along: the next cost decides
            if sign * first < 0:
                return None
            span = _both(span, _tau_span(_kept(sign * first, sign * change), rise, curl))
            break
    return span


def _signed(basis: Basis, here: LinearModel, moving: Moving, u: Vector, duals: Sequence[Vector],
            place: int | None) -> Iterator[tuple[int, list[Fraction], Fraction]]:
    """Sign wanted, value for each cost and change with q, of each price and reduced cost."""
    for k, r in enumerate(basis.rows):
        sense = here.rows[r].sense
        if sense != "==":
            yield (1 if sense == ">=" else -1), [y[k] for y in duals], u[k]
    for j, at in basis.held.items():
        variable = here.variables[j]
        if variable.lower == variable.upper:
            continue
        column = [here.rows[r].coefficients[j] for r in basis.rows]
        reduced = [cost[j] - dot(y, column) for cost, y in zip(here.costs[:2], duals, strict=True)]
        rate = moving.rate[j] if place is not None else ZERO
        yield (1 if at == "lower" else -1), reduced, rate - dot(u, column)


def _tight(basis: Basis, here: LinearModel, moving: Moving, point: Vector, h: Vector) -> frozenset[Mark]:
    """Rows and bounds that are tight all along the piece, by the basis or because they follow from it."""
    marks = {Mark("row", r) for r in basis.rows} | {Mark(at, j) for j, at in basis.held.items()}
    for k, row in enumerate(here.rows):
        if k not in basis.rows and k != moving.row and dot(row.coefficients, point) == row.bound \
                and not dot(row.coefficients, h):
            marks.add(Mark("row", k))
    for j, variable in enumerate(here.variables):
        if not h[j]:
            marks |= {Mark("lower", j)} if point[j] == variable.lower else set()
            marks |= {Mark("upper", j)} if point[j] == variable.upper else set()
    return frozenset(marks)


def _kept(margin: Fraction, change: Fraction) -> Span:
    """The x over which ``margin + change x >= 0``, for a margin of 0 or more."""
    if not change:
        return None, None
    end = -margin / change
    return (end, None) if change > 0 else (None, end)


def _tau_span(span: Span, rise: Fraction, curl: Fraction) -> Span:
    """The tau for which ``tau rise / (1 - tau curl)`` lies in a span around 0, on this side of the pole."""
    if not rise:
        return None, None
    ends = [None if end is None or rise * (rise + curl * end) <= 0 else end / (rise + curl * end) for end in span]
    return (ends[0], ends[1]) if rise > 0 else (ends[1], ends[0])


def _both(one: Span, other: Span) -> Span:
    lows = [low for low in (one[0], other[0]) if low is not None]
    highs = [high for high in (one[1], other[1]) if high is not None]
    return max(lows, default=None), min(highs, default=None)
