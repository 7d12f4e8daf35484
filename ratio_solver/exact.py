"""Rational arithmetic: numbers as they were written, and what is made of them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from math import floor, isqrt, lcm

ZERO, ONE, HUNDRED = Fraction(0), Fraction(1), Fraction(100)

Vector = tuple[Fraction, ...]


@lru_cache(maxsize=65536)
def exact(value: float) -> Fraction:
    """The decimal number that was written, as a rational: 0.1 is one tenth, not the nearest double.

    >>> exact(0.1)
    Fraction(1, 10)
    """
    return Fraction(repr(float(value)))


def dot(coefficients: Sequence[Fraction], weights: Sequence[Fraction]) -> Fraction:
    """Exact scalar product, summed over one common denominator: a sum of rationals would reduce after each term."""
    terms = [(a.numerator * w.numerator, a.denominator * w.denominator)
             for a, w in zip(coefficients, weights, strict=True) if a is not ZERO and a and w]
    common = lcm(*[below for _, below in terms])
    return Fraction(sum([above * (common // below) for above, below in terms]), common)


def cut_down(value: Fraction, decimals: int) -> Fraction:
    """A value cut to so many decimals: what is said of it is never more than it is.

    >>> cut_down(Fraction(1999, 1000), 2), cut_down(Fraction(-1, 3), 1)
    (Fraction(199, 100), Fraction(-2, 5))
    """
    return Fraction(floor(value * 10**decimals), 10**decimals)


def square_root(square: Fraction, decimals: int, *, up: bool = False) -> Fraction:
    """A square root: exact where it is rational, else to so many decimals, rounded down or up.

    >>> square_root(Fraction(9, 4), 1), square_root(Fraction(2), 1), square_root(Fraction(2), 1, up=True)
    (Fraction(3, 2), Fraction(7, 5), Fraction(3, 2))
    """
    above, below = isqrt(square.numerator), isqrt(square.denominator)
    if above * above == square.numerator and below * below == square.denominator:
        return Fraction(above, below)
    scale = 10**decimals
    return Fraction(isqrt(square.numerator * scale**2 // square.denominator) + up, scale)
