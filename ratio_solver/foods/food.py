"""A food: one row of a composition table, per 100 g edible part."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

BASES = ("by_difference", "available")
"""Carbohydrate bases: by difference includes fibre (US), available does not (EU, UK)."""


OTHER_END = {"": "", "low": "high", "high": "low"}
"""Ends of an interval to the end of what is taken away from a figure."""


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
        Ends of the interval in which the figure lies, where known; same keys and units.
    refuse : float or None
        Share of the bought weight that is thrown away, percent.
    price : float or None
        Price per kg as bought, in the user's own currency.
    allergens : tuple of str or None
        Those that are known; None where nothing is, an empty tuple where there are none.
    allergens_complete : bool
        Whether there are no others: a sauce of milk and whatever its maker added has some that nobody has said.
    role : str
        What it does in a dish: fat, binder, sweetener, ...; may be empty.
    measures : mapping of str to float
        Household measure to grams for one of it.
    source : str
        Where the figures come from.
    most : float or None
        The most of it that a serving may hold, g: what an adult may have in a day, or at once.
    most_because : str
        Why, with the source; without `most` what to know wherever it is eaten.
    """

    name: str
    id: str
    basis: str
    amounts: Mapping[str, float]
    low: Mapping[str, float] = field(default_factory=dict)
    high: Mapping[str, float] = field(default_factory=dict)
    refuse: float | None = None
    price: float | None = None
    allergens: tuple[str, ...] | None = None
    role: str = ""
    measures: Mapping[str, float] = field(default_factory=dict)
    source: str = ""
    allergens_complete: bool = True
    most: float | None = None
    most_because: str = ""

    @property
    def allergens_unknown(self) -> bool:
        """Whether it may have allergens that nobody has said: the label must be read."""
        return self.allergens is None or not self.allergens_complete

    def at(self, column: str, end: str = "") -> Fraction | None:
        """A figure of the table, or the low or high end of its interval where it has one; None where unknown."""
        ends = {"": self.amounts, "low": self.low, "high": self.high}[end]
        value = ends.get(column, self.amounts.get(column))
        return None if value is None else exact(value)
