"""Alcohol in a serving: a guest who may have none must be told, whatever the pot takes away."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from ratio_solver.dish.constraints import per_gram
from ratio_solver.exact import ZERO, dot
from ratio_solver.foods.ends import Guaranteed, kind_of, most
from ratio_solver.recipe.model import Recipe

ALCOHOL = "alcohol_g"

TOLD_FROM = Fraction(1, 10)
"""Grams in one serving from which alcohol is told of: the least that a figure of one decimal shows."""

NOISE_DECIMALS = 6
"""Decimals of a gram beyond which weights to any fraction of a gram are a solver's noise, and are not rounded up."""


def alcohol_per_serving(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None) -> Fraction:
    """Alcohol in one serving as weighed in, g; at the upper end of the intervals at which targets are held."""
    end = most(kind_of(guaranteed))
    held = [(item, weight) for item, weight in zip(recipe.ingredients, weights, strict=True)
            if item.food.at(ALCOHOL, end or "high")]
    return dot([per_gram(item, ALCOHOL, recipe, end) or ZERO for item, _ in held],
               [weight for _, weight in held]) / recipe.servings


def alcohol_warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None) -> tuple[str, ...]:
    """What one serving holds at most, rounded up to a tenth of a gram; nothing where it is under `TOLD_FROM`.

    How much stays in the dish depends on how and how long it cooks: from a few per cent after hours to most of it
    where it is only stirred in (from memory: J. Augustin and others, Alcohol retention in food preparation, J Am Diet
    Assoc 92:486, 1992). So all that went in is told.
    """
    grams = alcohol_per_serving(recipe, weights, guaranteed=guaranteed)
    if grams < TOLD_FROM:
        return ()
    tenths = math.ceil(round(grams, NOISE_DECIMALS) * 10)
    return (f"one serving holds up to {tenths / 10:.1f} g of alcohol; cooking takes away some of it, not all",)
