"""The command adjust."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.files import File
from ratio_solver.output.options import (
    OUTPUT,
    RECIPE,
    TABLES,
    TARGETS,
    TIME,
    WRITE,
    deliver_outcome,
    recipe_with,
    with_options,
)


@click.command("adjust")
@with_options(RECIPE, (
    click.option("--weighed", multiple=True, metavar="NAME=GRAMS", help="In the bowl, fixed; may be repeated."),
    click.option("--added", multiple=True, metavar="NAME[=GRAMS]",
                 help="In the bowl, may only be added to; without grams as planned. May be repeated."),
    click.option("--take", type=click.IntRange(1), metavar="N", help="Make the Nth remedy where nothing else works."),
), TARGETS, TIME, WRITE, TABLES, OUTPUT)
def command(recipe: str, weighed: tuple[str, ...], added: tuple[str, ...], take: int | None,
            time_limit: float | None, write: str | None, tables: tuple[str, ...], form: str,
            output: str | None, **options: Any) -> None:
    """Solve RECIPE again around what is already in the bowl."""
    from ratio_solver.recipe.find import named_grams
    from ratio_solver.recipe.write import recipe_text
    from ratio_solver.tools.adjust.compute import adjust

    dish = recipe_with(recipe, load_foods(*tables), options)
    found = adjust(dish, named_grams(weighed, "--weighed"), named_grams(added, "--added", bare=True),
                   guaranteed=options["guaranteed"], time_limit=time_limit).take(take)
    also = [File(write, recipe_text(found.bowl, Path(write).absolute().parent), "--write")] \
        if write is not None and found.bowl is not None else []
    deliver_outcome(found, form, output, also)
