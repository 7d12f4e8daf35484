"""Foods that were looked for in the composition table."""

from __future__ import annotations

from dataclasses import dataclass

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.food import Food
from ratio_solver.foods.table import FoodTable
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
    """

    words: str
    foods: tuple[Food, ...]
    in_full: bool = False

    reported_in = "tools.foods.report"

    @property
    def outcome(self) -> str:
        """Whether there is any, in a word."""
        return "found" if self.foods else "none"


def find_foods(table: FoodTable, words: str) -> FoodsFound:
    """The foods whose name, id or role holds all the words."""
    return FoodsFound(words, tuple(table.search(words)))


def one_food(table: FoodTable, name: str) -> FoodsFound:
    """The food of a name or id.

    Raises
    ------
    BadInput
        With what may have been meant, where there is none.
    """
    food = table.get(name)
    if food is None:
        raise BadInput([Fault("foods", "", repr(name), table.unknown(name))])
    return FoodsFound(name, (food,), in_full=True)
