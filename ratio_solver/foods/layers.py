"""Composition tables laid over one another: a later row wins, and takes no warning away."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from ratio_solver.foods.food import Food

UNKNOWN = "unknown"
"""The word that says that there may be more allergens than those named."""


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


def _warned(food: Food, earlier: Iterable[Food]) -> Food:
    """A food with what the rows it replaces warn of and its own row says nothing about.

    One that does not tell its allergens (a table of prices, say) has those known before, and perhaps others.
    """
    if food.allergens is not None:
        return food
    known = dict.fromkeys(word for row in earlier for word in row.allergens or ())
    return replace(food, allergens=(*(word for word in known if word != UNKNOWN), UNKNOWN)) if known else food
