"""What a recipe's policy leaves out of the net carbs, beside fibre: erythritol, other polyols, allulose, ...

Of every food  net carbs = max(0, total carbohydrate - fibre - left out);  what is left out is therefore at most
the carbohydrate that fibre leaves over, and total - fibre - left out = net holds for the dish as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from ratio_solver.dish.constraints import CARBS, FIBRE, least_per_gram, per_gram
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.substances import BY_KEY, SUBSTANCES, amounts_of
from ratio_solver.recipe.model import Ingredient, Recipe


def left_out(recipe: Recipe, weights: Sequence[Fraction]) -> dict[str, Fraction]:
    """Carbohydrate that does not count, by its name: g per serving, only what there is.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    """
    total = dict.fromkeys((substance.key for substance in SUBSTANCES), ZERO)
    for ingredient, weight in zip(recipe.ingredients, weights, strict=True):
        for key, amount in _of(ingredient, recipe).items():
            total[key] += amount * weight
    return {BY_KEY[key].name: amount / recipe.servings for key, amount in total.items() if amount}


def _of(ingredient: Ingredient, recipe: Recipe) -> dict[str, Fraction]:
    """g left out per g of the ingredient, by the keys of the policy; what exceeds the carbohydrate gives way alike."""
    policy, prepared = recipe.policy, 100 * exact(ingredient.yield_)
    out: dict[str, Fraction] = {}
    for key, amount in amounts_of(ingredient.food).items():
        named = policy.named(BY_KEY[key])
        out[named] = out.get(named, ZERO) + amount * policy.shares[key] / prepared
    fibre = per_gram(ingredient, FIBRE, recipe) or ZERO
    # Where the table leaves fibre out and does not know it, total carbs are unknown and what it has is the room.
    room, asked = max(ZERO, least_per_gram(ingredient, CARBS, recipe) - fibre), sum(out.values(), ZERO)
    return out if asked <= room else {key: amount * room / asked for key, amount in out.items()}
