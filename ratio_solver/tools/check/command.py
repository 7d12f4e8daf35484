"""The command check."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    BENCH,
    CONFIDENCE,
    NO_WEIGHTS,
    OUTPUT,
    TABLES,
    TARGETS,
    confidence_given,
    deliver,
    finish,
    recipe_with,
    with_options,
)
from ratio_solver.tools.scale_error.sections import bench_data, bench_sections


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
@with_options(TARGETS, CONFIDENCE, BENCH, TABLES, OUTPUT)
def check(recipe: str, tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Facts of RECIPE as written, against its targets.

    Exit code 3 where the weights as written break a limit.
    """
    from ratio_solver.dish.check import check as check_recipe
    from ratio_solver.output.dish_data import LIMIT_COLUMNS, limit_data, with_caution
    from ratio_solver.output.json_csv import as_csv, as_json
    from ratio_solver.tools.check.data import check_data

    probable = confidence_given(options)
    found = check_recipe(recipe_with(recipe, load_foods(*tables), options), guaranteed=options["guaranteed"],
                         confidence=probable)
    if form == "json":
        deliver(as_json(check_data(found) | bench_data(found, options)), output)
    elif form == "csv":
        rows = map(limit_data, found.limits)
        deliver(as_csv(*with_caution(rows, LIMIT_COLUMNS, found)).rstrip("\n"), output)
    else:
        from ratio_solver.tools.check.report import check_report

        deliver(check_report(found, *bench_sections(found, options)), output)
    if not found.kept:
        finish(NO_WEIGHTS)
