"""The command line. Thin: one command is one call of the library; results go to stdout, all else to stderr."""

from __future__ import annotations

import gc
import io
import os
import sys
import tempfile
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from ratio_solver.faults import BadInput, Fault, RatioSolverError
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.recipes.recipe import Recipe
from ratio_solver.recipes.scaling import scaled, with_servings
from ratio_solver.recipes.targets import override
from ratio_solver.recipes.toml_file import read_recipe

if TYPE_CHECKING:
    from rich.console import RenderableType

BAD_INPUT, NO_WEIGHTS = 1, 3
WIDTH = 80
PREFERENCES = ("closest", "even", "cheapest", "lightest", "lowest-carb")

Command = Callable[..., Any]

OUTPUT = (
    click.option("--format", "form", type=click.Choice(["text", "json", "csv"]), default="text",
                 show_default=True, help="Form of the result."),
    click.option("-o", "--output", type=click.Path(dir_okay=False), help="Write the result to a file."),
)
TABLES = (
    click.option("--foods", "tables", multiple=True, type=click.Path(),
                 help="Composition table of your own (CSV); may be repeated, a later one wins."),
)
TARGETS = (
    click.option("--ratio", metavar="R", help="Least ratio, 2:1 or 2, instead of the recipe's."),
    click.option("--net-carbs", type=float, metavar="G", help="Most net carbs per serving, g."),
    click.option("--target", "targets", multiple=True, metavar="NAME>=X",
                 help="A target per serving, NAME>=X or NAME<=X; may be repeated."),
    click.option("--servings", type=click.IntRange(1, 100_000), help="The same batch in so many servings."),
    click.option("--scale", type=float, metavar="F", help="Everything times F: weights, bounds and servings."),
    click.option("--guaranteed", is_flag=True,
                 help="Keep the targets for every composition within the table's intervals."),
)
SOLVING = (
    click.option("--prefer", type=click.Choice(PREFERENCES), default="closest", show_default=True,
                 help="What to minimise."),
    click.option("--exact", is_flag=True, help="Weights to any fraction of a gram, not on the steps of the scale."),
)


def with_options(*groups: tuple[Callable[[Command], Command], ...]) -> Callable[[Command], Command]:
    """Give a command several groups of options, in the order they are listed."""

    def decorate(command: Command) -> Command:
        for option in reversed([option for group in groups for option in group]):
            command = option(command)
        return reporting(command)

    return decorate


def reporting(command: Command) -> Command:
    """Faults go to stderr, one a line, and the exit code says what happened."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except BadInput as bad:
            for fault in bad.faults:
                click.echo(str(fault), err=True)
            sys.exit(BAD_INPUT)
        except RatioSolverError as error:
            click.echo(str(error), err=True)
            sys.exit(BAD_INPUT)

    return run


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": WIDTH})
@click.version_option(package_name="ratio-solver", prog_name="ratio-solver")
def main() -> None:
    """Weights for a dish that keeps a ketogenic ratio under a net-carb ceiling.

    Exit codes: 0 solved, 1 bad input (nothing written), 2 usage, 3 no weights satisfy the limits.
    """
    # A command makes many objects that stay and hardly any cycles: looking for those is a tenth of its time.
    gc.set_threshold(100_000, 50, 50)


def recipe_with(path: str, foods: FoodTable, options: dict[str, Any]) -> Recipe:
    """The recipe of a file with the shared options applied."""
    recipe = read_recipe(path, foods)
    if options["scale"] is not None:
        recipe = scaled(recipe, options["scale"])
    if options["servings"] is not None:
        recipe = with_servings(recipe, options["servings"])
    return override(recipe, foods.columns, ratio=options["ratio"], net_carbs=options["net_carbs"],
                    targets=options["targets"])


def deliver(text: str | RenderableType, output: str | None) -> None:
    """Write a result to stdout, or to a file whole or not at all."""
    if not isinstance(text, str):
        from rich.console import Console

        console = Console(highlight=False)
        if output is None and console.is_terminal:
            console.width = min(console.width, 100)
            console.print(text)
            return
        text = plain_text(text)
    if output is None:
        click.echo(text)
    else:
        write_whole(Path(output), text if text.endswith("\n") else text + "\n")


def plain_text(report: RenderableType) -> str:
    """A report as it stands in a file."""
    from rich.console import Console

    plain = Console(width=WIDTH, highlight=False, no_color=True, force_terminal=False, file=io.StringIO())
    with plain.capture() as capture:
        plain.print(report)
    return "\n".join(line.rstrip() for line in capture.get().splitlines())


def write_whole(path: Path, text: str) -> None:
    """Write a file so that it is either the new one or the old one."""
    try:
        with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=path.parent, delete=False) as file:
            file.write(text)
        os.replace(file.name, path)
    except OSError as error:
        raise BadInput([Fault("-o", str(path), "", f"cannot be written: {error.strerror}")]) from error


def finish(code: int) -> NoReturn:
    """Leave with an exit code."""
    sys.exit(code)


@main.command()
@click.argument("recipe", type=click.Path())
@with_options(TARGETS, SOLVING, TABLES, OUTPUT)
def solve(recipe: str, prefer: str, exact: bool, tables: tuple[str, ...], form: str, output: str | None,
          **options: Any) -> None:
    """Solve the weights of RECIPE (TOML)."""
    from ratio_solver.proposals.propose import solve as solve_recipe
    from ratio_solver.reports.data import WEIGHT_COLUMNS, answer_data, as_csv, as_json, weight_data
    from ratio_solver.reports.solve_text import answer_report

    dish = recipe_with(recipe, load_foods(*tables), options)
    answer = solve_recipe(dish, prefer, guaranteed=options["guaranteed"], exact=exact)
    if form == "json":
        deliver(as_json(answer_data(answer)), output)
    elif form == "csv":
        weights = answer.weights if answer.outcome == "solved" else ()  # type: ignore[union-attr]
        deliver(as_csv(map(weight_data, weights), WEIGHT_COLUMNS).rstrip("\n"), output)
    else:
        deliver(answer_report(answer), output)
    if answer.outcome != "solved":
        finish(NO_WEIGHTS)


@main.command()
@click.argument("recipe", type=click.Path())
@with_options(TARGETS, TABLES, OUTPUT)
def check(recipe: str, tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Facts of RECIPE as written, against its targets.

    Exit code 3 where the weights as written break a limit.
    """
    from ratio_solver.recipes.check import check as check_recipe
    from ratio_solver.reports.data import LIMIT_COLUMNS, as_csv, as_json, check_data, limit_data

    found = check_recipe(recipe_with(recipe, load_foods(*tables), options), guaranteed=options["guaranteed"])
    if form == "json":
        deliver(as_json(check_data(found)), output)
    elif form == "csv":
        deliver(as_csv(map(limit_data, found.limits), LIMIT_COLUMNS).rstrip("\n"), output)
    else:
        from ratio_solver.reports.text import check_report

        deliver(check_report(found), output)
    if not found.kept:
        finish(NO_WEIGHTS)


