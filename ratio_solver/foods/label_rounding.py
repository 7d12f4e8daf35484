"""How labels round: what is printed of a value, and what a printed figure leaves open of it, per serving.

Each rule says how well it is sourced: *read* in the source named, or *from memory*, to be checked against the law
before anything is printed on a package. Where a rule says "nearest", a value midway goes up (common practice, no
source). Backwards, a figure is printed for all the values between two ends.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from types import MappingProxyType

from ratio_solver.exact import ZERO

_PRINTED = re.compile(r"(?P<less><|less than|under|weniger als|moins de)?\s*(?P<figure>[0-9]+(?:[.,][0-9]+)?)\s*"
                      r"(?:g|mg|kcal)?$|(?P<trace>traces?|nil|none)$", re.I)
_DECIMALS = {Fraction(1, 10): 1, Fraction(1, 100): 2}
"""Decimals that are always printed of figures in a step; of halves there are none where the figure is whole."""


def nearest(value: Fraction, step: Fraction) -> Fraction:
    """The multiple of a step nearest to a value; midway goes up.

    >>> nearest(Fraction(9, 4), Fraction(1, 2))
    Fraction(5, 2)
    """
    return floor(value / step + Fraction(1, 2)) * step


@dataclass(frozen=True)
class Rounding:
    """A rule of rounding.

    Attributes
    ----------
    zones : tuple of (Fraction, Fraction)
        From which value on which step holds, ascending; below the first the figure is 0 or `small`.
    less : tuple of Fraction
        Ends of what `small` stands for, the upper one not in it; else it stands for all that is there up to the first
        zone and its start, and 0 for nothing.
    small : str
        What is printed of little: "less than 1 g", "< 0.5 g".
    """

    zones: tuple[tuple[Fraction, Fraction], ...]
    less: tuple[Fraction, Fraction] | None = None
    small: str = ""

    @property
    def none_below(self) -> Fraction:
        """Up to which value a figure of 0 may stand for: a label may have 0 where another has "less than"."""
        return self.less[0] if self.less else self.zones[0][0]

    def text(self, value: Fraction, unit: str) -> str:
        """A value as it is printed.

        >>> LABEL_ROUNDING["us"]["fat"].text(Fraction(9, 4), "g"), LABEL_ROUNDING["eu"]["salt"].text(Fraction(1), "g")
        ('2.5 g', '1.0 g')
        """
        if self.small and not value:
            return f"0 {unit}"
        start = self.zones[0][0]
        if self.small and (value <= start if self.less is None else self.less[0] <= value < start):
            return self.small
        figure = self.figure(value)
        decimals = _DECIMALS.get(self._step(value), int(figure.denominator > 1))
        return f"{float(figure):.{decimals}f} {unit}"

    def figure(self, value: Fraction) -> Fraction:
        """The figure nearest to a value; 0 below the first zone."""
        return nearest(value, self._step(value)) if value >= self.zones[0][0] else ZERO

    def up(self, value: Fraction) -> Fraction:
        """The least figure that the rule prints and that is no less than a value."""
        return self._on_grid(value, ceil)

    def down(self, value: Fraction) -> Fraction:
        """The greatest figure that the rule prints and that is no more than a value; nothing under the first zone."""
        return self._on_grid(value, floor) if value >= self.zones[0][0] else ZERO

    def interval(self, printed: Fraction) -> tuple[Fraction, Fraction]:
        """The values that are printed as this figure; of one that the rule does not print, half a step to each side."""
        if printed == 0:
            return ZERO, self.none_below
        ends = [top for top, _ in self.zones[1:]]
        found: list[tuple[Fraction, Fraction]] = []
        for (start, step), end in zip(self.zones, [*ends, None], strict=True):
            low, high = max(start, printed - step / 2), printed + step / 2
            high = high if end is None else min(high, end)
            if printed % step == 0 and low < high:
                found.append((low, high))
        if found:
            return min(low for low, _ in found), max(high for _, high in found)
        half = self._step(printed) / 2
        return max(ZERO, printed - half), printed + half

    def _on_grid(self, value: Fraction, whole: Callable[[Fraction], int]) -> Fraction:
        return whole(value / self._step(value)) * self._step(value)

    def _step(self, value: Fraction) -> Fraction:
        return next((step for start, step in reversed(self.zones) if value >= start), self.zones[0][1])


def _rule(*zones: tuple[str, str], less: tuple[str, str] | None = None, small: str = "") -> Rounding:
    return Rounding(tuple((Fraction(start), Fraction(step)) for start, step in zones),
                    (Fraction(less[0]), Fraction(less[1])) if less else None, small)


# FDA, A Food Labeling Guide, Appendix H, 2009 (read for fat): under 0.5 g 0, under 5 g nearest 0.5, else nearest 1 g
_US_FAT = _rule(("0.5", "0.5"), ("5", "1"))
# From memory, Commission guidance on tolerances, December 2012: from 10 g to 1 g, else to 0.1 g, up to 0.5 g "< 0.5 g"
_EU_GRAMS = _rule(("0.5", "0.1"), ("9.95", "1"), small="< 0.5 g")
LABEL_ROUNDING: Mapping[str, Mapping[str, Rounding]] = MappingProxyType({
    "us": MappingProxyType({
        # kcal under 5: 0; to 50: nearest 5; above: nearest 10 (the same Guide, read)
        "energy": _rule(("5", "5"), ("50", "10")),
        "fat": _US_FAT, "saturates": _US_FAT,
        # mg under 5: 0; to 140: nearest 5; above: nearest 10 (from memory)
        "sodium": _rule(("5", "5"), ("140", "10")),
        # Carbohydrate, fibre, sugars under 0.5 g: 0; under 1 g: less than 1 g; else nearest 1 g (the same Guide, read);
        # protein and polyols by the same rule: from memory
        "grams": _rule(("1", "1"), less=("0.5", "1"), small="less than 1 g"),
        # mg under 2: 0; to 5: less than 5 mg; above: nearest 5 (21 CFR 101.9(c)(3), from memory)
        "cholesterol": _rule(("5", "5"), less=("2", "5"), small="less than 5 mg"),
        # From memory, FDA's guidance on the 2016 rule: vitamin D to 0.1 ug, calcium and potassium to 10 mg, iron to 0.1
        "vitamin D": _rule(("0.05", "0.1")), "tens": _rule(("5", "10")), "iron": _rule(("0.05", "0.1")),
    }),
    "eu": MappingProxyType({  # all from memory, the same guidance of the Commission
        "energy": _rule(("0.5", "1")),
        "fat": _EU_GRAMS, "grams": _EU_GRAMS,
        # As fat, but up to 0.1 g "< 0.1 g"
        "saturates": _rule(("0.1", "0.1"), ("9.95", "1"), small="< 0.1 g"),
        # From 1 g to 0.1 g, else to 0.01 g, up to 0.0125 g "< 0.01 g"
        "salt": _rule(("0.0125", "0.01"), ("0.995", "0.1"), small="< 0.01 g"),
    }),
})
"""By region and kind of figure. What EU guidance prints "0 g" and "< 0.5 g" are one: a label may have either."""

DAILY_PERCENT = _rule(("0.5", "1"))
"""Percent of a daily value to 1 (21 CFR 101.9(d)(7)(ii), from memory)."""

VITAMIN_PERCENT = _rule(("2", "2"), ("10", "5"), ("50", "10"))
"""Percent of the daily value of a vitamin or mineral: to 10 % nearest 2, to 50 % nearest 5, above nearest 10; under
2 %: 0 (21 CFR 101.9(c)(8)(iii), from memory)."""


@dataclass(frozen=True)
class Printed:
    """A figure of a label and what it leaves open, in the label's unit, per serving.

    Attributes
    ----------
    figure : Fraction or None
        The number printed; None where there is only "less than".
    low, high : Fraction
    """

    figure: Fraction | None
    low: Fraction
    high: Fraction


def printed(text: str, rule: Rounding) -> Printed | None:
    """What a label's text says: "15", "0", "0 g", "< 0.5", "less than 1 g", "trace"; None where it is no figure.

    >>> one = printed("less than 1 g", LABEL_ROUNDING["us"]["grams"])
    >>> one.low, one.high
    (Fraction(1, 2), Fraction(1, 1))
    """
    match = _PRINTED.match(" ".join(text.split()))
    if match is None:
        return None
    if match["trace"]:
        return Printed(None, ZERO, rule.less[1] if rule.less else rule.none_below)
    figure = Fraction(match["figure"].replace(",", "."))
    if not match["less"]:
        return Printed(figure, *rule.interval(figure))
    if rule.less and figure == rule.less[1]:
        return Printed(None, *rule.less)
    shown = Fraction(int(rule.none_below * 100), 100)  # of salt "< 0.01 g" is up to 0.0125 g
    return Printed(None, ZERO, max(figure, rule.none_below) if figure == shown else figure)
