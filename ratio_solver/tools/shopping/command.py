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
    deliver,
    dish_with_weights,
    told_impossible,
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
    from ratio_solver.output.json_csv import as_csv, as_json
    from ratio_solver.tools.shopping.compute import shopping as shopping_list
    from ratio_solver.tools.shopping.report import PURCHASE_COLUMNS, purchase_data, shopping_data, shopping_report

    table = load_foods(*tables)
    found = dish_with_weights(recipe, table, options | {"servings": None}, as_written)
    told_impossible(found)
    bought = shopping_list(found.recipe, tuple(weight.grams for weight in found.weights), options["servings"],
                           foods=table)
    if form == "json":
        deliver(as_json(shopping_data(bought)), output)
    elif form == "csv":
        deliver(as_csv(PURCHASE_COLUMNS, map(purchase_data, bought.purchases)).rstrip("\n"), output)
    else:
        deliver(shopping_report(bought), output)
