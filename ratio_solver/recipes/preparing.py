"""Prepared weights: yields of ingredients, the finished dish, and what a reader must know of both.

Water leaves or comes, macronutrients stay: a weight before preparation times the yield is the weight as
prepared, and the nutrients of one are those of the other. Meat also loses fat, which a yield on the raw
food does not show: where the table has the cooked food the reader is told to take that.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TypedDict

from ratio_solver.foods.content import ZERO, content
from ratio_solver.foods.food import Food, exact
from ratio_solver.foods.table import suggestion
from ratio_solver.foods.yields import LOSES_FAT, Yield, bundled_yields
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


def read_yield(reader: Reader, food: Food | None) -> tuple[float, str | None, str]:
    """The yield of an ingredient, how it was prepared, and what to know about that.

    ``yield = 0.8`` is taken as it is; ``prepared = "roasted"`` is looked up in the table of yields.
    """
    own = reader.number("yield", 0.0, 20.0, "prepared weight / weight before", above=True)
    prepared = reader.text("prepared")
    if prepared is not None and "yield" in reader.table:
        reader.fault("prepared", prepared, "expected prepared or yield, not both")
        return 1.0, None, ""
    if food is None or (prepared is None and (own is None or own == 1)):
        return own or 1.0, None, ""
    ways = bundled_yields().of(food)
    if prepared is None:
        return own or 1.0, None, yield_warning(food)
    known_yield = prepared_yield(food, prepared)
    if known_yield is None:
        known = [way.prepared for way in ways]
        hint = f"one of {', '.join(known)}{suggestion(prepared, known)}" if known else \
            "a food that the table of yields has; give its yield instead"
        reader.fault("prepared", prepared, f"has no yield for {food.name}; expected {hint}")
        return 1.0, None, ""
    return known_yield


def prepared_yield(food: Food, prepared: str) -> tuple[float, str, str] | None:
    """Yield of a food prepared this way, the way, and what to know of both; None where the table has none."""
    row = bundled_yields().get(food, prepared)
    if row is None:
        return None
    source = f"{row.prepared}, yield {row.share:g}, {row.source}"
    return row.share, row.prepared, "; ".join(filter(None, (source, _fat_warning(food, (row,), row))))


def yield_warning(food: Food) -> str:
    """What to know where a cook gives the yield of a food."""
    return _fat_warning(food, bundled_yields().of(food), None)


def _fat_warning(food: Food, ways: Sequence[Yield], row: Yield | None) -> str:
    """Meat loses fat: take the cooked food where the table has it."""
    if food.role not in LOSES_FAT:
        return ""
    cooked = " or ".join(f"'{way.cooked_food}'" for way in ways if way.cooked_food)
    share = row.fat_kept if row else None
    kept = "its fat may run out" if share is None or share >= 0.98 else f"about {100 * share:.0f} % of its fat stays"
    advice = f"use {cooked}, which the table has, rather than a yield on the raw food" if cooked else \
        "the figures count all the fat that was in it"
    return f"{kept}: {advice}"


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
    """What of the batch cannot boil away, g: all but water and alcohol; unknown water counts as all water."""
    total = ZERO
    for ingredient, weight in zip(recipe.ingredients, weights, strict=True):
        water = content(ingredient.food, "water_g", recipe.policy)
        alcohol = content(ingredient.food, "alcohol_g", recipe.policy) or ZERO
        if water is not None:
            total += raw_grams(ingredient, weight) * max(ZERO, 100 - water - alcohol) / 100
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


def preparation_warnings(recipe: Recipe, weights: Sequence[Fraction]) -> tuple[str, ...]:
    """What the reader must know of yields, whole pieces and the finished weight."""
    used = [(i, w) for i, w in zip(recipe.ingredients, weights, strict=True) if w or i.adjustable]
    found = [f"{i.label}: {i.yield_note}" for i, _ in used if i.yield_note]
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
