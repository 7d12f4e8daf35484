"""What the weights of a recipe amount to: facts per serving, the finished batch, alcohol, what is left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.dish.composition import known_amounts, least_amounts, ratio_vectors, summed
from ratio_solver.exact import ZERO, dot, exact
from ratio_solver.foods.ends import Guaranteed, kind_of, most
from ratio_solver.foods.heat import as_weighed
from ratio_solver.foods.nutrients import ALCOHOL, CARBS, ENERGY, FAT, FIBRE, NET_CARBS, WATER, WEIGHT
from ratio_solver.foods.quantities import CARBS_ENERGY, RATIO
from ratio_solver.foods.substances import BY_KEY, SUBSTANCES, amounts_of
from ratio_solver.recipe.model import Recipe

LEADING = (
    ENERGY, FAT, "protein_g", CARBS, FIBRE, "soluble_fibre_g", "insoluble_fibre_g", NET_CARBS,
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
        known (total carbohydrate: at least what a table has that leaves fibre out and does not know it). Shares that
        the recipe's targets limit are among them, by their key.
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

    @property
    def as_floats(self) -> dict[str, float | None]:
        """The ratio, every amount by its column, and the weight of a serving (as weighed, cooked), for use."""
        exactly = {"ratio": self.ratio, **self.amounts, "weight_g": self.weight}
        cooked = {} if self.cooked is None else {"cooked_weight_g": self.cooked}
        return {name: None if value is None else float(value) for name, value in (exactly | cooked).items()}


def facts_of(recipe: Recipe, weights: Sequence[Fraction], only: Sequence[str] = ()) -> Facts:
    """Facts per serving at these weights (g for the batch, one per ingredient), exact; `only` these columns if any."""
    asked = [recipe.policy.quantity(target.nutrient) for target in recipe.targets if target.nutrient != RATIO]
    columns = only or dict.fromkeys([*LEADING, *(c for i in recipe.ingredients for c in i.food.amounts if c != WEIGHT),
                                     *(c for one in asked for c in one.columns if c not in (WEIGHT, CARBS_ENERGY))])
    amounts: dict[str, Fraction] = {}
    unknown: dict[str, tuple[str, ...]] = {}
    for column in columns:
        known = known_amounts(recipe, column)
        missing = tuple(item.label for item, weight, amount in zip(recipe.ingredients, weights, known, strict=True)
                        if amount is None and weight)
        if (column == CARBS or known.count(None) < len(known)) and not (missing and column in WHOLLY_KNOWN):
            amounts[column] = dot(least_amounts(recipe, column), weights) / recipe.servings
            if missing:
                unknown[column] = missing
    for share in (one for one in asked if one.quotient):
        above, below = (dot(summed(terms, lambda column: least_amounts(recipe, column)), weights)
                        for terms in (share.above, share.below))
        if below:
            amounts[share.key] = above / below
            if missing := tuple(dict.fromkeys(label for column in share.above for label in unknown.get(column, ()))):
                unknown[share.key] = missing
    cooked = cooked_batch(recipe, weights)
    return Facts(ratio_at(recipe, weights), amounts, unknown, sum(weights, ZERO) / recipe.servings,
                 None if cooked is None else cooked / recipe.servings)


def ratio_at(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction | None:
    """The ratio by the recipe's formula; None where there is nothing below it."""
    above, below = (dot(vector, weights) for vector in ratio_vectors(recipe))
    return above / below if below else None


def cooked_batch(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction | None:
    """Weight of the whole batch after cooking, g; None where the recipe does not say."""
    if recipe.finished_grams is not None:
        return exact(recipe.finished_grams)
    if recipe.cooking_loss is not None:
        return sum(weights, ZERO) * (1 - exact(recipe.cooking_loss))
    return None


def dry_matter(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction:
    """What of the batch cannot boil away, g: all but water and alcohol, or what is known where the water is not."""
    columns = known_amounts(recipe, WATER), least_amounts(recipe, ALCOHOL)
    return sum((
        weight * max(ZERO, (as_weighed(item.food, item.yield_) / 100 if water is None else
                            1 / exact(item.yield_) - water) - alcohol)
        for item, weight, water, alcohol in zip(recipe.ingredients, weights, *columns, strict=True)), ZERO)


def alcohol_per_serving(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None) -> Fraction:
    """Alcohol in one serving as weighed in, g; at the upper end of the intervals at which targets are held."""
    return dot(least_amounts(recipe, ALCOHOL, most(kind_of(guaranteed))), weights) / recipe.servings


def left_out(recipe: Recipe, weights: Sequence[Fraction]) -> dict[str, Fraction]:
    """Carbohydrate that the recipe's policy does not count, beside fibre, by its name: g per serving, what there is.

    Of every food  net carbs = max(0, total carbohydrate - fibre - left out);  what is left out is therefore at most the
    carbohydrate that fibre leaves over, and total - fibre - left out = net holds for the dish as well.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    """
    total = dict.fromkeys((substance.key for substance in SUBSTANCES), ZERO)
    for place, weight in enumerate(weights):
        for key, amount in _left_out_of(recipe, place).items():
            total[key] += amount * weight
    return {BY_KEY[key].name: amount / recipe.servings for key, amount in total.items() if amount}


def _left_out_of(recipe: Recipe, place: int) -> dict[str, Fraction]:
    """g left out per g of an ingredient, by the keys of the policy; what exceeds the carbohydrate gives way alike."""
    policy, item = recipe.policy, recipe.ingredients[place]
    out: dict[str, Fraction] = {}
    for key, amount in amounts_of(item.food).items():
        if amount:
            named = policy.named(BY_KEY[key])
            out[named] = out.get(named, ZERO) + amount * policy.shares[key] / 100 / exact(item.yield_)
    if not out:
        return out
    # Where the table leaves fibre out and does not know it, total carbs are unknown and what it has is the room.
    room = max(ZERO, least_amounts(recipe, CARBS)[place] - least_amounts(recipe, FIBRE)[place])
    asked = sum(out.values(), ZERO)
    return out if asked <= room else {key: amount * room / asked for key, amount in out.items()}
