"""How the best answer of a linear model changes while one of its rows or bounds moves; it knows no food.

    z(t) = minimise   c1 . x, then c2 . x ...
           subject to the rows and bounds of the model, one of which is, at the parameter t,
                      (a0 - t a1) . x   >=, <= or ==   b0 - t b1

Within one basis everything follows from the answer x^ at one t^. With tau = t - t^, s_i the slacks of what is tight,
r what moves, h the change of x with s_r, and a1 . x - b1 = g + sum_i k_i s_i in the scale of s_r,

    x(t) = x^ + s h,          s = tau g / (1 - tau k_r)                       (Sherman and Morrison, 1950)
    y_i(t) = y^_i + q k_i,    q = tau y^_r / (1 - tau k_r)                    (multipliers and reduced costs)

so every row that is not tight and every multiplier is linear in s or q, and the t at which the next one changes its
sign is a rational number: the ends of the interval over which a basis is best, its critical region, are exact. The
walk goes from region to region, each found from the one before by a few pivots. It gives the pieces of a curve, and
the price of a bound: the slope of z at its end, to either side (Gal 1979), and how far the cost keeps its formula.
Where several points are best, the region beside t takes the one with the divisor that makes the slope least (Mills
1956).

References
----------
Gal T, Postoptimal Analyses, Parametric Programming and Related Topics, McGraw-Hill, 1979.
Mills HD, Marginal values of matrix games and linear programs, in: Linear Inequalities and Related Systems,
Princeton, 1956. (Both from memory.)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import zip_longest

from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, Vector
from ratio_solver.lp.basis import CONSTANT, Basis
from ratio_solver.lp.model import LinearModel, Mark, Slack, in_whole_numbers
from ratio_solver.lp.simplex import best_basis, best_end, least_quotient, starting_basis

STEP = Fraction(1, 10**9)
"""How far beyond the end of a region the next is looked for (relative): where there is no answer, there is none."""

OF_ITSELF = -ONE
"""Rate of a bound that is the parameter, counted from where it is."""

Span = tuple[Fraction | None, Fraction | None]
"""From, to; None is without end."""


@dataclass(frozen=True)
class Moving:
    """What moves: at t it is ``(coefficients - t rate) . x  sense  bound - t bound_rate``.

    Attributes
    ----------
    mark : Mark
    rate : tuple of Fraction, one per variable, or none
    bound_rate : Fraction
    """

    mark: Mark
    rate: Vector = ()
    bound_rate: Fraction = OF_ITSELF

    def at(self, model: LinearModel, t: Fraction) -> LinearModel:
        """The model as it is at t; the model itself is that at t = 0."""
        kind, place = self.mark
        if kind != "row":
            ends, moved = model.variables[place], t * self.bound_rate
            return model.with_bounds({place: (ends.lower - moved, ends.upper) if kind == "lower" else
                                      (ends.lower, ends.upper - moved)})
        row = model.rows[place]
        coefficients = tuple(a - t * r if r else a
                             for a, r in zip_longest(row.coefficients, self.rate, fillvalue=ZERO))
        return model.with_row(place, replace(row, coefficients=coefficients, bound=row.bound - t * self.bound_rate))

    @cached_property
    def slack(self) -> Slack:
        """``a1 . x - b1`` in whole numbers."""
        return in_whole_numbers(self.rate, self.bound_rate)


@dataclass(frozen=True)
class Region:
    """A critical region: the answer between two ends, from one basis.

    Attributes
    ----------
    low, high : Fraction or None
        The parameter's interval; None is without end.
    origin : Fraction
        t^ of the formulas at the head of this module.
    basis : Basis
        At the origin.
    mark : Mark
        What moves.
    gain, curl : Fraction
        g and k_r; nil where what moves is not tight.
    turn : Span
        The interval over which no multiplier changes its sign; the region may end before.
    """

    low: Fraction | None
    high: Fraction | None
    origin: Fraction
    basis: Basis
    mark: Mark
    gain: Fraction
    curl: Fraction
    turn: Span

    def along(self, t: Fraction) -> Fraction:
        """s of the formulas."""
        tau = t - self.origin
        return tau * self.gain / (1 - tau * self.curl)

    def end(self, way: int) -> Fraction | None:
        """The end upward (1) or downward (-1)."""
        return self.high if way > 0 else self.low

    @cached_property
    def direction(self) -> Vector:
        """h of the formulas."""
        return tuple(Fraction(terms.get(self.mark, 0), unit) for terms, unit in self.basis.forms)

    def values_at(self, t: Fraction) -> Vector:
        """The answer at t."""
        s = self.along(t)
        return tuple(x + s * h if h else x for x, h in zip(self.basis.point, self.direction, strict=True))

    def _cost(self, place: int) -> tuple[Fraction, Fraction]:
        """A cost at the origin, and its change with s."""
        cost = self.basis.model.whole_costs[place]
        terms, unit = self.basis.cost_form(cost)
        return self.basis.value(cost), Fraction(terms.get(self.mark, 0), unit * cost.unit)

    def costs_at(self, t: Fraction) -> list[Fraction]:
        """The least of each cost at t among the answers that are best by those before it."""
        s = self.along(t)
        return [cost + s * slope for cost, slope in map(self._cost, range(len(self.basis.model.costs)))]

    @cached_property
    def formula(self) -> tuple[Fraction, Fraction, Fraction, Fraction]:
        """p, q, r, s of ``c1 . x = (p + q t) / (r + s t)``."""
        cost, slope = self._cost(0)
        turned, base = slope * self.gain, 1 + self.origin * self.curl
        return cost * base - turned * self.origin, turned - cost * self.curl, base, -self.curl

    @property
    def rises(self) -> bool:
        """Whether the first cost changes with t."""
        return bool(self.gain and self._cost(0)[1])

    def is_like(self, other: Region) -> bool:
        """Whether the first cost has one formula in both."""
        (p, q, r, s), (p2, q2, r2, s2) = self.formula, other.formula
        return p * r2 == p2 * r and q * s2 == q2 * s and p * s2 + q * r2 == p2 * s + q2 * r

    @cached_property
    def tight(self) -> frozenset[Mark]:
        """Rows and bounds that are tight all along, by the basis or because they follow from it."""
        basis, changing = self.basis, {mark for mark, _, _ in self.basis.margins(self.mark)[1]}
        point, unit = basis.whole_point
        return basis.tight | {
            mark for mark, (entries, constant, _) in basis.model.slacks.items()
            if mark not in changing and mark != self.mark
            and not constant * unit + sum([a * point[j] for j, a in entries])}


def region_of(basis: Basis, moving: Moving, t: Fraction, costs: Sequence[Slack]) -> Region:
    """The critical region around t of a basis that is best there."""
    mark, slack = moving.mark, moving.slack
    terms, unit = basis.form(slack.entries, slack.constant)
    scale = Fraction(basis.model.slacks[mark].unit, slack.unit * unit)
    gain, prices = scale * terms.pop(CONSTANT), basis.prices(costs)
    turn: Span = (None, None)
    if mark.kind != "row" and any(basis.falls(Mark(at, mark.place), prices) for at in ("lower", "upper")):
        turn = ZERO, ZERO  # the variable has no choice here, and has one beside it
    if mark not in basis.tight:
        span, gain, curl = _kept_span(basis.over(mark), -gain), ZERO, ZERO
    else:
        curl = scale * terms.get(mark, 0)
        factor, margins = basis.margins(mark)
        span = _tau_span(_span_around((margin, rate, other) for other, margin, rate in margins), factor, gain, curl)
        if curl:  # the basis itself ends where 1 - tau k = 0
            span = _both(span, (None, ONE / curl) if curl > 0 else (ONE / curl, None))
        others, side = terms.keys() - basis.model.firm, 1 if scale > 0 else -1
        for price in prices:  # where one is nil all along, the next cost decides
            rise = price.get(mark, 0)
            decided = {other for other in others if price.get(other) or (rise and terms[other])}
            ends = _span_around((price.get(other, 0), side * terms[other], other) for other in decided)
            turn = _both(turn, _tau_span(ends, 1 / abs(scale), Fraction(rise), curl))
            others -= decided
    low, high, *turned = (None if tau is None else t + tau for tau in (*_both(span, turn), *turn))
    return Region(low, high, t, basis, mark, gain, curl, (turned[0], turned[1]))


def _kept_span(margin: Fraction, change: Fraction) -> Span:
    """The x over which ``margin + change x >= 0``, for a margin of 0 or more."""
    if not change:
        return None, None
    end = -margin / change
    return (end, None) if change > 0 else (None, end)


def _span_around(margins: Iterable[tuple[int, int, Mark]]) -> Span:
    """The x over which every ``margin + rate x >= 0``, for margins of 0 or more and rates other than 0."""
    pairs = list(margins)
    low = least_quotient((margin, rate, mark) for margin, rate, mark in pairs if rate > 0)
    high = least_quotient((margin, -rate, mark) for margin, rate, mark in pairs if rate < 0)
    return low and -low[0], high and high[0]


def _tau_span(span: Span, factor: Fraction, rise: Fraction, curl: Fraction) -> Span:
    """The tau for which ``tau rise / (1 - tau curl)`` lies in a span around 0, on this side of the pole.

    The span is in units of the factor.
    """
    if not rise:
        return None, None
    ends, rate = list[Fraction | None](), rise / factor
    for end in span:
        below = None if end is None else rate + curl * end
        ends.append(end / below if end is not None and below and (below > 0) == (rise > 0) else None)
    return (ends[0], ends[1]) if rise > 0 else (ends[1], ends[0])


def _both(one: Span, other: Span) -> Span:
    lows = [low for low in (one[0], other[0]) if low is not None]
    highs = [high for high in (one[1], other[1]) if high is not None]
    return max(lows, default=None), min(highs, default=None)


def walk(model: LinearModel, moving: Moving, region: Region, way: int, costs: Sequence[Slack]) -> Iterator[Region]:
    """Critical regions one after the other, upward (1) or downward (-1), to where there is no answer.

    Parameters
    ----------
    model : LinearModel
        At the parameter 0.
    region : Region
        Where to begin; it is the first, unless it is best at its origin alone.
    """
    end = region.end(way)
    if end != region.origin:
        yield region
    while end is not None:
        following = _next_region(model, region.basis, moving, end, way, costs)
        if following is None:
            return
        region, end = following, following.end(way)
        yield region


def _next_region(model: LinearModel, basis: Basis, moving: Moving, end: Fraction, way: int,
                 costs: Sequence[Slack]) -> Region | None:
    """The region on the far side of the end of another; None where there is no answer beyond."""
    t = _few_digits(end + way * STEP * max(ONE, abs(end)))
    while True:
        here = moving.at(model, t)
        best = best_basis(basis.under(here), costs)
        if best is None:
            return None
        region = region_of(best, moving, t, costs)
        near = region.end(-way)
        if near is None or way * (near - end) <= 0:
            return region
        t = (end + near) / 2  # another lies between


def _few_digits(value: Fraction) -> Fraction:
    """A number with few digits near the value, as near as the step asks for: long ones are slow."""
    return Fraction(round(value * 100 / STEP), round(100 / STEP))


def trace(model: LinearModel, moving: Moving, low: Fraction, high: Fraction) -> tuple[Region, ...]:
    """The answer for every t from `low` to `high`, in pieces; neighbours differ in what is tight.

    Parameters
    ----------
    model : LinearModel
        At the parameter 0; steps are left out. Feasible all over the range.
    moving : Moving
    low, high : Fraction
        With low <= high; a range without width has no pieces.

    Raises
    ------
    NotProven
        Where an answer is missing somewhere in the range.
    """
    start, costs, found, reached = moving.at(model, low), model.whole_costs, list[Region](), low
    basis = best_basis(starting_basis(start), costs) if low < high else None
    for region in () if basis is None else walk(model, moving, region_of(basis, moving, low, costs), 1, costs):
        inside = replace(region, low=reached, high=high if region.high is None else min(high, region.high))
        if found and found[-1].tight == inside.tight:
            inside = replace(found.pop(), high=inside.high)
        found.append(inside)
        reached = inside.high or high
        if reached >= high:
            break
    if reached < high:
        raise NotProven(f"no answer between {float(reached):.9g} and {float(high):.9g} could be proved best")
    return tuple(found)


@dataclass(frozen=True)
class SidePrice:
    """What moving a bound to one side does.

    Attributes
    ----------
    price : Fraction
        Change of the cost for one more unit of the bound, at the bound.
    until : Fraction or None
        By how much the bound can move before the cost has another formula; None is without end.
    bend : Fraction
        The cost changes by ``price step / (1 - bend step)``.
    """

    price: Fraction
    until: Fraction | None
    bend: Fraction


def sides(basis: Basis, moving: Moving) -> tuple[SidePrice | None, SidePrice | None]:
    """What moving a bound up and down does to the first cost; None to a side where there is no answer.

    Parameters
    ----------
    basis : Basis
        Best for the first cost.
    moving : Moving
        The bound itself is the parameter, counted from where it is.
    """
    costs = basis.model.whole_costs[:1]
    idle = _idle_sides(basis, moving)
    if idle is not None:
        return idle
    here = region_of(basis, moving, ZERO, costs)
    priced = here.low == here.high or (moving.mark in basis.tight and basis.prices(costs)[0].get(moving.mark))
    looser = -1 if basis.model.slacks[moving.mark].unit > 0 else 1
    more, less = (_side(here, moving, way, costs) if priced or way != looser else SidePrice(ZERO, None, ZERO)
                  for way in (1, -1))
    return more, less


def _idle_sides(basis: Basis, moving: Moving) -> tuple[SidePrice | None, SidePrice | None] | None:
    """The sides of a variable's bound that the best points need not reach; else None.

    The cost stays as it is until the bound comes to the last of them, and to the other side without end.
    """
    kind, place = moving.mark
    if (kind == "row" or moving.rate or moving.bound_rate != OF_ITSELF or moving.mark in basis.tight
            or moving.mark in basis.model.firm):
        return None
    off = best_end(basis, place, -1 if kind == "lower" else 1) - getattr(basis.model.variables[place], kind)
    if not off:
        return None
    near, far = SidePrice(ZERO, off, ZERO), SidePrice(ZERO, None, ZERO)
    return (near, far) if kind == "lower" else (far, near)


def _side(here: Region, moving: Moving, way: int, costs: Sequence[Slack]) -> SidePrice | None:
    first, end = None, None
    for region in walk(here.basis.model, moving, here, way, costs):
        if first is not None and not region.is_like(first):
            break
        first, end = first or region, region.end(way)
        if not region.basis.idle and (end is None or end != region.turn[way > 0]):
            break  # the row or bound in the way has a price of its own
    if first is None:
        return None
    if not first.rises:
        return SidePrice(ZERO, end, ZERO)
    p, q, r, s = first.formula
    return SidePrice((q * r - p * s) / (r * r), end, -s / r)
