"""Small pictures beside figures: bars, drawn inside the page. Whatever they show stands beside them as text."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from ratio_solver.output.numbers import short

HEIGHT, BAR = 9, 4
"""Of a picture and of a bar in it; both are 100 wide."""

HEADROOM = Fraction(11, 10)
"""The width stands for this many times the greatest of what is shown."""


def pair(before: Fraction, now: Fraction) -> str:
    """Two bars, one above the other: what was, and what is."""
    most = max(before, now)
    if not most:
        return ""
    return _picture([_bar(0, before / most, "was"), _bar(BAR + 1, now / most, "now")])


def against(actual: Fraction, bound: Fraction) -> str:
    """A bar up to a figure, and a mark at its limit."""
    most = max(actual, bound) * HEADROOM
    if most <= 0:
        return ""
    mark = short(bound / most * 100, 2)
    return _picture([_bar(2, actual / most, "now"), f'<path class="mark" d="M{mark} 0V{HEIGHT}"/>'])


def _bar(top: int, share: Fraction, name: str) -> str:
    return f'<rect class="{name}" y="{top}" width="{short(share * 100, 2)}" height="{BAR}"/>'


def _picture(parts: Sequence[str]) -> str:
    """The shapes as a picture that a screen reader passes over, as their figures are text."""
    return (f'<svg class="bar" viewBox="0 0 100 {HEIGHT}" preserveAspectRatio="none" aria-hidden="true" '
            f'focusable="false">{"".join(parts)}</svg>')
