"""The command portions."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    AS_WRITTEN,
    OUTPUT,
    SOLVING,
    TABLES,
    TARGETS,
    deliver,
    dish_with_weights,
    told_impossible,
    with_options,
)


@click.command("portions")
@click.argument("recipe", type=click.Path(readable=False))
@click.option("--portion-grams", type=float, metavar="G", help="As many portions of this weight as the batch makes.")
@with_options(TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT)
def command(recipe: str, portion_grams: float | None, as_written: bool, tables: tuple[str, ...], form: str,
            output: str | None, **options: Any) -> None:
    """What of each part and ingredient of RECIPE goes into each serving."""
    from ratio_solver.output.json_csv import as_csv, as_json
    from ratio_solver.tools.portions.compute import SOLVED_TO
    from ratio_solver.tools.portions.compute import portions as dealt_out
    from ratio_solver.tools.scale_error.data import SHARE_COLUMNS, portions_data, share_rows
    from ratio_solver.tools.scale_error.report import portions_report

    found = dish_with_weights(recipe, load_foods(*tables), options, as_written)
    told_impossible(found)
    shared = dealt_out(found.recipe, tuple(weight.grams for weight in found.weights), portion_grams=portion_grams,
                       guaranteed=options["guaranteed"],
                       tolerance=SOLVED_TO if getattr(found, "exact", False) else Fraction(0))
    if form == "json":
        deliver(as_json(portions_data(shared)), output)
    elif form == "csv":
        deliver(as_csv(SHARE_COLUMNS, share_rows(shared)).rstrip("\n"), output)
    else:
        deliver(portions_report(shared), output)
