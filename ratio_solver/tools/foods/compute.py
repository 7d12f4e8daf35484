"""Foods that were looked for in the composition table."""

from __future__ import annotations

from dataclasses import dataclass

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.bundled import DEFAULT_TABLE
from ratio_solver.foods.food import Food
from ratio_solver.foods.table import FoodTable, bundled_search, load_foods
from ratio_solver.outcome import Outcome


@dataclass(frozen=True, repr=False)
class FoodsFound(Outcome):
    """What a search found, or one food to be shown in full; its `outcome` is "found" or "none".

    Attributes
    ----------
    words : str
        What was looked for.
    foods : tuple of Food
    in_full : bool
        Whether it is one food that was named.
    near : tuple of str
        Where there is none: names that come near to the words.
    """

    words: str
    foods: tuple[Food, ...]
    in_full: bool = False
    near: tuple[str, ...] = ()

    reported_in = "tools.foods.report"

    @property
    def outcome(self) -> str:
        """Whether there is any, in a word."""
        return "found" if self.foods else "none"


def find_foods(table: FoodTable | None, words: str) -> FoodsFound:
    """The foods whose name, other name, id or role holds all the words; without a table those of the package's own."""
    found = bundled_search(DEFAULT_TABLE, words) if table is None else table.search(words)
    near = () if found else (table or load_foods()).near(words)
    return FoodsFound(words, tuple(found), near=tuple(near))


def one_food(table: FoodTable, name: str) -> FoodsFound:
    """The food of a name or id.

    Raises
    ------
    BadInput
        With what may have been meant, where there is none.
    """
    food = table.find(name)
    if food is None:
        raise BadInput([Fault("foods", "", repr(name), table.unknown(name))])
    return FoodsFound(name, (food,), in_full=True)
