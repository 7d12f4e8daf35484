"""Where marks stand on the track of a bound: a drawing in per cent of its length."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

ROUND = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""First figures of the end of a track."""

ROOM = 1.2
"""How far a track goes beyond what is on it, so that a hand can move it further; our choice."""

FINE_BELOW = 20.0
"""On a track that ends below so many, a hand moves by tenths."""


@dataclass(frozen=True)
class Track:
    """A track from 0 to `top`, on which a hand moves by `step`."""

    top: float
    step: float

    def percent(self, value: Fraction | float | None) -> float:
        """Where a value stands, from 0 to 100; at an end where it is beyond."""
        return 0.0 if value is None else round(min(max(100 * float(value) / self.top, 0.0), 100.0), 2)


def track_for(*values: float | None, step: float | None = None, least: float = 1.0, before: float = 0.0,
              moving: bool = False) -> Track:
    """The track that has room for some values, at least as long as one before it: it does not jump under a hand.

    >>> track_for(250.0, 550.0), track_for(0.5)
    (Track(top=800.0, step=1.0), Track(top=1.0, step=0.1))
    """
    most = max((value for value in values if value is not None), default=0.0)
    top = before if before and (most < before or (moving and most == before)) else max(_rounded_up(most * ROOM), least)
    return Track(top, step or (0.1 if top < FINE_BELOW else float(max(1, _rounded_down(top / 1000)))))


def _rounded_up(value: float) -> float:
    if value <= 0:
        return 0.0
    ten = 10.0 ** math.floor(math.log10(value))
    return next(first * ten for first in ROUND if first * ten >= value * (1 - 1e-9))


def _rounded_down(value: float) -> float:
    return 10.0 ** math.floor(math.log10(value)) if value >= 1 else 0.0
