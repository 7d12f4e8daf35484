"""The command card."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.files import File
from ratio_solver.output.options import (
    AS_WRITTEN,
    CARD,
    OUTPUT,
    RECIPE,
    SOLVING,
    TABLES,
    TARGETS,
    deliver,
    dish_with_weights,
    with_options,
)


@click.command("card")
@with_options(RECIPE, CARD, (
    click.option("--format", "form", type=click.Choice(["html", "md", "json", "jsonld"]), default="html",
                 show_default=True, help="A page, Markdown, plain data, or schema.org data for a page."),
    click.option("--record", "record_to", type=click.Path(dir_okay=False, readable=False), metavar="FILE.json",
                 help="Record what the card claims, for `recheck`."),
), TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT[1:])
def command(recipe: str, label: str, measures: bool, form: str, record_to: str | None, as_written: bool,
            tables: tuple[str, ...], output: str | None, **options: Any) -> None:
    """A page of RECIPE to print, for the kitchen and the reader.

    An impossible dish has no card: the report goes to stderr, nothing is written, exit code 3.
    """
    from ratio_solver.tools.card.compute import card

    dish = dish_with_weights(recipe, load_foods(*tables), options, as_written, in_full=True)
    also = []
    if record_to is not None:
        from ratio_solver.tools.recheck.record import record_text

        name = "" if output is None else Path(output).name
        also = [File(record_to, record_text([(dish, name)], label, Path(record_to).absolute().parent), "--record")]
    deliver(card(dish, label, form=form, measures=measures), output, also)
