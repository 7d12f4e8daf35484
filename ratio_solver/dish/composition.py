"""The composition matrix of a recipe: what 1 g of each ingredient, as weighed, brings of every nutrient, exactly.

A column is made when it is first asked for and is kept with the recipe. Limits, facts and all that is said of a dish
take their figures from here.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from ratio_solver.exact import ONE, Vector, dot, exact
from ratio_solver.foods.content import FREE, Held, content, least_content
from ratio_solver.foods.ends import End, Kind
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, WEIGHT
from ratio_solver.foods.quantities import RATIOS, Terms
from ratio_solver.foods.worst import worst_corner
from ratio_solver.recipe.model import Ingredient, Recipe, once

BY_POLICY = (NET_CARBS, ENERGY)
"""Columns whose figures depend on the policy."""

Known = tuple[Fraction | None, ...]


def per_gram(ingredient: Ingredient, column: str, recipe: Recipe, end: End = "") -> Fraction | None:
    """Amount of a nutrient in 1 g of an ingredient as weighed, or None where it is unknown.

    That of 1 g before preparation is kept with the food, for each policy that has a say in it.
    """
    if column == WEIGHT:
        return ONE
    kept = ingredient.food.computed
    key = column, end, recipe.policy.key if column in BY_POLICY else None
    if key not in kept:
        amount = content(ingredient.food, column, recipe.policy, end)
        kept[key] = None if amount is None else amount / 100
    amount = kept[key]
    return amount if not amount or ingredient.yield_ == 1 else amount / exact(ingredient.yield_)


def least_per_gram(ingredient: Ingredient, column: str, recipe: Recipe, end: End = "",
                   held: Held = FREE) -> Fraction:
    """The same, and where it is unknown the least that it can be."""
    if column == WEIGHT:
        return ONE
    return least_content(ingredient.food, column, recipe.policy, end, held) / 100 / exact(ingredient.yield_)


@once
def _amounts_of(recipe: Recipe, column: str, end: End) -> tuple[Known, Vector]:
    known = tuple(per_gram(item, column, recipe, end) for item in recipe.ingredients)
    return known, tuple(
        least_per_gram(item, column, recipe, end) if amount is None else amount
        for item, amount in zip(recipe.ingredients, known, strict=True))


def known_amounts(recipe: Recipe, column: str, end: End = "") -> Known:
    """Amount of a nutrient in 1 g of each ingredient as weighed; None where it is unknown."""
    return _amounts_of(recipe, column, end)[0]


def least_amounts(recipe: Recipe, column: str, end: End = "") -> Vector:
    """The same, and where it is unknown the least that it can be."""
    return _amounts_of(recipe, column, end)[1]


@once
def ratio_vectors(recipe: Recipe) -> tuple[Vector, Vector]:
    """Numerator and denominator of the ratio per g of each ingredient, by the recipe's formula."""
    return _by_formula(recipe, lambda column: least_amounts(recipe, column))


@once
def worst_ratio_vectors(recipe: Recipe, at_least: bool, bound: Fraction, kind: Kind) -> tuple[Vector, Vector]:
    """The same where the composition within its intervals makes a limit on the ratio hardest to keep."""
    corners = [worst_corner(item.food, recipe.policy, at_least, bound, kind) for item in recipe.ingredients]
    return _by_formula(recipe, lambda column: tuple(
        least_per_gram(item, column, recipe, corner.ends.get(column, ""), corner.held)
        for item, corner in zip(recipe.ingredients, corners, strict=True)))


def _by_formula(recipe: Recipe, amounts: Callable[[str], Vector]) -> tuple[Vector, Vector]:
    ratio = RATIOS[recipe.policy.ratio_formula]
    return summed(ratio.above, amounts), summed(ratio.below, amounts)


def summed(terms: Terms, amounts: Callable[[str], Vector]) -> Vector:
    """A sum of nutrients per g of each ingredient, from the amounts of each column."""
    coefficients = tuple(map(Fraction, terms.values()))
    return tuple(dot(coefficients, amounts_of_one) for amounts_of_one in zip(*map(amounts, terms), strict=True))
