"""Figures as text, beside the decimal arithmetic of Python."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as draw

from ratio_solver.output.numbers import decimal


def rounded(value: Decimal, places: int) -> str:
    found = value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
    return f"{found if found else abs(found):f}"


@given(draw.integers(-10**9, 10**9), draw.integers(0, 6), draw.integers(0, 6))
def test_a_figure_is_rounded_once_and_is_never_minus_nought(digits: int, scale: int, places: int) -> None:
    value = Decimal(digits).scaleb(-scale)
    assert decimal(Fraction(value), places) == rounded(value, places)


@given(draw.integers(-10**6, 10**6), draw.integers(0, 6))
def test_a_figure_half_way_is_rounded_to_even(below: int, places: int) -> None:
    value = Decimal(10 * below + 5).scaleb(-places - 1)
    assert decimal(Fraction(value), places) == rounded(value, places)
