"""Figures as text. A figure never rounds into a claim.

A value that misses its limit is given so many decimals that it is seen to miss it, and a ratio is cut, not
rounded: 1.996:1 is never shown as 2.00:1. All other figures are the exact value rounded once, half to even, here as in
the tables of a menu (`ratio_solver.menu.array_tables`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

from ratio_solver.dish.status import LimitState
from ratio_solver.foods.quantities import SHARE, UNIT_TABLE

MOST_SHOWN = 6

SMALL = Fraction(1, 100)
"""g; a weight below is told with the decimals that it takes to see it."""


def decimal(value: Fraction | float, decimals: int) -> str:
    """A value rounded to so many decimals; never "-0".

    >>> decimal(Fraction(-1, 1000), 1), decimal(Fraction(5, 2), 2)
    ('0.0', '2.50')
    """
    exact = value if isinstance(value, Fraction) else Fraction(value)
    below, rest = divmod(exact.numerator * 10**decimals, exact.denominator)
    beyond = 2 * rest - exact.denominator
    return _pointed(below + 1 if beyond > 0 or (beyond == 0 and below % 2) else below, decimals)  # half to even


def _pointed(scaled: int, decimals: int) -> str:
    """A whole number of the last of so many decimals, with its point."""
    digits = str(abs(scaled)).zfill(decimals + 1)
    point = len(digits) - decimals
    return ("-" if scaled < 0 else "") + digits[:point] + ("." if decimals else "") + digits[point:]


def short(value: Fraction | float | None, decimals: int = 2) -> str:
    """A value as a cook writes it: no zeros at the end.

    >>> short(Fraction(150)), short(Fraction(1, 8))
    ('150', '0.12')
    """
    if value is None:
        return ""
    text = decimal(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def until(value: Fraction, decimals: int, shows: Callable[[Fraction], object],
          rounded: Callable[[Fraction], int] = round) -> str:
    """A value with as many decimals as it takes until it shows what it must, at least so many."""
    for places in range(decimals, MOST_SHOWN + 1):
        scaled = rounded(value * 10**places)
        if shows(Fraction(scaled, 10**places)):
            break
    return _pointed(scaled, places)


def honest(value: Fraction, decimals: int, limits: Iterable[LimitState] = ()) -> str:
    """A value rounded so that it stands on the same side of each limit as it really does."""
    kept = [(state.limit, state.binding or state.limit.keeps(value)) for state in limits]
    if not kept:
        return decimal(value, decimals)
    return until(value, decimals, lambda seen: all(limit.keeps(seen) == so for limit, so in kept))


def ratio(value: Fraction | None, limits: Sequence[LimitState] = (), decimals: int = 2) -> str:
    """A ratio, cut to so many decimals (more where it takes more to see on which side of a limit it is).

    Only a limit that binds says that a value next to it is the limit itself.

    >>> ratio(Fraction(1996, 1000)), ratio(Fraction(2)), ratio(None)
    ('1.99:1', '2.00:1', 'no protein or carbs')
    >>> ratio(Fraction(199999995, 10**8))
    '1.99:1'
    >>> ratio(Fraction(196, 100), decimals=1)
    '1.9:1'
    """
    if value is None:
        return "no protein or carbs"
    value = next((state.limit.bound for state in reversed(limits) if state.binding), value)
    kept = [(state.limit, state.limit.keeps(value)) for state in limits]
    return f"{until(value, decimals, lambda seen: all(limit.keeps(seen) == so for limit, so in kept), int)}:1"


def weight(value: Fraction) -> str:
    """Grams: whole where they are, else to a hundredth; what is less shows its first digit.

    >>> weight(Fraction(12)), weight(Fraction(25, 2)), weight(Fraction(4, 1000)), weight(Fraction(-15, 10000))
    ('12', '12.50', '0.004', '-0.002')
    """
    if value.denominator == 1:
        return short(value, 0)
    return decimal(value, 2) if abs(value) >= SMALL else visible(value, 3)


def counted(number: int, word: str) -> str:
    """A number of things.

    >>> counted(1, "piece"), counted(12, "serving")
    ('1 piece', '12 servings')
    """
    return f"{number} {word}{'' if number == 1 else 's'}"


def short_weight(value: Fraction) -> str:
    """The same without zeros at the end.

    >>> short_weight(Fraction(25, 2)), short_weight(Fraction(4, 1000))
    ('12.5', '0.004')
    """
    return short(value) if not value or abs(value) >= SMALL else visible(value, 3)


def visible(value: Fraction, decimals: int) -> str:
    """A value that is not zero, with as many decimals as it takes to see that.

    >>> visible(Fraction(1, 1000), 2)
    '0.001'
    """
    texts = (decimal(value, places) for places in range(decimals, MOST_SHOWN + 1))
    return next(filter(float, texts), "under 0.000001")


def in_unit(value: Fraction, unit: str) -> Fraction:
    """A value as it is told: a share in per cent."""
    return value * UNIT_TABLE[unit].times


def figure_with_unit(value: Fraction, unit: str, limits: Sequence[LimitState] = ()) -> str:
    """A figure with its unit, on the side of each limit where it really is; a ratio is cut.

    >>> figure_with_unit(Fraction(3, 8), "share"), figure_with_unit(Fraction(4567, 100), "mg")
    ('37.5 %', '46 mg')
    """
    if unit == ":1":
        return ratio(value, limits)
    told = UNIT_TABLE[unit]
    if unit in (SHARE, "used"):
        return with_unit(short(in_unit(Fraction(honest(value, 4, limits)), unit), 4), unit)
    return with_unit(honest(value, told.coarse if value >= 10 else told.fine, limits), unit)


def with_unit(text: str, unit: str) -> str:
    """A figure with its unit.

    >>> with_unit("12.5", "share"), with_unit("6.00", "g"), with_unit("2", "used"), with_unit("2.00", ":1")
    ('12.5 %', '6.00 g', '2', '2.00:1')
    """
    return text + UNIT_TABLE[unit].suffix


def plain(value: Fraction | float | None) -> float | None:
    """A double for JSON; whole values without noise."""
    return None if value is None else float(value)
