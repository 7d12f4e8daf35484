"""The command that looks into the composition table: foods."""

from __future__ import annotations

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import OUTPUT, TABLES, deliver_outcome, with_options


@click.command("foods")
@click.argument("words", nargs=-1, required=True)
@click.option("--most", type=click.IntRange(1), default=25, show_default=True, help="Foods listed at most.")
@with_options(TABLES, OUTPUT)
def command(words: tuple[str, ...], most: int, tables: tuple[str, ...], form: str, output: str | None) -> None:
    """Search the composition table: `foods WORDS...`, or `foods show NAME`.

    A food is listed when its name, id or role holds all the words.
    """
    from ratio_solver.tools.foods.compute import find_foods, one_food

    showing = words[0] == "show"
    name = " ".join(words[1:] if showing else words)
    if showing and not name.strip():
        raise click.UsageError("foods show: expected the NAME of a food")
    deliver_outcome((one_food if showing else find_foods)(load_foods(*tables), name), form, output, most=most)
