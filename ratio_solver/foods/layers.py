"""Composition tables laid over one another: a later row wins, and takes no warning away."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from ratio_solver.foods.food import Food


def laid_over(layers: Iterable[Sequence[Food]]) -> tuple[Food, ...]:
    """The foods of all tables, names and ids unique, in the order of the tables.

    Parameters
    ----------
    layers : iterable of sequence of Food
        Each with unique names and ids; a row takes the place of every earlier one of its name or of its id.
    """
    found: tuple[Food, ...] = ()
    for layer in layers:
        found = _over(found, layer) if found else tuple(layer)
    return found


def _over(below: Sequence[Food], above: Sequence[Food]) -> tuple[Food, ...]:
    names = {food.name.lower(): food for food in above}
    ids = {food.id.lower(): food for food in above}
    replaced: dict[str, list[Food]] = {}
    kept = []
    for food in below:
        same = {row.id: row for row in (names.get(food.name.lower()), ids.get(food.id.lower())) if row}
        for row in same.values():
            replaced.setdefault(row.id, []).append(food)
        if not same:
            kept.append(food)
    return (*kept, *(_warned(food, replaced.get(food.id, ())) for food in above))


def _warned(food: Food, earlier: Sequence[Food]) -> Food:
    """A food with what the rows it replaces warn of and its own row says nothing about.

    One that does not tell its allergens (a table of prices, say) has those known before, and perhaps others; one that
    does not tell the most of it that a serving may hold has the least of those before; its other names are theirs.
    """
    if food.allergens is None:
        known = dict.fromkeys(word for row in earlier for word in row.allergens or ())
        food = replace(food, allergens=tuple(known) or None, allergens_complete=False)
    if food.most is None and not food.most_because:
        told = [row for row in earlier if row.most is not None or row.most_because]
        if told:
            first = min(told, key=lambda row: math.inf if row.most is None else row.most)
            food = replace(food, most=first.most, most_because=first.most_because)
    if not food.also:
        food = replace(food, also=tuple(dict.fromkeys(name for row in earlier for name in row.also)))
    return food
