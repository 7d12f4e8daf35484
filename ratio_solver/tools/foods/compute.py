"""Foods that were looked for in the composition table, where the package's tables differ on one, and notes on rows."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.bundled import BUNDLED, DEFAULT_TABLE, bundled_rows
from ratio_solver.foods.content import content
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import FoodTable, bundled_table
from ratio_solver.outcome import Outcome

COMPARED = (NET_CARBS, "fat_g")

FIFTH = Fraction(1, 5)


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
    files : tuple of path
        Of the tables that were looked through.
    """

    words: str
    foods: tuple[Food, ...]
    in_full: bool = False
    near: tuple[str, ...] = ()
    files: tuple[Path, ...] = ()

    reported_in = "tools.foods.report"

    def tables_used(self) -> tuple[Path, ...]:
        """Those looked through."""
        return self.files

    @property
    def outcome(self) -> str:
        """Whether there is any, in a word."""
        return "found" if self.foods else "none"


def find_foods(table: FoodTable, words: str) -> FoodsFound:
    """The foods whose name, other name, id or role holds all the words."""
    found = tuple(table.search(words))
    return FoodsFound(words, found, near=() if found else tuple(table.near(words)), files=table.files)


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
    return FoodsFound(name, (food,), in_full=True, files=table.files)


@dataclass(frozen=True)
class Difference:
    """A food whose figures in another table differ from those shown by more than a fifth of the larger one.

    Attributes
    ----------
    file : str
        The other table's, as `bundled.DEFAULT_TABLE`.
    food : Food
        Its row there.
    columns : tuple of str
        Which of `COMPARED` differ so.
    """

    file: str
    food: Food
    columns: tuple[str, ...]


def differences(food: Food) -> tuple[Difference, ...]:
    """Where the tables that come with the package have the same food, by its name, with other figures.

    A figure below a limit of detection differs from none within that limit.
    """
    found = []
    for file in (DEFAULT_TABLE, *BUNDLED.values()):
        other = bundled_table(file).get(food.name)
        columns = () if other is None or other.id == food.id else tuple(
            column for column in COMPARED if _differ(food, other, column))
        if other is not None and columns:
            found.append(Difference(file, other, columns))
    return tuple(found)


def _differ(one: Food, other: Food, column: str) -> bool:
    here, there = (content(food, column, Policy()) for food in (one, other))
    if here is None or there is None or abs(here - there) <= FIFTH * max(here, there):
        return False
    return not (_within_limit(one, column, there) or _within_limit(other, column, here))


def _within_limit(food: Food, column: str, figure: Fraction) -> bool:
    """Whether a figure lies between none and a food's limit of detection: an interval with its own figure at an end."""
    tabled = "carbs_g" if column == NET_CARBS else column
    if not (food.has_end(tabled, "low") or food.has_end(tabled, "high")):
        return False  # derived from what it is the difference of: no limit of detection
    low, own, high = (content(food, column, Policy(), end) for end in ("low", "", "high"))
    return low == 0 and high is not None and own in (low, high) and figure <= high


def note_of(food: Food) -> str:
    """What a reader should know of a row of a table that comes with the package, beside its figures; may be empty."""
    return row_notes().get(food.id.lower(), "")


def row_notes() -> dict[str, str]:
    """All such notes, by the food's id."""
    return {row["id"].lower(): row["note"] for row in bundled_rows("notes.csv")}
