"""A food: one row of a composition table, per 100 g edible part."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ratio_solver.exact import exact
from ratio_solver.foods.ends import STANDS_IN, End

if TYPE_CHECKING:
    from collections.abc import Mapping

BASES = ("by_difference", "available")
"""Carbohydrate bases: by difference includes fibre (US), available does not (EU, UK)."""

PERHAPS = "?"
"""After another name in the table: the nearest food that there is, not the same one; a guess at most."""


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
    pack : float or None
        g of the pack that it is bought in, where the user says so.
    allergens : tuple of str or None
        Those that are known; None where nothing is, an empty tuple where there are none.
    allergens_complete : bool
        Whether there are no others: a sauce of milk and whatever its maker added has some that nobody has said.
    role : str
        What it does in a dish: fat, binder, sweetener, ...; may be empty.
    use : tuple of str
        What it can stand in for with less carbohydrate: thickener, crust, crumbs, sweetness, bulk, ...
    measures : mapping of str to float
        Household measure to grams for one of it.
    source : str
        Where the figures come from.
    most : float or None
        The most of it that a serving may hold, g: what an adult may have in a day, or at once.
    most_because : str
        Why, with the source; without `most` what to know wherever it is eaten.
    nitrogen_factor : float or None
        What its protein is nitrogen times, where the table says so.
    replaces : tuple of str
        Rows of tables before that this one stands in place of: name, id and source of each.
    dropped : tuple of str
        Allergens that these have and this row says it has not.
    also : tuple of str
        Other names of it; one that ends in "?" is of a food that the table lacks, and this is the nearest.
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
    pack: float | None = None
    allergens: tuple[str, ...] | None = None
    role: str = ""
    use: tuple[str, ...] = ()
    measures: Mapping[str, float] = field(default_factory=dict)
    source: str = ""
    allergens_complete: bool = True
    most: float | None = None
    most_because: str = ""
    also: tuple[str, ...] = ()
    nitrogen_factor: float | None = None
    replaces: tuple[str, ...] = field(default=(), compare=False)
    dropped: tuple[str, ...] = field(default=(), compare=False)

    @cached_property
    def computed(self) -> dict[tuple[str, End, object], Fraction | None]:
        """What has been made of its figures, per g, by column, end and policy."""
        return {}

    @cached_property
    def labelled(self) -> dict[str, Any]:
        """What a label's figures of it can be, by column."""
        return {}

    @property
    def allergens_unknown(self) -> bool:
        """Whether it may have allergens that nobody has said: the label must be read."""
        return self.allergens is None or not self.allergens_complete

    def at(self, column: str, end: End = "") -> Fraction | None:
        """A figure, or an end of its interval, else what stands in for that, exact; None where it is unknown."""
        for given in (end, STANDS_IN[end]):
            if given and (value := self.ends(given).get(column)) is not None:
                return exact(value)
        value = self.amounts.get(column)
        return None if value is None else exact(value)

    def has_end(self, column: str, end: End) -> bool:
        """Whether the table gives an end of a figure's interval, or the one that stands in for it."""
        return any(column in self.ends(given) for given in (end, STANDS_IN[end]) if given)

    def ends(self, end: End) -> Mapping[str, float]:
        """The figures that the table gives at an end of their intervals."""
        return {"low": self.low, "high": self.high, "lowest": self.lowest, "highest": self.highest}[end]
