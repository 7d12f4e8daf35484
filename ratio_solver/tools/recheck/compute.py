"""What was published, reckoned again: which figures no longer hold, by how much, and which food moved them."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import ClassVar

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.table import load_foods
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import recipe_from
from ratio_solver.tools.card.claims import BROKEN, Claim, figures_of
from ratio_solver.tools.recheck.record import Published, read_record, rechecked, tables_of

HOLDS, NO_LONGER = "holds", "broken"
GONE = "no longer stated"
TO_ONE = ":1"
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")


@dataclass(frozen=True)
class FoodMoved:
    """A figure of a food that is another one than it was, per 100 g.

    Attributes
    ----------
    ingredient, food, column, before, now : str
        Figures as text; empty where it is not known.
    """

    ingredient: str
    food: str
    column: str
    before: str
    now: str


@dataclass(frozen=True)
class Moved:
    """A published figure that no longer holds.

    Attributes
    ----------
    name, published, now : str
        As they are printed.
    by : str
        The difference with its sign, where both are one number; else empty.
    foods : tuple of FoodMoved
        What moved it; empty where no food did.
    """

    name: str
    published: str
    now: str
    by: str
    foods: tuple[FoodMoved, ...]

    @property
    def limit_broken(self) -> bool:
        """Whether it is a limit that is no longer kept."""
        return self.now == BROKEN


@dataclass(frozen=True)
class DishRechecked:
    """One dish: the figures that no longer hold, or why it could not be reckoned again."""

    title: str
    moved: tuple[Moved, ...] = ()
    faults: tuple[Fault, ...] = ()
    recipe: Recipe | None = None


@dataclass(frozen=True, repr=False)
class Recheck(Outcome):
    """All dishes of a record, reckoned again; its `outcome` is "holds" or "broken".

    Attributes
    ----------
    dishes : tuple of DishRechecked
    """

    dishes: tuple[DishRechecked, ...]

    reported_in = "tools.recheck.report"
    about: ClassVar[str] = "first"

    @property
    def outcome(self) -> str:
        """Whether every published figure still holds, in a word."""
        return NO_LONGER if any(dish.moved for dish in self.dishes) else HOLDS

    @property
    def first(self) -> Recipe | None:
        """The first recipe that could be read: its tables are those of all."""
        return next((dish.recipe for dish in self.dishes if dish.recipe is not None), None)

    @property
    def unreadable(self) -> tuple[Fault, ...]:
        """Why dishes could not be reckoned again."""
        return tuple(fault for dish in self.dishes for fault in dish.faults)


def recheck(record: str | Path, tables: Sequence[str | Path] = ()) -> Recheck:
    """Reckon again what was published.

    Parameters
    ----------
    record : path
        What `card --record` or `book` wrote.
    tables : sequence of path or str
        Composition tables as `load_foods` takes them, laid over those that it was reckoned with.

    Returns
    -------
    Recheck

    Raises
    ------
    BadInput
        Where the record, or a table, cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> from ratio_solver import check, load_foods, read_recipe, recheck, record
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "published.json"
    ...     _ = path.write_text(record([check(gratin)], path), encoding="utf-8")
    ...     recheck(path).outcome
    'holds'
    """
    folder = Path(record).absolute().parent
    return Recheck(tuple(_rechecked(dish, folder, tables, str(record)) for dish in read_record(record)))


def _rechecked(dish: Published, folder: Path, tables: Sequence[str | Path], source: str) -> DishRechecked:
    try:
        foods = load_foods(*tables_of(dish, folder), *tables)
        recipe = recipe_from(tomllib.loads(dish.text), foods, f"{source}: {dish.title}", folder)
        found, now = rechecked(recipe, dish)
    except BadInput as bad:
        return DishRechecked(dish.title, faults=bad.faults)
    after = {claim.name: claim for claim in now}
    before = {claim.name: claim for claim in dish.claims}
    columns = list(dict.fromkeys(column for claim in (*dish.claims, *now) for column in claim.columns))
    moved_foods = _foods_moved(recipe, dish, columns)
    moved = [_moved(name, before.get(name), after.get(name), moved_foods) for name in dict.fromkeys([*before, *after])
             if (before[name].value if name in before else None) != (after[name].value if name in after else None)]
    return DishRechecked(dish.title, tuple(moved), recipe=found.recipe)


def _foods_moved(recipe: Recipe, dish: Published, columns: Sequence[str]) -> list[FoodMoved]:
    """Every figure of a food that is another one than it was."""
    return [FoodMoved(item.label, item.food.name, column, was, now)
            for item in recipe.ingredients if item.start
            for column, now in figures_of(item.food, columns, recipe.policy).items()
            if (was := dish.foods.get(item.label, {}).get(column, now)) != now]


def _moved(name: str, before: Claim | None, now: Claim | None, foods: Sequence[FoodMoved]) -> Moved:
    columns = {column for claim in (before, now) if claim for column in claim.columns}
    was, becomes = (claim.value if claim else GONE for claim in (before, now))
    return Moved(name, was, becomes, _difference(was, becomes),
                 tuple(food for food in foods if food.column in columns))


def _difference(before: str, now: str) -> str:
    """The difference of two printed figures, where each has one number; with the digits of the finer."""
    before, now = before.removesuffix(TO_ONE), now.removesuffix(TO_ONE)
    numbers = [_NUMBER.findall(text) for text in (before, now)]
    if any(len(found) != 1 for found in numbers) or before.replace(numbers[0][0], "") != now.replace(numbers[1][0], ""):
        return ""
    decimals = max(len(found[0].partition(".")[2]) for found in numbers)
    return f"{float(Fraction(numbers[1][0]) - Fraction(numbers[0][0])):+.{decimals}f}"
