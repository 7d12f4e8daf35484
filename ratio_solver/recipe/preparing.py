"""Prepared weights: yields of ingredients, the finished dish, and what a reader must know of both.

Water leaves or comes, macronutrients stay: a weight before preparation times the yield is the weight as
prepared, and the nutrients of one are those of the other. Meat also loses fat (`ratio_solver.recipe.heat`).
"""

from __future__ import annotations

from fractions import Fraction
from typing import TypedDict

from ratio_solver.exact import exact
from ratio_solver.foods.food import Food
from ratio_solver.foods.table import suggestion
from ratio_solver.foods.yields import LOSES_FAT, bundled_yields
from ratio_solver.recipe.heat import DRIPPINGS, Preparation, prepare
from ratio_solver.recipe.model import Ingredient
from ratio_solver.recipe.reader import HEAVIEST, Reader


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


