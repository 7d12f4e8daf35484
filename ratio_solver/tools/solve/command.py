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
    NO_WEIGHTS,
    OUTPUT,
    SOLVING,
    TABLES,
    TARGETS,
    WRITE,
    confidence_given,
    deliver_outcome,
    finish,
    not_written,
    recipe_with,
    with_options,
)


@click.command("solve")
@click.argument("recipe", type=click.Path(readable=False))
@click.option("--what-if", "scenarios", multiple=True, metavar="CHANGES",
              help="A scenario beside the answer: ratio=2.5, net_carbs=8, servings=8, NAME>=X, NAME<=X, "
              "INGREDIENT.max=G, several parted by commas; may be repeated.")
@with_options(TARGETS, CONFIDENCE, SOLVING, BENCH, WRITE, TABLES, OUTPUT)
def command(recipe: str, scenarios: tuple[str, ...], prefer: str, exact: bool, write: str | None,
            tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Solve the weights of RECIPE (TOML).

    Where no weights satisfy the limits (exit code 3), it says why and what would cure it; as CSV, a line each.
    """
    probable = confidence_given(options, scenarios)
    if scenarios:
        _no_bench(write, options)
        solve_scenarios(recipe, scenarios, prefer, exact, tables, form, output, options)
        return
    from ratio_solver.solving.result import Proposal
    from ratio_solver.solving.solve import solve

    table = load_foods(*tables)
    dish = recipe_with(recipe, table, options)
    answer = solve(dish, prefer, guaranteed=options["guaranteed"], exact=exact, foods=table, confidence=probable)
    also = []
    if write is not None and isinstance(answer, Proposal):
        from ratio_solver.recipe.change import fixed
        from ratio_solver.recipe.write import recipe_text
        from ratio_solver.solving.written import kept_weights

        also = [File(write, recipe_text(fixed(dish, kept_weights(answer)), Path(write).absolute().parent), "--write")]
    deliver_outcome(answer, form, output, also, scale_error=options["scale_error"], measures=options["measures"])
    if answer.outcome != "solved":
        not_written(write)
        finish(NO_WEIGHTS)


def _no_bench(write: str | None, options: dict[str, Any]) -> None:
    """Options that are about one answer do not go with several."""
    given = {"--write": write is not None, "--scale-error": options["scale_error"] is not None,
             "--measures": options["measures"]}
    if any(given.values()):
        names = " and ".join(name for name, is_given in given.items() if is_given)
        raise click.UsageError(f"{names}: expected without --what-if, which sets several answers side by side")


def solve_scenarios(recipe: str, scenarios: tuple[str, ...], prefer: str, exact: bool, tables: tuple[str, ...],
                    form: str, output: str | None, options: dict[str, Any]) -> None:
    """The answer of `solve` with scenarios beside it."""
    from ratio_solver.tools.what_if.compute import what_if

    table = load_foods(*tables)
    found = what_if(recipe_with(recipe, table, options), table, scenarios, prefer,
                    guaranteed=options["guaranteed"], exact=exact)
    deliver_outcome(found, form, output)
    if found.outcome != "solved":
        finish(NO_WEIGHTS)
