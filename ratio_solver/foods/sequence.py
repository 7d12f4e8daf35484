"""The foods of a table in their order, each read from its row when it is first asked for.

A command uses some ten foods of more than a thousand, and reading all takes longer than solving.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property
from typing import overload

from ratio_solver.foods.food import Food


class Unread:
    """A row of a composition table whose name and id are known, and the rest is read when it is asked for.

    Parameters
    ----------
    name, id : str
        As the food will have them.
    row : str
        The text of its row, in which its role is a cell between commas.
    read : function
        Gives the food.
    """

    def __init__(self, name: str, id: str, row: str, read: Callable[[], Food]) -> None:
        self.name, self.id, self.row, self._read = name, id, row, read

    @cached_property
    def food(self) -> Food:
        """The food, read once."""
        return self._read()


Row = Food | Unread


def food_of(row: Row) -> Food:
    """The food of a row."""
    return row.food if isinstance(row, Unread) else row


class Foods(Sequence[Food]):
    """Foods in the order of their table, names and ids unique.

    Parameters
    ----------
    rows : iterable of Food or Unread
    columns : tuple of str, optional
        Nutrient columns that at least one of them has; found by reading all of them unless given.
    """

    def __init__(self, rows: Iterable[Row], columns: tuple[str, ...] | None = None) -> None:
        self.rows = tuple(rows)
        self._columns = columns

    @overload
    def __getitem__(self, place: int) -> Food: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[Food, ...]: ...

    def __getitem__(self, place: int | slice) -> Food | tuple[Food, ...]:
        return tuple(map(food_of, self.rows[place])) if isinstance(place, slice) else food_of(self.rows[place])

    def __len__(self) -> int:
        return len(self.rows)

    def __iter__(self) -> Iterator[Food]:
        return map(food_of, self.rows)

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
        perhaps = (row for row in self.rows if not isinstance(row, Unread) or f",{role}," in row.row)
        return tuple(food for food in map(food_of, perhaps) if food.role == role)
