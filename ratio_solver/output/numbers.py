"""Figures as text. A figure never rounds into a claim.

A value that misses its limit is given so many decimals that it is seen to miss it, and a ratio is cut, not
rounded: 1.996:1 is never shown as 2.00:1. All other figures are the exact value rounded once, half to even, here as in
the tables of a menu (`ratio_solver.menu.figures`).
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from ratio_solver.dish.status import LimitState

MOST_DECIMALS = 6

SMALL = Fraction(1, 100)
"""g; a weight below is told with the decimals that it takes to see it."""


def decimal(value: Fraction | float, decimals: int) -> str:
    """A value rounded to so many decimals; never "-0".

    >>> decimal(Fraction(-1, 1000), 1), decimal(Fraction(5, 2), 2)
    ('0.0', '2.50')
    """
    exact = value if isinstance(value, Fraction) else Fraction(value)
    scaled = round(exact * 10**decimals)
    return f"{Decimal(scaled).scaleb(-decimals):.{decimals}f}" if scaled else f"{0:.{decimals}f}"


def short(value: Fraction | float | None, decimals: int = 2) -> str:
    """A value as a cook writes it: no zeros at the end.

    >>> short(Fraction(150)), short(Fraction(1, 8))
    ('150', '0.12')
    """
    if value is None:
        return ""
    text = decimal(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def honest(value: Fraction, decimals: int, limits: Iterable[LimitState] = ()) -> str:
    """A value rounded so that it stands on the same side of each limit as it really does."""
    held = [(state, _kept(state, value)) for state in limits]
    for places in range(decimals, MOST_DECIMALS + 1):
        text = decimal(value, places)
        seen = Fraction(text)
        if all(_within(state, seen) == kept for state, kept in held):
            return text
    return decimal(value, MOST_DECIMALS)


def _kept(state: LimitState, value: Fraction) -> bool:
    return state.binding or _within(state, value)


def _within(state: LimitState, value: Fraction) -> bool:
    return value >= state.limit.bound if state.limit.sense == ">=" else value <= state.limit.bound


def ratio(value: Fraction | None, limits: Iterable[LimitState] = (), decimals: int = 2) -> str:
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
    states = tuple(limits)
    for state in states:
        if state.binding:
            value = state.limit.bound
    for places in range(decimals, MOST_DECIMALS):
        cut = _cut(value, places)
        if _same_side(states, cut, value):
            return f"{decimal(cut, places)}:1"
    return f"{decimal(_cut(value, MOST_DECIMALS), MOST_DECIMALS)}:1"


def _cut(value: Fraction, decimals: int) -> Fraction:
    return Fraction(int(value * 10**decimals), 10**decimals)


def _same_side(states: Iterable[LimitState], seen: Fraction, value: Fraction) -> bool:
    return all(_within(state, seen) == _within(state, value) for state in states)


def weight(value: Fraction) -> str:
    """Grams: whole where they are, else to a hundredth; what is less shows its first digit.

    >>> weight(Fraction(12)), weight(Fraction(25, 2)), weight(Fraction(4, 1000)), weight(Fraction(-15, 10000))
    ('12', '12.50', '0.004', '-0.002')
    """
    if value.denominator == 1:
        return short(value, 0)
    return decimal(value, 2) if abs(value) >= SMALL else visible(value, 3)


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
    for places in range(decimals, MOST_DECIMALS + 1):
        text = decimal(value, places)
        if Fraction(text):
            return text
    return "under 0.000001"


def amount(value: Fraction | float, unit: str) -> str:
    """A value with its unit: "6.00 g", "412 mg", "2.00:1", "12.5 %".

    >>> amount(Fraction(1, 8), "share"), amount(6, "g"), amount(Fraction(412), "mg")
    ('12.5 %', '6.00 g', '412 mg')
    """
    if unit == ":1":
        return f"{decimal(value, 2)}:1"
    if unit == "share":
        return f"{short(value * 100, 2)} %"
    if unit == "used":
        return short(value, 0)
    if unit in ("kcal", "mg"):
        return f"{short(value, 0 if value >= 10 else 2)} {unit}"
    return f"{decimal(value, 2)} {unit}"


def plain(value: Fraction | float | None) -> float | None:
    """A double for JSON; whole values without noise."""
    return None if value is None else float(value)
