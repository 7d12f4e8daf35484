"""What was published, reckoned again: which figures no longer hold, by how much, and which food moved them.

Its report tells nothing where all of them hold.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import ClassVar

from ratio_solver.dish.check import check
from ratio_solver.dish.notices import NONE_KNOWN
from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.bundled import BUNDLED
from ratio_solver.foods.nutrients import spoken
from ratio_solver.foods.table import load_foods
from ratio_solver.outcome import Outcome
from ratio_solver.output.blocks import BAD, STRONG, Block, Text, section, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import counted
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import recipe_from
from ratio_solver.tools.card.claims import ALLERGENS, BROKEN, LABEL, Claim, claims_of, figures_of
from ratio_solver.tools.recheck.record import Published, read_record

HOLDS, NO_LONGER = "holds", "broken"


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
        own = (table if table in BUNDLED else str(folder / table) for table in dish.own_tables)
        foods = load_foods(*own, *tables)
        recipe = recipe_from(tomllib.loads(dish.text), foods, f"{source}: {dish.title}", folder)
        now = claims_of(check(recipe, guaranteed=dish.guaranteed), dish.label)
    except BadInput as bad:
        return DishRechecked(dish.title, faults=bad.faults)
    columns = list(dict.fromkeys(column for claim in (*dish.claims, *now) for column in claim.columns))
    foods_moved = [FoodMoved(item.label, item.food.name, column, was, figure)
                   for item in recipe.ingredients if item.start
                   for column, figure in figures_of(item.food, columns, recipe.policy).items()
                   if (was := dish.foods.get(item.label, {}).get(column, figure)) != figure]
    moved = []
    for name, (old, new) in _claims_by_name(dish.claims, now).items():
        was, becomes = (claim.value if claim else "no longer stated" for claim in (old, new))
        if was != becomes:
            of = {column for claim in (old, new) if claim for column in claim.columns}
            moved.append(Moved(name, was, becomes, _difference(was, becomes),
                               tuple(food for food in foods_moved if food.column in of)))
    return DishRechecked(dish.title, tuple(moved), recipe=recipe)


def _claims_by_name(before: Sequence[Claim], now: Sequence[Claim]) -> dict[str, tuple[Claim | None, Claim | None]]:
    """What each figure was and is, in the order of what was published."""
    old, new = ({claim.name: claim for claim in claims} for claims in (before, now))
    return {name: (old.get(name), new.get(name)) for name in dict.fromkeys([*old, *new])}


def _difference(before: str, now: str) -> str:
    """The difference of two printed figures, where each has one number; with the digits of the finer."""
    before, now = before.removesuffix(":1"), now.removesuffix(":1")
    numbers = [re.findall(r"[0-9]+(?:\.[0-9]+)?", text) for text in (before, now)]
    if any(len(found) != 1 for found in numbers) or before.replace(numbers[0][0], "") != now.replace(numbers[1][0], ""):
        return ""
    decimals = max(len(found[0].partition(".")[2]) for found in numbers)
    return f"{float(Fraction(numbers[1][0]) - Fraction(numbers[0][0])):+.{decimals}f}"


LONG = 18
"""Letters of a figure from which on its columns may take several lines: a figure that is cut is not told."""


def text(found: Recheck) -> Block:
    """The dishes of which a figure no longer holds; nothing of the others."""
    return tuple(_dish_section(dish) for dish in found.dishes if dish.moved)


def _dish_section(dish: DishRechecked) -> Block:
    limits, several = sum(one.limit_broken for one in dish.moved), len(dish.moved) > 1
    told = f"{counted(len(dish.moved), 'published figure')} no longer hold{'' if several else 's'}"
    told += f", {limits} of them limit{'s' if limits > 1 else ''}" if limits else ""
    side = "left" if any(max(len(one.published), len(one.now)) > LONG for one in dish.moved) else "right"
    return (
        Text.assemble((dish.title, STRONG), "  ", (told, f"{STRONG} {BAD}")),
        table_of((("figure", "left"), ("published", side), ("now", side), ("by", "right")),
                 ((one.name, one.published, Text(one.now, BAD if one.limit_broken else ""), one.by)
                  for one in dish.moved)),
        section("Moved by, per 100 g", *(list(map(food_line, _told_once(dish))) or [
            "no food's figures: what is reckoned of them is another"])),
    )


def _told_once(dish: DishRechecked) -> list[FoodMoved]:
    """What moved: of a food whose own figures did, not what labels make of them as well."""
    foods = list(dict.fromkeys(food for one in dish.moved for food in one.foods))
    own = {food.ingredient for food in foods if not food.column.startswith(LABEL)}
    return [food for food in foods if food.ingredient not in own or not food.column.startswith(LABEL)]


def food_line(food: FoodMoved) -> str:
    """A figure of a food that moved: "celeriac, raw: total carbs 9.2 -> 9.9"."""
    name = food.column.removeprefix(LABEL)
    told = f"{spoken(name)} (label)" if food.column.startswith(LABEL) else spoken(name)
    nothing = NONE_KNOWN if food.column == ALLERGENS else "not known"
    return f"{food.food}: {told} {food.before or nothing} -> {food.now or nothing}"


def data(found: Recheck) -> Data:
    """Every dish with what no longer holds."""
    return {"outcome": found.outcome, "dishes": [
        {"title": dish.title, "faults": [str(fault) for fault in dish.faults], "moved": [
            {"figure": one.name, "published": one.published, "now": one.now, "by": one.by or None,
             "limit_broken": one.limit_broken, "foods": [
                 {"ingredient": food.ingredient, "food": food.food, "column": food.column,
                  "before": food.before or None, "now": food.now or None} for food in one.foods]}
            for one in dish.moved]}
        for dish in found.dishes]}


def rows(found: Recheck) -> Rows:
    """A row for each figure that no longer holds."""
    return ("dish", "figure", "published", "now", "by", "moved_by"), [
        {"dish": dish.title, "figure": one.name, "published": one.published, "now": one.now, "by": one.by,
         "moved_by": "; ".join(map(food_line, one.foods))} for dish in found.dishes for one in dish.moved]
