"""The command check."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.dish.check import check
from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    BENCH,
    CONFIDENCE,
    OUTPUT,
    RECIPE,
    TABLES,
    TARGETS,
    confidence_given,
    deliver_outcome,
    recipe_with,
    with_options,
)
from ratio_solver.tools.scale_error.compute import scale_named


@click.command("check")
@with_options(RECIPE, TARGETS, CONFIDENCE, BENCH, TABLES, OUTPUT)
def command(recipe: str, tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Facts of RECIPE as written, against its targets.

    Exit code 3 where the weights as written break a limit.
    """
    probable = confidence_given(options)
    if options["scale_error"] is not None:
        scale_named(options["scale_error"])  # whatever the form, which may not show it
    found = check(recipe_with(recipe, load_foods(*tables), options), guaranteed=options["guaranteed"],
                  confidence=probable)
    deliver_outcome(found, form, output, scale_error=options["scale_error"], measures=options["measures"])
