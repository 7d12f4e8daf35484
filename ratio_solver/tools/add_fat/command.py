"""The command add-fat."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    OUTPUT,
    RECIPE,
    TABLES,
    TARGETS,
    deliver_outcome,
    recipe_with,
    with_options,
)


@click.command("add-fat")
@with_options(RECIPE, (
    click.option("--with", "names", multiple=True, metavar="NAME", help="A food to try; may be repeated. "
                 "Unless given: the table's fats."),
    click.option("--step", type=float, default=1.0, show_default=True, help="Step of the scale, g."),
    click.option("--most", type=click.IntRange(1), default=12, show_default=True, help="Foods listed at most."),
), TARGETS, TABLES, OUTPUT)
def command(recipe: str, names: tuple[str, ...], step: float, most: int, tables: tuple[str, ...], form: str,
            output: str | None, **options: Any) -> None:
    """What fat to add to RECIPE as written, to reach its least ratio.

    Exit code 3 where no fat, and no mix of two, keeps every limit.
    """
    from ratio_solver.tools.add_fat.compute import add_fat

    table = load_foods(*tables)
    found = add_fat(recipe_with(recipe, table, options), table, names, step=step, guaranteed=options["guaranteed"])
    deliver_outcome(found, form, output, most=most)
