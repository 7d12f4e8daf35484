"""The composition matrix of a recipe: what 1 g of each ingredient, as weighed, brings of every nutrient, exactly.

A column is made when it is first asked for and is kept with the recipe. Limits, facts and all that is said of a dish
take their figures from here.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from ratio_solver.exact import ZERO, Vector, dot, exact
from ratio_solver.foods.content import FREE, Held, content, least_content
from ratio_solver.foods.ends import End, Kind
from ratio_solver.foods.policy import RATIO_TERMS
from ratio_solver.foods.worst import worst_corner
from ratio_solver.recipe.model import Ingredient, Recipe, once

FIBRE = "fibre_g"
"""Unknown fibre counts as none, with a warning: net carbohydrate can only be lower. Total carbohydrate can be higher
where a table leaves fibre out, so there it counts as unknown."""
CARBS = "carbs_g"
ALCOHOL = "alcohol_g"

Known = tuple[Fraction | None, ...]


def per_gram(ingredient: Ingredient, column: str, recipe: Recipe, end: End = "") -> Fraction | None:
    """Amount of a nutrient in 1 g of an ingredient as weighed, or None where it is unknown."""
    amount = content(ingredient.food, column, recipe.policy, end)
    return None if amount is None else _as_weighed(ingredient, amount)


def least_per_gram(ingredient: Ingredient, column: str, recipe: Recipe, end: End = "",
                   held: Held = FREE) -> Fraction:
    """The same, and where it is unknown the least that it can be."""
    return _as_weighed(ingredient, least_content(ingredient.food, column, recipe.policy, end, held))


def _as_weighed(ingredient: Ingredient, per_100_g: Fraction) -> Fraction:
    """What 1 g as weighed has of what 100 g have before preparation."""
    return per_100_g / 100 / exact(ingredient.yield_) if per_100_g else ZERO


@once
def _column(recipe: Recipe, column: str, end: End) -> tuple[Known, Vector]:
    known = tuple(per_gram(item, column, recipe, end) for item in recipe.ingredients)
    return known, tuple(
        least_per_gram(item, column, recipe, end) if amount is None else amount
        for item, amount in zip(recipe.ingredients, known, strict=True))


def known_amounts(recipe: Recipe, column: str, end: End = "") -> Known:
    """Amount of a nutrient in 1 g of each ingredient as weighed; None where it is unknown."""
    return _column(recipe, column, end)[0]


def least_amounts(recipe: Recipe, column: str, end: End = "") -> Vector:
    """The same, and where it is unknown the least that it can be."""
    return _column(recipe, column, end)[1]


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
    above, below = (
        tuple(dot(tuple(map(Fraction, terms.values())), amounts_of_one)
              for amounts_of_one in zip(*map(amounts, terms), strict=True))
        for terms in RATIO_TERMS[recipe.policy.ratio_formula])
    return above, below
