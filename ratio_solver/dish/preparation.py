"""What a reader must know of heat, drippings, whole pieces and the finished weight of a dish."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.constraints import ratio_vectors
from ratio_solver.exact import ZERO, dot, exact
from ratio_solver.foods.content import content
from ratio_solver.foods.heat import FAT, WATER, after_heat, as_weighed
from ratio_solver.foods.yields import LOSES_FAT, Yield, bundled_yields
from ratio_solver.recipe.heat import KEPT, _left, _like, _per_cent
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.recipe.preparing import raw_grams

ALREADY_COOKED = frozenset((
    "baked", "boiled", "braised", "broiled", "browned", "canned", "cooked", "dried", "fried", "grilled", "heated",
    "kippered", "microwaved", "pan-broiled", "pan-browned", "pan-fried", "pickled", "poached", "roasted", "simmered",
    "smoked", "steamed", "stewed",
))
"""Words in the name of a food that has lost already what heat takes."""


def cooked_batch(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction | None:
    """Weight of the whole batch after cooking, g; None where the recipe does not say."""
    if recipe.finished_grams is not None:
        return exact(recipe.finished_grams)
    if recipe.cooking_loss is not None:
        return sum(weights, ZERO) * (1 - exact(recipe.cooking_loss))
    return None


def dry_matter(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction:
    """What of the batch cannot boil away, g: all but water and alcohol, or what is known where the water is not."""
    total = ZERO
    for ingredient, weight in zip(recipe.ingredients, weights, strict=True):
        water, alcohol = (content(ingredient.food, column, recipe.policy) for column in (WATER, "alcohol_g"))
        dry = as_weighed(ingredient.food, 1) if water is None else 100 - water
        total += raw_grams(ingredient, weight) * max(ZERO, dry - (alcohol or ZERO)) / 100
    return total


def _added_in_steps(ingredient: Ingredient) -> str:
    """What to say where the bowl holds no whole number of pieces or steps; else nothing."""
    if not ingredient.in_bowl:
        return ""
    size = exact(ingredient.piece or ingredient.step or 1)
    if not exact(ingredient.in_bowl) % size:
        return ""
    unit = f"pieces of {float(size):g} g" if ingredient.piece else f"steps of {float(size):g} g"
    return (f"{ingredient.label}: the {ingredient.in_bowl:g} g in the bowl are no whole number of {unit}; "
            "what is added is")


def preparation_warnings(recipe: Recipe, weights: Sequence[Fraction], *, settled: bool = True) -> tuple[str, ...]:
    """What the reader must know of yields, drippings, whole pieces and the finished weight.

    `settled` says that the weights are those of a dish: without, no ratio is told.
    """
    used = [(i, w) for i, w in zip(recipe.ingredients, weights, strict=True) if w or i.adjustable]
    found = [f"{i.label}: {i.yield_note}" for i, _ in used if i.yield_note]
    found += heat_warnings(recipe, weights, settled=settled)
    found += [
        f"{i.label} is no whole number of pieces: {float(w):g} g is {float(w / exact(i.piece)):.4g} of {i.piece:g} g"
        for i, w in used if i.piece and not i.adjustable and w % exact(i.piece)
    ]
    found += [said for i, _ in used if i.adjustable and (said := _added_in_steps(i))]
    cooked, batch = cooked_batch(recipe, weights), sum(weights, ZERO)
    if cooked is not None and batch and cooked < dry_matter(recipe, weights):
        found.append(f"the finished batch of {float(cooked):g} g is less than its dry matter, "
                     f"{float(dry_matter(recipe, weights)):.0f} g: more than water has left it, so the figures "
                     "are those of what went in")
    if recipe.finished_grams is not None and cooked is not None and cooked > batch > 0:
        found.append(f"the finished batch of {float(cooked):g} g weighs more than the {float(batch):g} g that went in")
    return tuple(found)


def heat_warnings(recipe: Recipe, weights: Sequence[Fraction], *, settled: bool = True) -> tuple[str, ...]:
    """Meat whose fat counts though it may leave the dish, and what that would make of the ratio.

    `settled` says that the weights are those of a dish: without, no ratio is told.
    """
    doubts = {place: way for place, (item, weight) in enumerate(zip(recipe.ingredients, weights, strict=True))
              if (weight or item.adjustable) and (way := _doubt(recipe, item)) and _left(way) < 1}
    if not doubts:
        return ()
    items = [recipe.ingredients[place] for place in doubts]
    labels = ", ".join(item.label for item in items)
    found = f"{labels}: fat that runs out in the heat counts as if it stayed in the dish"
    if settled:
        now, then = _ratio(recipe, weights), _ratio(_dripped(recipe, doubts), weights)
        if now == then:
            return ()
        left = "; ".join(_least(recipe.ingredients[place], way) for place, way in doubts.items())
        found += f": the ratio is {now}, and {then} where only the least known of it stays ({left})"
    if any(item.drippings is None and item.yield_ == 1 for item in items):
        found += '; drippings = "kept" or "lost" says which'
    return (found,)


def _doubt(recipe: Recipe, item: Ingredient) -> Yield | None:
    """The leanest way that an ingredient may have taken where all its fat counts; None where nothing is in doubt."""
    if item.food.role not in LOSES_FAT or item.drippings == KEPT or not item.food.amounts.get(FAT):
        return None
    way = bundled_yields().get(item.food, item.prepared) if item.prepared else \
        _like(item.food, item.yield_, item.drippings)
    if way is not None:
        return None if way.fat_kept is not None else bundled_yields().leanest_of(item.food.role)
    cooks = recipe.finished_grams is not None or recipe.cooking_loss is not None
    raw = ALREADY_COOKED.isdisjoint(item.food.name.lower().replace(",", " ").split())
    if item.yield_ == 1 and item.drippings is None and not (cooks and raw):
        return None
    return bundled_yields().leanest(item.food) or bundled_yields().leanest_of(item.food.role)


def _least(item: Ingredient, way: Yield) -> str:
    own = way in bundled_yields().of(item.food)
    return f"{item.label} {_per_cent(_left(way))}{' when' if own else f', as {way.food}'} {way.prepared}"


def _dripped(recipe: Recipe, doubts: Mapping[int, Yield]) -> Recipe:
    return replace(recipe, ingredients=tuple(
        replace(item, food=after_heat(item.food, _left(doubts[place]))) if place in doubts else item
        for place, item in enumerate(recipe.ingredients)))


def _ratio(recipe: Recipe, weights: Sequence[Fraction]) -> str:
    above, below = (dot(vector, weights) for vector in ratio_vectors(recipe))
    return f"{float(above / below):.2f}:1" if below else "without end"
