"""What a draft amounts to as written, and where its net carbohydrate comes from."""

from __future__ import annotations

from fractions import Fraction

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.check import check
from ratio_solver.exact import HUNDRED, ZERO, exact
from ratio_solver.foods.content import least_content
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.blocks import QUIET, allergens_of, batch_line, headline, notes, section, table_of
from ratio_solver.output.dish_text import serving_section
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal
from ratio_solver.recipe.model import Recipe
from ratio_solver.tools.draft.model import Draft

LEAST_SHARE = Fraction(1, 100)
"""A source of less than this share of the net carbs is not listed."""


def sources_of(recipe: Recipe) -> tuple[tuple[str, Fraction], ...]:
    """Net carbs of a serving by ingredient, g, the largest first; those that bring none are left out."""
    found = [
        (item.label, least_content(item.food, NET_CARBS, recipe.policy) * exact(item.start) / HUNDRED / recipe.servings)
        for item in recipe.ingredients
    ]
    return tuple(sorted((source for source in found if source[1] > 0), key=lambda source: -source[1]))


def text(draft: Draft) -> RenderableType:
    """The facts of the dish as written, with where its net carbs come from."""
    if draft.recipe is None:
        return Text("No line could be understood.")
    found = check(draft.recipe)
    sources = sources_of(found.recipe)
    total = sum((grams for _, grams in sources), ZERO)
    starts = {item.label: exact(item.start) for item in found.recipe.ingredients}
    listed = [(Text(label), decimal(starts[label], 2 if starts[label] < 1 else 1), decimal(grams, 2),
               f"{decimal(100 * grams / total, 0)} %")
              for label, grams in sources if grams >= LEAST_SHARE * total]
    columns = (("ingredient", "left"), ("g", "right"), ("net carbs g", "right"), ("share", "right"))
    return Group(
        headline(found.recipe.title, "as written", QUIET),
        Text(batch_line(found.recipe, found.facts)),
        serving_section(found),
        *([section("Net carbs of a serving come from", table_of(columns, listed))] if listed else []),
        notes(found.recipe, allergens_of(found), found.warnings, found.cautions),
    )


def data(draft: Draft) -> Data:
    """The recipe file, its lines, and what to look at; weights in g for the batch."""
    return {"outcome": draft.outcome, "measures": draft.measures, "text": draft.text, "lines": draft.rows(),
            "look_at": list(draft.look_at)}


def rows(draft: Draft) -> Rows:
    """A row for each food of each written line, and for each line that is not in the recipe."""
    return ("line", "part", "label", "food", "id", "grams", "grade", "check"), [
        {"line": line.text, "part": line.part} if food is None else
        {"line": line.text, "part": line.part, "label": food.label, "food": food.food.name, "id": food.food.id,
         "grams": food.grams, "grade": food.grade, "check": food.check}
        for line in draft.lines for food in line.foods or (None,)]
