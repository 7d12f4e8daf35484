"""The lowest of several parametric answers, one for every way to set the stepped variables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from ratio_solver.exact import square_root
from ratio_solver.lp.parametric import Region

CROSSING_DECIMALS = 30
"""Decimals of a crossing of two pieces where it is no rational number."""

MAY_CROSS = 1e-9
"""Rounding of a difference of two pieces in doubles, relative to its terms, at most: what is nearer is looked at."""


@dataclass(frozen=True)
class LowestRegion:
    """A critical region as far as it is the lowest."""

    region: Region
    low: Fraction
    high: Fraction


def lowest(traces: Sequence[Sequence[Region]]) -> tuple[LowestRegion, ...]:
    """The lowest of several answers at every t, each given in rising regions over its own range."""
    regions = [(region, region.low or Fraction(0), region.high or Fraction(0)) for one in traces for region in one]
    cuts = sorted({end for _, *ends in regions for end in ends})
    found: list[LowestRegion] = []
    for start, end in pairwise(cuts):
        over = [region for region, low, high in regions if low <= start and end <= high]
        inner = sorted({start, end, *(t for k, one in enumerate(over) for other in over[:k]
                                      if _may_cross(one, other, start, end)
                                      for t in crossings(one, other) if start < t < end)})
        for low, high in pairwise(inner if over else ()):
            middle = (low + high) / 2
            best = min(over, key=lambda region, t=middle: region.costs_at(t))  # type: ignore[misc]
            if found and found[-1].region is best and found[-1].high == low:
                low = found.pop().low
            found.append(LowestRegion(best, low, high))
    return tuple(found)


def _may_cross(one: Region, other: Region, start: Fraction, end: Fraction) -> bool:
    """Whether doubles allow of a crossing in the interval; only then is it worth an exact look."""
    p, q, r, s = map(float, one.formula)
    p2, q2, r2, s2 = map(float, other.formula)
    terms = ((p * r2, -p2 * r), (p * s2, q * r2, -p2 * s, -q2 * r), (q * s2, -q2 * s))
    c, b, a = (sum(parts) for parts in terms)
    noise = [MAY_CROSS * sum(map(abs, parts)) for parts in terms]
    low, high = float(start), float(end)
    middle = (a * low * high + b * (low + high) / 2 + c)  # the third control point: the curve lies in their hull
    ends = [a * t * t + b * t + c for t in (low, high)]
    slack = noise[2] * high * high + noise[1] * high + noise[0]
    return min(*ends, middle) <= slack and max(*ends, middle) >= -slack


def crossings(one: Region, other: Region) -> Iterator[Fraction]:
    """Where two regions cost the same: roots of (p + q t)(r' + s' t) = (p' + q' t)(r + s t)."""
    (p, q, r, s), (p2, q2, r2, s2) = one.formula, other.formula
    a, b, c = q * s2 - q2 * s, p * s2 + q * r2 - p2 * s - q2 * r, p * r2 - p2 * r
    if not a:
        if b:
            yield -c / b
        return
    square = b * b - 4 * a * c
    if square >= 0:
        root = square_root(square, CROSSING_DECIMALS)
        yield from ((-b + root) / (2 * a), (-b - root) / (2 * a))
