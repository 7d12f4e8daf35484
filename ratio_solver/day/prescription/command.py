"""The command prescription."""

from __future__ import annotations

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import OUTPUT, TABLES, deliver_outcome, with_options


@click.command("prescription")
@click.argument("recipe", metavar="FILE", type=click.Path(readable=False))
@with_options(TABLES, OUTPUT)
def command(recipe: str, tables: tuple[str, ...], form: str, output: str | None) -> None:
    """What the people of FILE may eat in a day and at each meal, in grams and kcal.

    FILE is a day file or a file of people alone (TOML, [[people]]). Exit code 3 where figures of a person exclude each
    other.
    """
    from ratio_solver.day.prescription.compute import prescription
    from ratio_solver.day.read import people_of

    deliver_outcome(prescription(people_of(recipe, load_foods(*tables))), form, output)
