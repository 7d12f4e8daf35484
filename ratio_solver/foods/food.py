"""A food: one row of a composition table, per 100 g edible part; and the foods of a table in their order.

Those of the package's own tables are read from their rows when they are first asked for: a command uses some ten foods
of more than a thousand, and reading all takes longer than solving.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import Any, overload

from ratio_solver.exact import exact
from ratio_solver.foods.ends import STANDS_IN, End

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
        """The figures that the table gives at an end of their intervals, or those themselves."""
        return {"": self.amounts, "low": self.low, "high": self.high, "lowest": self.lowest,
                "highest": self.highest}[end]


class FoodRow:
    """A row of a composition table whose name and id are known, and the rest is read when it is asked for.

    Parameters
    ----------
    name, id : str
        As the food will have them.
    text : str
        The text of its row, in which its role is a cell between commas.
    read : function
        Gives the food.
    read_names : function, optional
        Gives as much of it as tells it from others: name, id, role, other names and fat.
    """

    def __init__(self, name: str, id: str, text: str, read: Callable[[], Food],
                 read_names: Callable[[], Food] | None = None) -> None:
        self.name, self.id, self.text, self._read, self._read_names = name, id, text, read, read_names

    @cached_property
    def food(self) -> Food:
        """The food, read once."""
        return self._read()

    def named(self) -> Food:
        """The food, of which name, id, role, other names and fat count, and the rest need not be there."""
        return self._read_names() if self._read_names and "food" not in vars(self) else self.food


def row_of_food(food: Food) -> FoodRow:
    """A row of a food that is read already."""
    row = FoodRow(food.name, food.id, f",{food.role},", lambda: food)
    row.food = food
    return row


class Foods(Sequence[Food]):
    """Foods in the order of their table, names and ids unique.

    Parameters
    ----------
    rows : iterable of Food or FoodRow
    columns : tuple of str, optional
        Nutrient columns that at least one of them has; found by reading all of them unless given.
    """

    def __init__(self, rows: Iterable[Food | FoodRow], columns: tuple[str, ...] | None = None) -> None:
        self.rows = tuple(row if isinstance(row, FoodRow) else row_of_food(row) for row in rows)
        self._columns = columns

    @overload
    def __getitem__(self, place: int) -> Food: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[Food, ...]: ...

    def __getitem__(self, place: int | slice) -> Food | tuple[Food, ...]:
        return tuple(row.food for row in self.rows[place]) if isinstance(place, slice) else self.rows[place].food

    def __len__(self) -> int:
        return len(self.rows)

    def __iter__(self) -> Iterator[Food]:
        return (row.food for row in self.rows)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    __hash__ = None  # type: ignore[assignment]

    def __reduce__(self) -> tuple[type[Foods], tuple[tuple[Food, ...], tuple[str, ...]]]:
        """What is sent to another process is read."""
        return Foods, (tuple(self), self.columns)

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Nutrient columns that at least one food has, a figure or a bound, in the table's order."""
        if self._columns is not None:
            return self._columns
        return tuple(dict.fromkeys(column for food in self for column in (*food.amounts, *food.high)))

    @cached_property
    def places(self) -> dict[str, int]:
        """Where the food of a name or an id stands; both in small letters, names before ids."""
        by_id = {row.id.lower(): place for place, row in enumerate(self.rows)}
        return by_id | {row.name.lower(): place for place, row in enumerate(self.rows)}

    def with_role(self, role: str) -> tuple[Food, ...]:
        """Foods of a role ("fat", "sweetener"), in the table's order."""
        return tuple(row.food for row in self.rows if f",{role}," in row.text and row.food.role == role)