@main.command()
@click.argument("recipe", type=click.Path())
@click.option("--as-written", is_flag=True, help="Take the weights of the recipe as they are; solve nothing.")
@click.option("--label", type=click.Choice(["none", "us", "eu"]), default="none", show_default=True,
              help="Declared figures per serving too, rounded by these rules.")
@with_options(TARGETS, SOLVING, TABLES, OUTPUT[1:])
def card(recipe: str, as_written: bool, label: str, prefer: str, exact: bool, tables: tuple[str, ...],
         output: str | None, **options: Any) -> None:
    """A page of RECIPE to print, for the kitchen and the reader (HTML).

    An impossible dish has no card: the report goes to stderr, nothing is written, exit code 3.
    """
    from ratio_solver.reports.card import card as card_of

    dish = recipe_with(recipe, load_foods(*tables), options)
    if as_written:
        from ratio_solver.recipes.check import check as check_recipe

        deliver(card_of(check_recipe(dish, guaranteed=options["guaranteed"]), label), output)
        return
    from ratio_solver.proposals.propose import solve as solve_recipe

    answer = solve_recipe(dish, prefer, guaranteed=options["guaranteed"], exact=exact)
    if answer.outcome != "solved":
        from ratio_solver.reports.solve_text import answer_report

        click.echo(plain_text(answer_report(answer)), err=True)
        finish(NO_WEIGHTS)
    deliver(card_of(answer, label), output)  # type: ignore[arg-type]


@main.command()
@click.argument("words", nargs=-1, required=True)
@click.option("--most", type=click.IntRange(1), default=25, show_default=True, help="Foods listed at most.")
@with_options(TABLES, OUTPUT)
def foods(words: tuple[str, ...], most: int, tables: tuple[str, ...], form: str, output: str | None) -> None:
    """Search the composition table: `foods WORDS...`, or `foods show NAME`.

    A food is listed when its name, id or role holds all the words.
    """
    from ratio_solver.reports.data import FOOD_COLUMNS, as_csv, as_json, food_data

    table = load_foods(*tables)
    showing = words[0] == "show" and len(words) > 1
    name = " ".join(words[1:] if showing else words)
    found = [one_food(table, name)] if showing else table.search(name)
    if form == "json":
        deliver(as_json(food_data(found[0]) if showing else [food_data(food) for food in found]), output)
    elif form == "csv":
        deliver(as_csv(map(food_data, found), FOOD_COLUMNS).rstrip("\n"), output)
    else:
        from ratio_solver.reports.foods_text import food_report, search_report

        deliver(food_report(found[0]) if showing else search_report(found, name, most), output)


def one_food(table: FoodTable, name: str) -> Any:
    """The food of a name or id, or a fault with what was meant."""
    food = table.get(name)
    if food is None:
        near = table.near(name)
        hint = f"; did you mean {' or '.join(map(repr, near))}?" if near else ""
        raise BadInput([Fault("foods", "", repr(name), f"is not in the composition table{hint}")])
    return food


if __name__ == "__main__":
    main()
