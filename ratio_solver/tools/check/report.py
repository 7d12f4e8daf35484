"""What is told of a recipe as it stands: text for a terminal of 80 columns, JSON and CSV."""

from __future__ import annotations

from ratio_solver.dish.check import Check
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    Block,
    Text,
    allergens_of,
    batch_line,
    headline,
    notes,
    section,
    table_of,
)
from ratio_solver.output.dish_text import (
    LIMIT_COLUMNS,
    allowed,
    dish_data,
    limit_data,
    limits_section,
    serving_section,
    standing_data,
    with_caution,
)
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import weight
from ratio_solver.tools.scale_error.compute import bench_data, bench_sections


def text(found: Check, scale_error: str | None = None, measures: bool = False) -> Block:
    """The outcome of `check`, with the sections that are asked for."""
    if not found.limits:
        state, style = "no targets to keep", QUIET
    elif found.kept:
        state, style = "keeps every limit as written", GOOD
    else:
        count = len(found.broken)
        state, style = f"breaks {count} limit{'s' if count > 1 else ''} as written", BAD
    return (
        headline(found.recipe.title, state, style),
        Text(batch_line(found.recipe, found.facts)),
        section("Weights as written", table_of(
            (("ingredient", "left"), ("g", "right"), ("allowed g", "right")),
            ((Text(item.ingredient), weight(item.start), allowed(item)) for item in found.weights))),
        serving_section(found),
        *limits_section(found.limits, heading="Limits, from broken to loose"),
        *bench_sections(found, scale_error, measures),
        notes(found.recipe, allergens_of(found), found.warnings, found.cautions),
    )


def data(found: Check, scale_error: str | None = None) -> Data:
    """The same in the keys of the command's JSON: a stable interface, added to and never renamed."""
    return dish_data(
        found,
        kept=found.kept,
        broken=[state.limit.name for state in found.broken],
        **standing_data(found),
        allergens=list(found.allergens),
        allergens_unknown=list(found.allergens_unknown),
    ) | bench_data(found, scale_error)


def rows(found: Check) -> Rows:
    """A row a limit."""
    return with_caution(LIMIT_COLUMNS, map(limit_data, found.limits), found)
