"""The command solve, with its scenarios."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.files import File
from ratio_solver.output.options import (
    BENCH,
    CONFIDENCE,
    OUTPUT,
    RECIPE,
    SOLVING,
    TABLES,
    TARGETS,
    WRITE,
    confidence_given,
    deliver_outcome,
    recipe_with,
    refuse,
    with_options,
)
from ratio_solver.recipe.change import with_kept_weight
from ratio_solver.tools.scale_error.compute import scale_named


@click.command("solve")
@with_options(RECIPE, (
    click.option("--what-if", "scenarios", multiple=True, metavar="CHANGES",
                 help="A scenario beside the answer: ratio=2.5, net_carbs=8, servings=8, NAME>=X, NAME<=X, "
                 "INGREDIENT.max=G, foods=TABLE, policy.KEY=VALUE, several parted by commas; may be repeated."),
    click.option("--keep-weight", type=float, metavar="SHARE",
                 help="Keep the batch within a share of its weight at the start: 0.1 for 90 to 110 %."),
), TARGETS, CONFIDENCE, SOLVING, BENCH, WRITE, TABLES, OUTPUT)
def command(recipe: str, scenarios: tuple[str, ...], keep_weight: float | None, prefer: str, exact: bool,
            time_limit: float | None, write: str | None, tables: tuple[str, ...], form: str, output: str | None,
            **options: Any) -> None:
    """Solve the weights of RECIPE (TOML).

    Where no weights satisfy the limits (exit code 3), it says why and what would cure it; as CSV, a line each.
    """
    probable, guaranteed = confidence_given(options, scenarios), options["guaranteed"]
    if scenarios:
        refuse({"--write": write is not None, "--scale-error": options["scale_error"] is not None,
                "--measures": options["measures"]}, "--what-if, which sets several answers side by side")
    if options["scale_error"] is not None:
        scale_named(options["scale_error"])  # a scale that is none is refused before anything is solved
    table = load_foods(*tables)
    dish = recipe_with(recipe, table, options)
    if keep_weight is not None:
        dish = with_kept_weight(dish, keep_weight)
    if scenarios:
        from ratio_solver.tools.what_if.compute import what_if

        deliver_outcome(what_if(dish, table, scenarios, prefer, guaranteed=guaranteed, exact=exact,
                                time_limit=time_limit), form, output)
        return
    from ratio_solver.solving.result import Proposal
    from ratio_solver.solving.solve import solve

    answer, also = solve(dish, prefer, guaranteed=guaranteed, exact=exact, foods=table, confidence=probable,
                        time_limit=time_limit), []
    if write is not None and isinstance(answer, Proposal):
        from ratio_solver.recipe.change import fixed
        from ratio_solver.recipe.write import recipe_text
        from ratio_solver.solving.written import kept_weights

        also = [File(write, recipe_text(fixed(dish, kept_weights(answer)), Path(write).absolute().parent), "--write")]
    deliver_outcome(answer, form, output, also, scale_error=options["scale_error"], measures=options["measures"])
