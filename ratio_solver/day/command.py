"""The command day."""

from __future__ import annotations

from pathlib import Path

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import NO_WEIGHTS, OUTPUT, TABLES, TIME, deliver_outcome, finish, with_options


@click.command("day")
@click.argument("recipe", metavar="DAY", type=click.Path(readable=False))
@click.option("-o", "--output", type=click.Path(readable=False), metavar="DIR",
              help="Folder for the tables: new, or that of an earlier run. Unless given: the report on stdout.")
@click.option("--together", is_flag=True, help="Solve the dishes' own weights with the day.")
@click.option("--exact", is_flag=True, help="Weights to any fraction of a gram, not on the steps of the scale.")
@click.option("--people", type=click.Path(readable=False), metavar="FILE",
              help="The people of a day in CSV (day, meal, dish, person): a file with [[people]].")
@with_options(TIME, TABLES, OUTPUT[:1])
def command(recipe: str, output: str | None, together: bool, exact: bool, time_limit: float | None, people: str | None,
            tables: tuple[str, ...], form: str) -> None:
    """Everyone's portions of DAY (TOML or CSV), a day or several, within what is prescribed to them.

    Exit code 3 where a day has no portions that keep everything; it says why and what would cure it.
    """
    from ratio_solver.day.compute import solve_day
    from ratio_solver.day.read import read_days
    from ratio_solver.day.result import Days
    from ratio_solver.day.tables import outcome_counts, write_tables

    table = load_foods(*tables)
    days = read_days(recipe, table, people=people)
    found = Days(tuple(solve_day(day, together=together, exact=exact, foods=table, time_limit=time_limit)
                       for day in days))
    if output is None:
        deliver_outcome(found, form, None)
        return
    write_tables(found, Path(output), [Path(path) for path in (recipe, people, *tables) if path])
    click.echo(f"{outcome_counts(found)}; see {output}", err=True)
    if found.outcome != "solved":
        finish(NO_WEIGHTS)
