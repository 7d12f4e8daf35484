"""The command portions."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.exact import ZERO
from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    AS_WRITTEN,
    OUTPUT,
    RECIPE,
    SOLVING,
    TABLES,
    TARGETS,
    deliver_outcome,
    dish_with_weights,
    with_options,
)


@click.command("portions")
@with_options(RECIPE, (
    click.option("--portion-grams", type=float, metavar="G",
                 help="As many portions of this weight as the batch makes."),
), TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT)
def command(recipe: str, portion_grams: float | None, as_written: bool, tables: tuple[str, ...], form: str,
            output: str | None, **options: Any) -> None:
    """What of each part and ingredient of RECIPE goes into each serving."""
    from ratio_solver.tools.portions.compute import SOLVED_TO, portions

    dish = dish_with_weights(recipe, load_foods(*tables), options, as_written)
    tolerance = SOLVED_TO if getattr(dish, "exact", False) else ZERO
    deliver_outcome(portions(dish.recipe, dish.grams_of_each, portion_grams=portion_grams,
                             guaranteed=options["guaranteed"], tolerance=tolerance), form, output)
