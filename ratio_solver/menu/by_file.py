"""Recipes of files as arrays, together where the policy is the same and the targets can be put in one order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ratio_solver.dish.constraints import Limit, group_limits
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import WEIGHT
from ratio_solver.foods.policy import Policy
from ratio_solver.lp.model import Floats
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.choices import ways_to_choose
from ratio_solver.menu.rows import FoodArrays
from ratio_solver.recipe.model import Recipe


@dataclass
class Together:
    """Recipes that are solved together.

    Attributes
    ----------
    policy : Policy
    members : list of int
        Their numbers.
    order : list of str
        What they have targets on, in an order in which each has its own.
    """

    policy: Policy
    members: list[int] = field(default_factory=list)
    order: list[str] = field(default_factory=list)

    def takes(self, number: int, recipe: Recipe) -> bool:
        """Take a recipe in, where its policy is the same and its targets can be put in one order with the others'."""
        own, order = [target.nutrient for target in recipe.targets], list(self.order)
        shared = [order.index(nutrient) for nutrient in own if nutrient in order]
        if recipe.policy.key != self.policy.key or shared != sorted(shared):
            return False
        place = 0
        for nutrient in own:
            if nutrient not in order:
                order.insert(place, nutrient)
            place = order.index(nutrient) + 1
        self.order = order
        self.members.append(number)
        return True


def solved_together(recipes: Mapping[int, Recipe], guaranteed: Guaranteed = None) -> list[Together]:
    """Which recipes are solved together, without those that arrays cannot express."""
    found: list[Together] = []
    for number, recipe in recipes.items():
        if _told_by_arrays(recipe, guaranteed) and not any(some.takes(number, recipe) for some in found):
            found.append(Together(recipe.policy))
            found[-1].takes(number, recipe)
    return found


def _told_by_arrays(recipe: Recipe, guaranteed: Guaranteed) -> bool:
    """Whether arrays can express a recipe."""
    items = recipe.ingredients
    if recipe.tables or (recipe.policy.ratio_formula != Policy.ratio_formula and guaranteed):
        return False
    if not ways_to_choose(recipe) or any(item.in_bowl for item in items) or not any(item.adjustable for item in items):
        return False
    # As weighed: the rows divide by the yield what was there before.
    return recipe.target(WEIGHT) is None or all(item.yield_ == 1 for item in items)


def arrays_of_recipes(named: Sequence[tuple[str, Recipe]], order: Sequence[str], foods: FoodArrays) -> MenuArrays:
    """Arrays of recipes, each with its name in the menu; targets in this order; foods are those of `foods`."""
    recipes = [recipe for _, recipe in named]
    sizes = [len(recipe.ingredients) for recipe in recipes]
    items = [item for recipe in recipes for item in recipe.ingredients]

    def figures(values: Sequence[float | None]) -> Floats:
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    targets: dict[tuple[str, str], Floats] = {}
    for nutrient in order:
        own = [recipe.target(nutrient) for recipe in recipes]
        for end, given in (("min", "minimum"), ("max", "maximum")):
            bounds = figures([getattr(target, given, None) for target in own])
            if not np.isnan(bounds).all():
                targets[nutrient, end] = bounds
    groups = _groups_of(recipes)
    return MenuArrays(
        len(recipes), np.concatenate(([0], np.cumsum(sizes))), np.repeat(np.arange(len(recipes)), sizes),
        np.array([name for name, _ in named], dtype=object), np.ones(len(recipes), dtype=bool),
        np.array([float(recipe.servings) for recipe in recipes]),
        np.array([foods.place[id(item.food)] for item in items]),
        np.array([item.label for item in items], dtype=object),
        figures([item.start for item in items]), figures([item.minimum for item in items]),
        figures([item.maximum for item in items]), figures([item.keep for item in items]),
        figures([item.yield_ for item in items]), figures([item.piece or item.step for item in items]), targets,
        tuple(groups) if any(groups) else (), tuple(recipes), tuple(map(ways_to_choose, recipes)))


def _groups_of(recipes: Sequence[Recipe]) -> list[tuple[Limit, ...]]:
    """The limits of the parts and proportions of each, and its choices; those of a file are made once."""
    made: dict[tuple[int, ...], tuple[Limit, ...]] = {}
    keys = [tuple(map(id, (recipe.ingredients, recipe.parts, recipe.proportions, recipe.chooses)))
            for recipe in recipes]
    for key, recipe in zip(keys, recipes, strict=True):
        if key not in made:
            made[key] = tuple(group_limits(recipe))
    return [made[key] for key in keys]
