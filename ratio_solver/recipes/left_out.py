"""What a recipe's policy leaves out of the net carbs, beside fibre: erythritol, other polyols, allulose.

Of every food  net carbs = max(0, total carbohydrate - fibre - left out);  what is left out is therefore at most
the carbohydrate that fibre leaves over, and total - fibre - left out = net holds for the dish as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from ratio_solver.foods.content import ZERO
from ratio_solver.foods.food import exact
from ratio_solver.recipes.limits import per_gram
from ratio_solver.recipes.recipe import Ingredient, Recipe

NAMES: Mapping[str, str] = {"erythritol": "erythritol", "polyols": "other polyols", "allulose": "allulose"}
"""Key of a policy to the name of what it leaves out."""


def left_out(recipe: Recipe, weights: Sequence[Fraction]) -> dict[str, Fraction]:
    """Carbohydrate that does not count, by its name: g per serving, only what there is.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    """
    total = dict.fromkeys(NAMES, ZERO)
    for ingredient, weight in zip(recipe.ingredients, weights, strict=True):
        for key, amount in _of(ingredient, recipe).items():
            total[key] += amount * weight
    return {NAMES[key]: amount / recipe.servings for key, amount in total.items() if amount}


def _of(ingredient: Ingredient, recipe: Recipe) -> dict[str, Fraction]:
    """g left out per g of the ingredient; of several that together exceed the carbohydrate each gives way alike."""
    def gram(column: str) -> Fraction:
        return per_gram(ingredient, column, recipe) or ZERO

    erythritol = gram("erythritol_g")
    there = {"erythritol": erythritol, "polyols": max(ZERO, gram("polyols_g") - erythritol),
             "allulose": gram("allulose_g")}
    out = {key: amount * exact(recipe.policy.left_out.get(key, 0.0)) for key, amount in there.items()}
    room, asked = max(ZERO, gram("carbs_g") - gram("fibre_g")), sum(out.values(), ZERO)
    return out if asked <= room else {key: amount * room / asked for key, amount in out.items()}
