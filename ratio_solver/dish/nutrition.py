"""Facts per serving: what the weights of a recipe amount to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.dish.constraints import CARBS, least_per_gram, per_gram, ratio_vectors
from ratio_solver.dish.preparation import cooked_batch
from ratio_solver.exact import ZERO, dot
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.recipe.model import Recipe

LEADING = (
    ENERGY, "fat_g", "protein_g", "carbs_g", "fibre_g", "soluble_fibre_g", "insoluble_fibre_g", NET_CARBS,
)
"""Columns that come first, in this order."""


WHOLLY_KNOWN = ("soluble_fibre_g", "insoluble_fibre_g")
"""Columns left out where any figure is unknown: tables rarely have them, and a part of them says nothing."""


@dataclass(frozen=True)
class Facts:
    """Nutrition of one serving.

    Attributes
    ----------
    ratio : Fraction or None
        By the recipe's formula; None where there is neither protein nor carbohydrate.
    amounts : mapping of str to Fraction
        Nutrient column to amount per serving, in the column's unit; of the ingredients whose figure is
        known (total carbohydrate: at least what a table has that leaves fibre out and does not know it).
    unknown : mapping of str to tuple of str
        Nutrient column to the labels of used ingredients whose figure is unknown: there the amount is
        the least it can be.
    weight : Fraction
        Grams of one serving, as weighed.
    cooked : Fraction or None
        Grams of one serving after cooking, where the recipe says what the batch then weighs.
    """

    ratio: Fraction | None
    amounts: Mapping[str, Fraction]
    unknown: Mapping[str, tuple[str, ...]]
    weight: Fraction
    cooked: Fraction | None = None


def facts_of(recipe: Recipe, weights: Sequence[Fraction]) -> Facts:
    """Facts per serving at these weights (g for the batch, one per ingredient), exact."""
    columns = dict.fromkeys([*LEADING, *(c for i in recipe.ingredients for c in i.food.amounts)])
    amounts: dict[str, Fraction] = {}
    unknown: dict[str, tuple[str, ...]] = {}
    for column in columns:
        total, missing, known = ZERO, [], False
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True):
            sure = per_gram(ingredient, column, recipe) is not None
            known = known or sure or column == CARBS
            total += least_per_gram(ingredient, column, recipe) * weight
            if weight and not sure:
                missing.append(ingredient.label)
        if known and not (missing and column in WHOLLY_KNOWN):
            amounts[column] = total / recipe.servings
            if missing:
                unknown[column] = tuple(missing)
    above, below = ratio_vectors(recipe)
    divisor = dot(below, weights)
    ratio = dot(above, weights) / divisor if divisor else None
    cooked = cooked_batch(recipe, weights)
    return Facts(ratio, amounts, unknown, sum(weights, ZERO) / recipe.servings,
                 None if cooked is None else cooked / recipe.servings)
