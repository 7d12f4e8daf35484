"""The command book."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import click

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    AS_WRITTEN,
    BAD_INPUT,
    CARD,
    NO_WEIGHTS,
    SOLVING,
    TABLES,
    TARGETS,
    finish,
    recipe_with,
    with_options,
)
from ratio_solver.recipe.model import LANGUAGES


@click.command("book")
@with_options((
    click.argument("recipes", nargs=-1, required=True, type=click.Path(readable=False)),
    click.option("-o", "--output", required=True, type=click.Path(readable=False), metavar="DIR",
                 help="Folder for the book: new, or that of an earlier one."),
    click.option("--title", default="Recipes", show_default=True, help="Title of the book."),
    click.option("--language", type=click.Choice(LANGUAGES), default=LANGUAGES[0], show_default=True,
                 help="Of the words around the cards; each card has its recipe's."),
), CARD, TARGETS, SOLVING, AS_WRITTEN, TABLES)
def command(recipes: tuple[str, ...], output: str, title: str, language: str, label: str, measures: bool,
            as_written: bool, tables: tuple[str, ...], prefer: str, exact: bool, **options: Any) -> None:
    """A card of each of RECIPES (files and folders), a page that leads to them, and a book to print.

    What cannot be read is told and the rest is made (exit code 1; 3 where some are impossible). The folder also has
    the record of what it claims, book.json, for `recheck`. For a menu: menu MENU.csv --cards DIR.
    """
    from ratio_solver.tools.book.compute import BookOptions, closing_line, make_book, recipe_files

    menus = [path for path in recipes if Path(path).suffix.lower() in (".csv", ".xlsx")]
    if menus:
        raise BadInput(Fault(path, "", "", "expected a recipe file (*.toml) or a folder of them; the cards of a "
                             f"menu: ratio-solver menu {path} -o TABLES --cards DIR") for path in menus)
    foods, files = load_foods(*tables), recipe_files(recipes)
    asked = BookOptions(title, label, measures, as_written, exact, prefer, options["guaranteed"], language,
                        options["time_limit"])
    entries = [(str(path), partial(recipe_with, str(path), foods, options)) for path in files]
    found = make_book(entries, output, asked, [*files, *map(Path, tables)])
    for line in (*map(str, found.faults), *found.without_weights):
        click.echo(line, err=True)
    click.echo(f"{closing_line(found.counts)}; see {output}", err=True)
    if found.unreadable:
        finish(BAD_INPUT)
    if found.without_weights:
        finish(NO_WEIGHTS)
