"""Recipes of files as arrays, those of one shape together: the same targets and policy, whatever the figures are."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace

import numpy as np

from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import WEIGHT
from ratio_solver.foods.policy import Policy
from ratio_solver.lp.model import Floats
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.choices import ways_to_choose
from ratio_solver.menu.rows import FoodArrays
from ratio_solver.recipe.model import Recipe


def shape_of(recipe: Recipe, guaranteed: Guaranteed = None) -> Hashable | None:
    """What recipes that are solved together have in common; None where arrays cannot express a recipe."""
    ends = tuple((target.nutrient, target.minimum is None, target.maximum is None) for target in recipe.targets)
    items = recipe.ingredients
    if recipe.tables or (recipe.policy.ratio_formula != Policy.ratio_formula and guaranteed):
        return None
    if not ways_to_choose(recipe) or any(item.in_bowl for item in items) or not any(item.adjustable for item in items):
        return None
    if recipe.target(WEIGHT) is not None and any(item.yield_ != 1 for item in items):
        return None  # as weighed: the rows divide by the yield what was there before
    return ends, recipe.policy.key


def arrays_of_recipes(named: Sequence[tuple[str, Recipe]], foods: FoodArrays) -> MenuArrays:
    """Arrays of recipes of one shape, each with its name in the menu; foods are those of `foods`."""
    recipes = [recipe for _, recipe in named]
    sizes = [len(recipe.ingredients) for recipe in recipes]
    items = [item for recipe in recipes for item in recipe.ingredients]

    def figures(values: Sequence[float | None]) -> Floats:
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    targets: dict[tuple[str, str], Floats] = {}
    for place, target in enumerate(recipes[0].targets):
        for end, given in (("min", "minimum"), ("max", "maximum")):
            if getattr(target, given) is not None:
                targets[target.nutrient, end] = figures([getattr(recipe.targets[place], given) for recipe in recipes])
    groups = tuple(map(_group_limits, recipes))
    return MenuArrays(
        len(recipes), np.concatenate(([0], np.cumsum(sizes))), np.repeat(np.arange(len(recipes)), sizes),
        np.array([name for name, _ in named], dtype=object), np.ones(len(recipes), dtype=bool),
        np.array([float(recipe.servings) for recipe in recipes]),
        np.array([foods.place[id(item.food)] for item in items]),
        np.array([item.label for item in items], dtype=object),
        figures([item.start for item in items]), figures([item.minimum for item in items]),
        figures([item.maximum for item in items]), figures([item.keep for item in items]),
        figures([item.yield_ for item in items]), figures([item.piece or item.step for item in items]), targets,
        groups if any(groups) else (), tuple(recipes), tuple(map(ways_to_choose, recipes)))


def _group_limits(recipe: Recipe) -> tuple[Limit, ...]:
    """The limits of its parts and proportions, and its choices."""
    if not (recipe.parts or recipe.proportions or recipe.chooses):
        return ()
    return tuple(limit for limit in limits_of(replace(recipe, targets=())) if limit.kind != "ingredient")
