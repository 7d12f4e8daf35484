"""The command draft."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ratio_solver.errors import BadInput, Fault, written_out
from ratio_solver.foods.csv_file import read_text
from ratio_solver.foods.sizes import MOST_SERVINGS, TABLE_BYTES, refuse_larger
from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import TABLES, deliver, say, with_options
from ratio_solver.output.streams import with_long_escapes
from ratio_solver.recipe.targets import ratio_value
from ratio_solver.recipe.units import MEASURES

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food
    from ratio_solver.tools.draft.compute import Question


@click.command("draft")
@click.argument("recipe", metavar="SOURCE", type=click.Path(readable=False, allow_dash=True))
@click.option("-o", "--output", type=click.Path(dir_okay=False, readable=False), metavar="DISH.toml",
              help="Write the recipe file there, else to standard output.")
@click.option("--servings", type=click.IntRange(1, MOST_SERVINGS),
              help="How many it serves, in place of what SOURCE says.")
@click.option("--ratio", metavar="R", help="Least ratio to keep, 2:1 or 2.")
@click.option("--net-carbs", type=click.FloatRange(0, 1000), metavar="G", help="Most net carbs per serving, g.")
@click.option("--bounds", type=click.FloatRange(0, 100), metavar="PERCENT",
              help="How far each ingredient may move, so that solve can be used at once.")
@click.option(
    "--measures", type=click.Choice(MEASURES), help="Whose cups, spoons and pints; else by the words of SOURCE."
)
@click.option("--replace", is_flag=True, help="Write over DISH.toml where it is there already.")
@click.option("--recipe", "number", type=click.IntRange(1), default=1, metavar="N",
              help="Which recipe of a page that has several; the first unless said.")
@with_options(TABLES)
def command(recipe: str, output: str | None, servings: int | None, ratio: str | None, net_carbs: float | None,
            bounds: float | None, measures: str | None, replace: bool, number: int, tables: tuple[str, ...]) -> None:
    """Make a recipe file of what a cook wrote down.

    SOURCE is a text file (or - for standard input) with one ingredient a line, headings such as "For the sauce:", and
    steps after a line "Method"; or a web page saved from a browser, or a JSON file, that holds a schema.org Recipe.
    Nothing is fetched. Every guess is marked "# check:" in the file and listed at the end.
    """
    from ratio_solver.tools.draft.compute import draft

    least = None if ratio is None else ratio_value(ratio)
    if ratio is not None and least is None:
        raise BadInput([Fault("--ratio", "", repr(ratio), "expected a ratio such as 2 or 2:1")])
    if output is not None and Path(output).is_file() and not replace:
        raise BadInput([Fault(output, "", "", "is there already; say --replace to write over it")])
    text = _source(recipe)
    answered = recipe != "-" and sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()
    found = draft(text, load_foods(*tables), servings=servings, ratio=least, net_carbs=net_carbs, bounds=bounds,
                  measures=measures, recipe=number, ask=_asked if answered else None, tables=tables,
                  folder=Path(output or "").absolute().parent if output else Path.cwd(), source=recipe)
    text = found.text.rstrip("\n")
    deliver(with_long_escapes(text) if output is None else text, output)
    for line in found.look_at:
        say(f"check: {line}")
    if found.recipe and output is not None:
        deliver(found.reports().text(found), None)
    elif found.recipe:
        click.echo(found.report(), err=True)


def _source(path: str) -> str:
    """The text of a file or of standard input."""
    if path != "-":
        return read_text(path, TABLE_BYTES, page=True)
    data = sys.stdin.buffer.read(TABLE_BYTES + 1) if sys.stdin is not None else b""
    refuse_larger("standard input", len(data), TABLE_BYTES)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput(
            [Fault("standard input", "", f"byte 0x{data[error.start]:02x}", "expected UTF-8 text")]
        ) from error


def _asked(question: Question) -> Food | None:
    """Which food the cook means, by number; Enter takes the first, 0 none of them."""
    click.echo(f"\n{written_out(question.line[:200])}", err=True)
    for number, food in enumerate(question.candidates, 1):
        click.echo(f"  {number}  {food.name}", err=True)
    click.echo("  0  none of these", err=True)
    number = click.prompt("which food?", type=click.IntRange(0, len(question.candidates)), default=1, err=True)
    return question.candidates[number - 1] if number else None
