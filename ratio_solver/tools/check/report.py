"""What is told of a recipe as it stands: text for a terminal of 80 columns, JSON and CSV."""

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
from ratio_solver.output.dish_data import (
    LIMIT_COLUMNS,
    allergen_data,
    dish_data,
    facts_data,
    limit_data,
    unknown_data,
    weight_data,
    with_caution,
)
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import weight
from ratio_solver.output.serving import serving_section
from ratio_solver.tools.scale_error.sections import bench_data, bench_sections

if TYPE_CHECKING:
    from ratio_solver.dish.check import Check


def text(found: Check, scale_error: str | None = None, measures: bool = False) -> RenderableType:
    """The outcome of `check`, with the sections that are asked for."""
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
    parts.extend(bench_sections(found, scale_error, measures))
    parts.append(notes(found.recipe, allergens_of(found), found.warnings, found.cautions))
    return Group(*parts)


def data(found: Check, scale_error: str | None = None) -> Data:
    """The same in the keys of the command's JSON: a stable interface, added to and never renamed."""
    return dish_data(
        found,
        kept=found.kept,
        broken=[state.limit.name for state in found.broken],
        weights=[weight_data(weight) for weight in found.weights],
        per_serving=facts_data(found.facts, found.limits),
        unknown=unknown_data(found.facts),
        limits=[limit_data(state) for state in found.limits],
        **allergen_data(found),
    ) | bench_data(found, scale_error)


def rows(found: Check) -> Rows:
    """A row a limit."""
    return with_caution(LIMIT_COLUMNS, map(limit_data, found.limits), found)
