"""What a draft amounts to as written, and where its net carbohydrate comes from."""

from __future__ import annotations

from fractions import Fraction

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.check import Check
from ratio_solver.exact import HUNDRED, ZERO, exact
from ratio_solver.foods.content import least_content
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.blocks import QUIET, allergens_of, batch_line, grid, headline, notes, section
from ratio_solver.output.numbers import decimal, weight
from ratio_solver.output.serving import serving_section
from ratio_solver.recipe.model import Recipe

LEAST_SHARE = Fraction(1, 100)
"""A source of less than this share of the net carbs is not listed."""


def sources_of(recipe: Recipe) -> tuple[tuple[str, Fraction], ...]:
    """Net carbs of a serving by ingredient, g, the largest first; those that bring none are left out."""
    found = [
        (item.label, least_content(item.food, NET_CARBS, recipe.policy) * exact(item.start) / HUNDRED / recipe.servings)
        for item in recipe.ingredients
    ]
    return tuple(sorted((source for source in found if source[1] > 0), key=lambda source: -source[1]))


def draft_report(found: Check) -> RenderableType:
    """The facts of the dish as written, with where its net carbs come from."""
    sources = sources_of(found.recipe)
    total = sum((grams for _, grams in sources), ZERO)
    table = grid(("ingredient", "left"), ("g", "right"), ("net carbs g", "right"), ("share", "right"))
    starts = {item.label: exact(item.start) for item in found.recipe.ingredients}
    for label, grams in sources:
        if grams >= LEAST_SHARE * total:
            table.add_row(
                Text(label), weight(starts[label]), f"{decimal(grams, 2)}", f"{decimal(100 * grams / total, 0)} %"
            )
    parts: list[RenderableType] = [
        headline(found.recipe.title, "as written", QUIET),
        Text(batch_line(found.recipe, found.facts)),
        serving_section(found),
    ]
    if total:
        parts.append(section("Net carbs of a serving come from", table))
    parts.append(notes(found.recipe, allergens_of(found), found.warnings, found.cautions))
    return Group(*parts)
