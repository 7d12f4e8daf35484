"""Composition tables laid over one another: a later row wins, and takes no warning away.

A table without composition columns amends: what its cells say is changed in the rows of the tables before it, and the
rest of each row stays as it was.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

from ratio_solver.errors import Fault, collected, shown
from ratio_solver.foods.food import Food
from ratio_solver.foods.sequence import Foods, Row, Unread, food_of


@dataclass(frozen=True)
class Amendment:
    """What one line changes in a row of the tables before it.

    Attributes
    ----------
    key : str
        Name or id of the food.
    source, place : str
        File and line, for a fault.
    price, refuse, most, pack : float or None
        None leaves what was there, as does an empty text.
    role, most_because : str
    allergens : tuple of str or None
        Beside those that are known; None where it says none.
    allergens_complete : bool or None
        Whether the line says that there are no others; None where it says nothing of allergens.
    measures : mapping of str to float
        Beside those that are there, or in their place.
    also : tuple of str
        Other names beside those that are there.
    use : tuple of str
        The same of its uses.
    amounts : mapping of str to float
        Nutrients; the interval of the one before goes with it.
    """

    key: str
    source: str
    place: str
    price: float | None
    refuse: float | None
    most: float | None
    role: str
    most_because: str
    allergens: tuple[str, ...] | None
    allergens_complete: bool | None
    measures: Mapping[str, float]
    also: tuple[str, ...]
    use: tuple[str, ...]
    amounts: Mapping[str, float]
    pack: float | None = None

    def of(self, food: Food) -> Food:
        """The food with what the line says, and all else as it was."""
        return replace(
            food,
            price=food.price if self.price is None else self.price,
            pack=food.pack if self.pack is None else self.pack,
            refuse=food.refuse if self.refuse is None else self.refuse,
            most=food.most if self.most is None else self.most,
            role=self.role or food.role,
            most_because=self.most_because or food.most_because,
            allergens=food.allergens if self.allergens is None else
            tuple(dict.fromkeys((*(food.allergens or ()), *self.allergens))),
            allergens_complete=food.allergens_complete if self.allergens_complete is None else self.allergens_complete,
            measures={**food.measures, **self.measures},
            also=tuple(dict.fromkeys((*food.also, *self.also))),
            use=tuple(dict.fromkeys((*food.use, *self.use))),
            amounts={**food.amounts, **self.amounts},
            low=_without(food.low, self.amounts), high=_without(food.high, self.amounts),
            lowest=_without(food.lowest, self.amounts), highest=_without(food.highest, self.amounts),
        )


Layer = Foods | tuple[Amendment, ...]
"""The rows of one table: foods, or what it changes in those before it."""


def _without(ends: Mapping[str, float], columns: Mapping[str, float]) -> dict[str, float]:
    return {column: value for column, value in ends.items() if column not in columns}


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
            found[place] = change.of(food_of(found[place]))
    collected(faults)
    return Foods(found, _together(below.columns, (column for change in changes for column in change.amounts)))


def _together(below: Iterable[str], above: Iterable[str]) -> tuple[str, ...]:
    """Columns of tables, in the order of the tables; one stays where all foods that had it are replaced."""
    return tuple(dict.fromkeys((*below, *above)))


def _over(below: Foods, above: Foods) -> Foods:
    names = {row.name.lower(): row for row in above.rows}
    ids = {row.id.lower(): row for row in above.rows}
    replaced: dict[str, list[Row]] = {}
    kept = []
    for row in below.rows:
        same = {over.id: over for over in (names.get(row.name.lower()), ids.get(row.id.lower())) if over}
        for over in same.values():
            replaced.setdefault(over.id, []).append(row)
        if not same:
            kept.append(row)
    return Foods([*kept, *(_replacing(row, replaced.get(row.id, ())) for row in above.rows)],
                 _together(below.columns, above.columns))


def _replacing(row: Row, earlier: Sequence[Row]) -> Row:
    """A row in place of others; it is read no earlier than it was."""
    if not earlier:
        return row
    if isinstance(row, Unread):
        return Unread(row.name, row.id, row.row, lambda: _warned(food_of(row), list(map(food_of, earlier))))
    return _warned(row, list(map(food_of, earlier)))


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
