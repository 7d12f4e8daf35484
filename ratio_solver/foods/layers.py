"""Composition tables laid over one another: a later row wins, and takes no warning away.

A table without composition columns amends: what its cells say is changed in the rows of the tables before it, and the
rest of each row stays as it was.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any

from ratio_solver.errors import Fault, collected, shown
from ratio_solver.foods.ends import ENDS
from ratio_solver.foods.food import Food, FoodRow, Foods, row_of_food


@dataclass(frozen=True)
class Amendment:
    """What one line changes in a row of the tables before it.

    Attributes
    ----------
    key : str
        Name or id of the food.
    source, place : str
        File and line, for a fault.
    said : mapping
        What its cells say, by the attribute of a food. None and an empty text leave what was there; other names, uses,
        allergens, measures and nutrients are beside those that are there, or in their place.
    """

    key: str
    source: str
    place: str
    said: Mapping[str, Any]

    def of(self, food: Food) -> Food:
        """The food with what the line says, and all else as it was; of a nutrient the interval goes."""
        said = {name: _with_said(getattr(food, name), value) for name, value in self.said.items()
                if value is not None and value != ""}
        ends: dict[str, Any] = {end: {column: value for column, value in food.ends(end).items()
                                      if column not in self.said["amounts"]} for end in ENDS}
        return replace(food, **said, **ends)


def _with_said(before: Any, said: Any) -> Any:
    """What an attribute is where a line says something of it: several beside those before, one in its place."""
    if isinstance(said, Mapping):
        return {**before, **said}
    return tuple(dict.fromkeys((*(before or ()), *said))) if isinstance(said, tuple) else said


Layer = Foods | tuple[Amendment, ...]
"""The rows of one table: foods, or what it changes in those before it."""


def laid_over(layers: Iterable[Layer]) -> Foods:
    """The foods of all tables, names and ids unique, in the order of the tables.

    Parameters
    ----------
    layers : iterable of Foods or sequence of Amendment
        Foods each with unique names and ids; a row takes the place of every earlier one of its name or of its id.

    Raises
    ------
    BadInput
        With every amendment of a food that no table before it has.
    """
    found = Foods(())
    for layer in layers:
        found = _over(found, layer) if isinstance(layer, Foods) else _amended(found, layer)
    return found


def _amended(below: Foods, changes: Sequence[Amendment]) -> Foods:
    found, faults = list(below.rows), []
    for change in changes:
        place = below.places.get(change.key.lower())
        if place is None:
            near = get_close_matches(change.key.lower(), below.places, n=1, cutoff=0.6)
            meant = f"; did you mean {found[below.places[near[0]]].name!r}?" if near else ""
            faults.append(Fault(change.source, f"{change.place}, food", shown(change.key),
                                f"expected a food of the tables before this one, which it amends{meant}"))
        else:
            found[place] = row_of_food(change.of(found[place].food))
    collected(faults)
    return Foods(found, _together(below.columns, (column for change in changes for column in change.said["amounts"])))


def _together(below: Iterable[str], above: Iterable[str]) -> tuple[str, ...]:
    """Columns of tables, in the order of the tables; one stays where all foods that had it are replaced."""
    return tuple(dict.fromkeys((*below, *above)))


def _over(below: Foods, above: Foods) -> Foods:
    names = {row.name.lower(): row for row in above.rows}
    ids = {row.id.lower(): row for row in above.rows}
    replaced: dict[str, list[FoodRow]] = {}
    kept = []
    for row in below.rows:
        same = {over.id: over for over in (names.get(row.name.lower()), ids.get(row.id.lower())) if over}
        for over in same.values():
            replaced.setdefault(over.id, []).append(row)
        if not same:
            kept.append(row)
    return Foods([*kept, *(_replacing(row, replaced.get(row.id, ())) for row in above.rows)],
                 _together(below.columns, above.columns))


def _replacing(row: FoodRow, earlier: Sequence[FoodRow]) -> FoodRow:
    """A row in place of others; it is read no earlier than it was."""
    if not earlier:
        return row
    return FoodRow(row.name, row.id, row.text, lambda: _warned(row.food, [one.food for one in earlier]))


def _warned(food: Food, earlier: Sequence[Food]) -> Food:
    """A food with what the rows it replaces warn of and its own row says nothing about.

    One that does not tell its allergens has those known before, and perhaps others; of one that does, those before that
    it has not are kept in mind. One that does not tell the most of it that a serving may hold has the least of those
    before; its other names and its uses are theirs.
    """
    known = dict.fromkeys(word for row in earlier for word in row.allergens or ())
    told = tuple(f"{row.name} ({row.id}; {row.source or 'source unknown'})" for row in earlier)
    if food.allergens is None:
        food = replace(food, allergens=tuple(known) or None, allergens_complete=False)
    food = replace(food, replaces=told, dropped=tuple(word for word in known if word not in (food.allergens or ())))
    if food.most is None and not food.most_because:
        warned = [row for row in earlier if row.most is not None or row.most_because]
        if warned:
            first = min(warned, key=lambda row: math.inf if row.most is None else row.most)
            food = replace(food, most=first.most, most_because=first.most_because)
    if not food.also:
        food = replace(food, also=tuple(dict.fromkeys(name for row in earlier for name in row.also)))
    if not food.use:
        food = replace(food, use=tuple(dict.fromkeys(use for row in earlier for use in row.use)))
    return food
