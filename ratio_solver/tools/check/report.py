"""The report of a recipe as it stands, for a terminal of 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    allergens_of,
    allowed,
    batch_line,
    grid,
    headline,
    limits_table,
    notes,
    section,
    told,
)
from ratio_solver.output.numbers import weight
from ratio_solver.output.serving import serving_section

if TYPE_CHECKING:
    from ratio_solver.dish.check import Check


def check_report(found: Check, *extra: RenderableType) -> RenderableType:
    """The outcome of `check`, with sections that were asked for."""
    if not found.limits:
        state, style = "no targets to keep", QUIET
    elif found.kept:
        state, style = "keeps every limit as written", GOOD
    else:
        count = len(found.broken)
        state, style = f"breaks {count} limit{'s' if count > 1 else ''} as written", BAD
    weights = grid(("ingredient", "left"), ("g", "right"), ("allowed g", "right"))
    for item in found.weights:
        weights.add_row(Text(item.ingredient), weight(item.start), allowed(item))
    parts: list[RenderableType] = [
        headline(found.recipe.title, state, style),
        Text(batch_line(found.recipe, found.facts)),
        section("Weights as written", weights),
        serving_section(found),
    ]
    if any(told(state) for state in found.limits):
        parts.append(section("Limits, from broken to loose", limits_table(found.limits, "")))
    parts.extend(extra)
    parts.append(notes(found.recipe, allergens_of(found), found.warnings, found.cautions))
    return Group(*parts)
