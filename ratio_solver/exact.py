"""Rational arithmetic: numbers as they were written, and what is made of them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from math import lcm

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
             for a, w in zip(coefficients, weights, strict=True) if a and w]
    common = lcm(*[below for _, below in terms])
    return Fraction(sum([above * (common // below) for above, below in terms]), common)
