"""The command shopping."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    AS_WRITTEN,
    OUTPUT,
    SOLVING,
    TABLES,
    TARGETS,
    deliver_outcome,
    dish_with_weights,
    with_options,
)


@click.command("shopping")
@click.argument("recipe", type=click.Path(readable=False))
@with_options(TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT)
def command(recipe: str, as_written: bool, tables: tuple[str, ...], form: str, output: str | None,
            **options: Any) -> None:
    """What to buy for RECIPE: raw weights with refuse, whole pieces.

    With --servings: for so many servings of the dish as it is.
    """
    from ratio_solver.tools.shopping.compute import shopping

    table = load_foods(*tables)
    dish = dish_with_weights(recipe, table, options | {"servings": None}, as_written)
    deliver_outcome(shopping(dish.recipe, dish.grams_of_each, options["servings"], foods=table,
                             guaranteed=dish.guaranteed), form, output)
