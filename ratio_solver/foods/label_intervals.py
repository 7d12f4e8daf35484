"""What a label's figure says of the true value: the interval that the rounding rules leave, per serving.

The inverse of `foods.label_rules`, whose sources hold here: a figure is printed for all the values between two ends, so
that any true value between them is printed as that figure.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from types import MappingProxyType

from ratio_solver.exact import ZERO

LESS_THAN = re.compile(r"(?:<|less than|under|weniger als|moins de)\s*([0-9]+(?:[.,][0-9]+)?)\s*(?:g|mg|kcal)?$", re.I)
NUMBER = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(?:g|mg|kcal)?$", re.I)
PRINTED_TRACE = re.compile(r"(?:traces?|nil|none)$", re.I)


@dataclass(frozen=True)
class Rounding:
    """A rule of rounding.

    Attributes
    ----------
    zones : tuple of (Fraction, Fraction)
        From which value on which step holds, ascending; below the first the figure is 0 or "less than".
    less : tuple of Fraction
        Ends of what "less than" stands for, where a rule has these words; else there is 0 in its place.
    """

    zones: tuple[tuple[Fraction, Fraction], ...]
    less: tuple[Fraction, Fraction] | None = None

    @property
    def none_below(self) -> Fraction:
        """Up to which value the figure is 0."""
        return self.less[0] if self.less else self.zones[0][0]

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
        half = next((step for start, step in reversed(self.zones) if printed >= start), self.zones[0][1]) / 2
        return max(ZERO, printed - half), printed + half

    def up(self, value: Fraction) -> Fraction:
        """The least figure that the rule prints and that is no less than a value."""
        return self._on_grid(value, ceil)

    def down(self, value: Fraction) -> Fraction:
        """The greatest figure that the rule prints and that is no more than a value; nothing under the first zone."""
        return self._on_grid(value, floor) if value >= self.zones[0][0] else ZERO

    def _on_grid(self, value: Fraction, whole: Callable[[Fraction], int]) -> Fraction:
        step = next((step for start, step in reversed(self.zones) if value >= start), self.zones[0][1])
        return whole(value / step) * step


def _rule(*zones: tuple[str, str], less: tuple[str, str] | None = None) -> Rounding:
    return Rounding(tuple((Fraction(start), Fraction(step)) for start, step in zones),
                    (Fraction(less[0]), Fraction(less[1])) if less else None)


_US_FAT = _rule(("0.5", "0.5"), ("5", "1"))
_US_GRAMS = _rule(("1", "1"), less=("0.5", "1"))
_EU_GRAMS = _rule(("0.5", "0.1"), ("9.95", "1"))
LABEL_ROUNDING: Mapping[str, Mapping[str, Rounding]] = MappingProxyType({
    "us": MappingProxyType({
        "energy": _rule(("5", "5"), ("50", "10")), "fat": _US_FAT, "saturates": _US_FAT, "sodium":
        _rule(("5", "5"), ("140", "10")), "grams": _US_GRAMS,
        "cholesterol": _rule(("5", "5"), less=("2", "5")), "vitamin D": _rule(("0.05", "0.1")),
        "tens": _rule(("5", "10")), "iron": _rule(("0.05", "0.1")),
    }),
    "eu": MappingProxyType({
        "energy": _rule(("0.5", "1")), "fat": _EU_GRAMS, "saturates": _rule(("0.1", "0.1"), ("9.95", "1")),
        "salt": _rule(("0.0125", "0.01"), ("0.995", "0.1")), "grams": _EU_GRAMS,
    }),
})
"""By region and kind of figure. What EU guidance prints "0 g" and "< 0.5 g" are one: a label may have either."""


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
    text = " ".join(text.split())
    if PRINTED_TRACE.match(text):
        return Printed(None, ZERO, max(rule.none_below, rule.less[1] if rule.less else ZERO))
    if match := LESS_THAN.match(text):
        most = Fraction(match[1].replace(",", "."))
        if rule.less and most == rule.less[1]:
            return Printed(None, *rule.less)
        return Printed(None, ZERO, max(most, rule.none_below) if most == _shown_figure(rule) else most)
    if match := NUMBER.match(text):
        figure = Fraction(match[1].replace(",", "."))
        return Printed(figure, *rule.interval(figure))
    return None


def _shown_figure(rule: Rounding) -> Fraction:
    """What stands after "<" where a rule rounds to nothing: of salt "< 0.01 g" is up to 0.0125 g."""
    return Fraction(int(rule.none_below * 100), 100)
