"""A food: one row of a composition table, per 100 g edible part."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from ratio_solver.foods.ends import STANDS_IN, End

if TYPE_CHECKING:
    from collections.abc import Mapping

BASES = ("by_difference", "available")
"""Carbohydrate bases: by difference includes fibre (US), available does not (EU, UK)."""


@lru_cache(maxsize=65536)
def exact(value: float) -> Fraction:
    """The decimal number that was written, as a rational: 0.1 is one tenth, not the nearest double.

    >>> exact(0.1)
    Fraction(1, 10)
    """
    return Fraction(repr(float(value)))


@dataclass(frozen=True)
class Food:
    """Composition of a food.

    Attributes
    ----------
    name, id : str
        Short name ("celeriac, raw") and identity ("ndb:11141").
    basis : {"by_difference", "available"}
        Whether `amounts["carbs_g"]` includes fibre.
    amounts : mapping of str to float
        Nutrient column to amount per 100 g edible part, in the column's unit; absent is unknown.
    low, high : mapping of str to float
        Ends of the interval in which the mean lies, where known; same units. A column that has them and no figure
        is known to lie between them, and no more: below a limit of detection.
    lowest, highest : mapping of str to float
        Ends of the interval in which the one food on the table lies.
    refuse : float or None
        Share of the bought weight that is thrown away, percent.
    price : float or None
        Price per kg as bought, in the user's own currency.
    allergens : tuple of str or None
        None is unknown; an empty tuple is none known.
    role : str
        What it does in a dish: fat, binder, sweetener, ...; may be empty.
    measures : mapping of str to float
        Household measure to grams for one of it.
    source : str
        Where the figures come from.
    """

    name: str
    id: str
    basis: str
    amounts: Mapping[str, float]
    low: Mapping[str, float] = field(default_factory=dict)
    high: Mapping[str, float] = field(default_factory=dict)
    lowest: Mapping[str, float] = field(default_factory=dict)
    highest: Mapping[str, float] = field(default_factory=dict)
    refuse: float | None = None
    price: float | None = None
    allergens: tuple[str, ...] | None = None
    role: str = ""
    measures: Mapping[str, float] = field(default_factory=dict)
    source: str = ""

    def at(self, column: str, end: End) -> float | None:
        """A figure at an end of its interval, else at the one that stands in for it, else the figure."""
        for given in (end, STANDS_IN[end]):
            if given and (value := self._ends(given).get(column)) is not None:
                return value
        return self.amounts.get(column)

    def has_end(self, column: str, end: End) -> bool:
        """Whether the table gives an end of a figure's interval, or the one that stands in for it."""
        return any(column in self._ends(given) for given in (end, STANDS_IN[end]) if given)

    def _ends(self, end: End) -> Mapping[str, float]:
        return {"low": self.low, "high": self.high, "lowest": self.lowest, "highest": self.highest}[end]
