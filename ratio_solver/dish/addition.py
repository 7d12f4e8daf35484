"""Foods added to a dish as it is written, and whether a person may eat so much of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ratio_solver.dish.most import Most, most_of
from ratio_solver.exact import ZERO, Vector
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.recipe.model import BATCH, Ingredient, Recipe

KEEPS, BREAKS, BEYOND = "keeps every limit", "breaks a limit", "more than a person may eat"
"""How a food fares that is tried in a dish, in words of the reports."""


def with_added(recipe: Recipe, foods: Sequence[Food], grams: Sequence[float] = ()) -> Recipe:
    """The recipe with fixed ingredients added at its end (of no part; a proportion to the batch counts them)."""
    weights = grams or (0.0,) * len(foods)
    taken = {ingredient.label.lower() for ingredient in recipe.ingredients}
    added = tuple(
        Ingredient(f"{food.name}, added" if food.name.lower() in taken else food.name, food, weight)
        for food, weight in zip(foods, weights, strict=True)
    )
    labels = tuple(ingredient.label for ingredient in added)

    def grown(group: tuple[str, ...], name: str) -> tuple[str, ...]:
        return (*group, *labels) if is_batch(name) else group

    return replace(
        recipe,
        ingredients=(*recipe.ingredients, *added),
        proportions=tuple(
            replace(share, of=grown(share.of, share.of_name), to=grown(share.to, share.to_name))
            for share in recipe.proportions
        ),
    )


def is_batch(name: str) -> bool:
    return BATCH in name.lower().split(" + ")


def beyond_with(recipe: Recipe, foods: Sequence[Food], weights: Vector, grams: Vector,
                guaranteed: Guaranteed) -> tuple[str, ...]:
    """What a serving would hold beyond the most that a person may eat, where foods are added to a recipe.

    Of a food that is added, with what the dish has of it already; of a substance, where the dish without has not too
    much of it by itself.

    Parameters
    ----------
    recipe : Recipe
    foods : sequence of Food
    weights, grams : tuple of Fraction
        Of the recipe's ingredients, and of the foods, g for the batch.
    guaranteed : bool
        Reckon substances at the high end of the table's intervals.
    """
    grown = with_added(recipe, foods)
    before, after = (*weights, *[ZERO] * len(foods)), (*weights, *grams)
    return tuple(most.told(grown, after) for most in most_of_added(grown, len(foods), guaranteed)
                 if most.passed(after) and (most.food or not most.passed(before)))


def most_of_added(grown: Recipe, added: int, guaranteed: Guaranteed) -> list[Most]:
    """The most of each food and substance that the last ingredients of a recipe, which are added, bring some of."""
    return [most for most in most_of(grown, guaranteed=guaranteed) if any(most.limit.numerator[-added:])]
