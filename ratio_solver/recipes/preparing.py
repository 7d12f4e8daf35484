"""Prepared weights: yields of ingredients, the finished dish, and what a reader must know of both.

Water leaves or comes, macronutrients stay: a weight before preparation times the yield is the weight as
prepared, and the nutrients of one are those of the other. Meat also loses fat (`ratio_solver.recipes.heat`).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TypedDict

from ratio_solver.foods.content import ZERO, content
from ratio_solver.foods.food import Food, exact
from ratio_solver.foods.heat import WATER, as_weighed
from ratio_solver.foods.table import suggestion
from ratio_solver.foods.yields import LOSES_FAT, bundled_yields
from ratio_solver.recipes.heat import DRIPPINGS, Preparation, heat_warnings, prepare
from ratio_solver.recipes.reading import HEAVIEST, Reader
from ratio_solver.recipes.recipe import Ingredient, Recipe


class Finished(TypedDict):
    """What the recipe file says of the finished batch."""

    finished_grams: float | None
    cooking_loss: float | None


def read_finished(top: Reader) -> Finished:
    """The keys ``finished_grams`` and ``cooking_loss`` of a recipe file: one of them at most."""
    grams = top.number("finished_grams", 0.0, HEAVIEST, "the weight of the cooked batch in g", above=True)
    loss = top.number("cooking_loss", 0.0, 0.99, "the share of the batch's weight lost, 0.12 for 12 %")
    if "finished_grams" in top.table and "cooking_loss" in top.table:
        top.fault("cooking_loss", top.table["cooking_loss"], "expected finished_grams or cooking_loss, not both")
    return {"finished_grams": grams, "cooking_loss": loss}


def read_preparation(reader: Reader, food: Food | None) -> tuple[Preparation | None, str | None]:
    """An ingredient as it is prepared, and what becomes of its drippings; no preparation where that has a fault.

    ``yield = 0.8`` is taken as it is; ``prepared = "roasted"`` is looked up in the table of yields.
    """
    own = reader.number("yield", 0.0, 20.0, "prepared weight / weight before", above=True)
    prepared = reader.text("prepared")
    drippings = reader.text("drippings")
    if drippings is not None and drippings not in DRIPPINGS:
        reader.fault("drippings", drippings,
                     f"expected one of {', '.join(DRIPPINGS)}{suggestion(drippings, DRIPPINGS)}")
        drippings = None
    if prepared is not None and "yield" in reader.table:
        reader.fault("prepared", prepared, "expected prepared or yield, not both")
        return None, drippings
    if food is None:
        return None, drippings
    if drippings is not None and food.role not in LOSES_FAT:
        reader.fault("drippings", drippings,
                     f"is said of {', '.join(LOSES_FAT)}; the role of {food.name} is {food.role or 'not known'}")
        return None, None
    found = prepare(food, own, prepared, drippings)
    if found is None:
        known = [way.prepared for way in bundled_yields().of(food)]
        hint = f"one of {', '.join(known)}{suggestion(prepared or '', known)}" if known else \
            "a food that the table of yields has; give its yield instead"
        reader.fault("prepared", prepared, f"has no yield for {food.name}; expected {hint}")
    elif found.fault:
        reader.fault("prepared" if prepared else "yield", prepared or own, found.fault)
    return found, drippings


def raw_grams(ingredient: Ingredient, grams: Fraction) -> Fraction:
    """Weight before preparation, g, of so many g as prepared."""
    return grams / exact(ingredient.yield_)


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
