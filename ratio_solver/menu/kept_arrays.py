"""Arrays of foods that are kept from one part of a menu to the next: making them takes longer than a part."""

from __future__ import annotations

from collections.abc import Hashable, Iterable

from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.rows import FoodArrays

MOST_KEPT = 4
"""Arrays of foods that are kept, for so many policies."""

_ARRAYS: dict[Hashable, FoodArrays] = {}


def arrays_of(table: FoodTable, foods: Iterable[Food], policy: Policy, guaranteed: Guaranteed) -> FoodArrays:
    """Arrays with these foods; those used last are kept, and have others too."""
    key = policy.key, guaranteed
    kept = _ARRAYS.pop(key, None)
    before = kept.foods if kept is not None and kept.table is table else []
    several = {id(food): food for food in (*before, *foods)}
    if kept is None or len(several) > len(before):
        kept = FoodArrays(table, list(several.values()), policy, guaranteed)
    _ARRAYS[key] = kept
    while len(_ARRAYS) > MOST_KEPT:
        del _ARRAYS[next(iter(_ARRAYS))]
    return kept
