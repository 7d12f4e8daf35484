"""What the commands share: options, faults on stderr, results whole or not at all."""

from __future__ import annotations

import re
import sys
import textwrap
from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from inspect import signature
from typing import Any, NoReturn

import click

from ratio_solver.dish.check import DishAtWeights, check
from ratio_solver.dish.confidence import Confidence, confidence_of
from ratio_solver.errors import BadInput, Fault, RatioSolverError, cut, unforeseen, written_out
from ratio_solver.foods.ends import KINDS
from ratio_solver.foods.policy import ENERGIES
from ratio_solver.foods.sizes import MOST_SERVINGS
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.clock import TIME_LIMIT
from ratio_solver.outcome import Outcome
from ratio_solver.output.blocks import Block
from ratio_solver.output.files import File, check_paths, refuse_tables, write_files
from ratio_solver.output.json_csv import as_csv, as_json
from ratio_solver.output.streams import WIDTH, to_stdout, with_plain_signs
from ratio_solver.recipe.change import scaled, with_servings
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import read_recipe
from ratio_solver.recipe.targets import override

BAD_INPUT, NO_WEIGHTS = 1, 3
WITHOUT_WEIGHTS = ("impossible", "undecided", "broken")
"""Outcomes with the exit code `NO_WEIGHTS`."""

MOST_WIDTH = 100
LONGEST_NOTE = 2000
"""Characters of a note on stderr, beyond which it is cut."""

PREFER_CHOICES = ("closest", "even", "cheapest", "lightest", "lowest-carb")

Command = Callable[..., Any]

RECIPE = (click.argument("recipe", type=click.Path(readable=False)),)
OUTPUT = (
    click.option("--format", "form", type=click.Choice(["text", "json", "csv"]), default="text",
                 show_default=True, help="Form of the result."),
    click.option("-o", "--output", type=click.Path(dir_okay=False, readable=False),
                 help="Write the result to a file."),
)
TABLES = (
    click.option("--foods", "tables", multiple=True, type=click.Path(readable=False),
                 help="Composition table: europe (the one that comes with the package; a file of that name is "
                 "./europe), or a CSV of your own. May be repeated, a later one wins, also over the recipe's."),
)
PER_SERVING = (
    click.option("--ratio", metavar="R", help="Least ratio, 2:1 or 2, instead of the recipe's."),
    click.option("--net-carbs", type=float, metavar="G", help="Most net carbs per serving, g."),
    click.option("--target", "targets", multiple=True, metavar="NAME>=X",
                 help="A target per serving, NAME>=X or NAME<=X; may be repeated."),
)
BATCH_SIZE = (
    click.option("--servings", type=click.IntRange(1, MOST_SERVINGS), help="The same batch in so many servings."),
    click.option("--scale", type=float, metavar="F", help="Everything times F: weights, bounds and servings."),
)
FIGURES = (
    click.option("--guaranteed", type=click.Choice(KINDS), metavar="[mean|food]",
                 help="Keep the targets at the ends of the table's intervals: those of its means (unless said), or the "
                 "wider ones of single foods."),
    click.option("--energy", type=click.Choice(ENERGIES),
                 help="Whence energy, instead of the recipe's policy: the table, Annex XIV, US labels, or 9/4/4 kcal."),
)
TARGETS = (*PER_SERVING, *BATCH_SIZE, *FIGURES)
CONFIDENCE = (
    click.option("--confidence", metavar="P", help="Keep each target with probability P, 0.95, for independent errors "
                 "of the table's figures; food:0.95 for the wider intervals of single foods."),
)
BENCH = (
    click.option("--scale-error", metavar="G|oiml",
                 help="Show what the scale's error does: g on each weight, or oiml (class III in use, oiml-new)."),
    click.option("--measures", is_flag=True, help="Show household measures beside the weights."),
)
CARD = (
    click.option("--label", type=click.Choice(["none", "us", "eu"]), default="none", show_default=True,
                 help="Declared figures too, rounded by these rules."),
    click.option("--measures", is_flag=True, help="A household measure beside every weight that has one."),
)
WRITE = (
    click.option("--write", type=click.Path(dir_okay=False, readable=False), metavar="FILE.toml",
                 help="Write the dish as a recipe with its weights fixed."),
)
AS_WRITTEN = (
    click.option("--as-written", is_flag=True, help="Take the weights of the recipe as they are; solve nothing."),
)
TIME = (
    click.option("--time-limit", type=click.FloatRange(0.001, 86_400), metavar="SECONDS",
                 help=f"Time for an answer, {TIME_LIMIT:g} unless said: the best found by then is given as not proven, "
                 "and a diagnosis says what it leaves out."),
)
SOLVING = (
    click.option("--prefer", type=click.Choice(PREFER_CHOICES), default="closest", show_default=True,
                 help="What to minimise; for cheapest a table of your own (--foods) gives the prices, price_per_kg."),
    click.option("--exact", is_flag=True, help="Weights to any fraction of a gram, not on the steps of the scale."),
    *TIME,
)


def spelt_out(arguments: Sequence[str]) -> list[str]:
    """Arguments in which `--guaranteed`, that may stand alone, says which intervals: what follows is not swallowed.

    >>> spelt_out(["--guaranteed", "dish.toml"]), spelt_out(["--guaranteed", "food", "dish.toml"])
    (['--guaranteed=mean', 'dish.toml'], ['--guaranteed=food', 'dish.toml'])
    """
    found: list[str] = []
    rest = list(arguments)
    while rest:
        word = rest.pop(0)
        if word == "--":
            return [*found, word, *rest]
        if word == "--guaranteed":
            word += f"={rest.pop(0) if rest and rest[0] in KINDS else KINDS[0]}"
        found.append(word)
    return found


def with_options(*groups: tuple[Callable[[Command], Command], ...]) -> Callable[[Command], Command]:
    """Give a command several groups of options, in the order they are listed.

    Its faults go to stderr, one a line, and the exit code says what happened.
    """

    def decorate(command: Command) -> Command:
        @wraps(command)
        def run(*args: Any, **kwargs: Any) -> Any:
            try:
                check_paths(kwargs)
                return command(*args, **kwargs)
            except BadInput as bad:
                for fault in bad.faults:
                    click.echo(str(fault), err=True)
                sys.exit(BAD_INPUT)
            except RatioSolverError as error:
                _stopped(kwargs, "", str(error))
            except (BrokenPipeError, click.ClickException, click.Abort, click.exceptions.Exit):
                raise
            except OSError as error:
                _stopped(kwargs, error.filename or "", f"is refused by the system: {error.strerror or error}")
            except Exception as error:  # the last resort: what nobody has thought of is one line as well
                _stopped(kwargs, "", unforeseen(error))

        made: Command = run
        for option in reversed([option for group in groups for option in group]):
            made = option(made)
        return made

    return decorate


def _stopped(arguments: Mapping[str, Any], got: str, what: str) -> NoReturn:
    """Say what stopped a command, and with which file, and leave."""
    name = click.get_current_context().command.name or ""
    source = arguments.get("recipe") or arguments.get("menu") or ""
    click.echo(str(Fault(source or name, name if source else "", str(got), what)), err=True)
    sys.exit(BAD_INPUT)


def recipe_with(path: str, foods: FoodTable, options: dict[str, Any]) -> Recipe:
    """The recipe of a file with the shared options applied."""
    recipe = read_recipe(path, foods)
    if options["scale"] is not None:
        recipe = scaled(recipe, options["scale"], options["servings"])
    elif options["servings"] is not None:
        recipe = with_servings(recipe, options["servings"])
    refuse_tables(click.get_current_context().params, recipe.tables)
    changed = override(recipe, foods.with_tables(recipe.tables).columns, ratio=options["ratio"],
                       net_carbs=options["net_carbs"], targets=options["targets"], energy=options["energy"])
    if not _reported_here():
        for remark in changed.remarks:
            say(f"Note: {remark}")
    return changed


_FIGURE = re.compile(r"(\d) (?=(?:g|kg|mg|ml|l|%|kcal|cm|oz|lb)(?![a-z]))")
_JOINED = "\ufffc"
"""Stands for the blank between a figure and its unit while a line is broken."""


def say(line: str) -> None:
    """A note on stderr, in lines that fit a terminal."""
    told = _FIGURE.sub(rf"\1{_JOINED}", written_out(cut(line, LONGEST_NOTE)))
    lines = textwrap.fill(told, WIDTH, break_long_words=False, break_on_hyphens=False)
    click.echo(lines.replace(_JOINED, " "), err=True)


def _reported_here() -> bool:
    """Whether the command's report, with its notes, goes to standard output; a list to buy by has none."""
    command, given = click.get_current_context().command, click.get_current_context().params
    return given.get("form", "text") == "text" and given.get("output") is None and command.name != "shopping"


def deliver(text: str | Block, output: str | None, also: Sequence[File] = ()) -> None:
    """Write a result to stdout or to a file, and what else was asked for: all files first, whole or not at all."""
    if output is None and sys.stdout is None:
        raise BadInput([Fault("standard output", "", "", "is closed; expected it open, or -o FILE")])
    if not isinstance(text, str):
        from rich.console import Console

        from ratio_solver.output.terminal import PLAIN, plain_text, rendered

        console = Console(**PLAIN)
        if output is None and console.is_terminal:
            write_files(also)
            console.width = max(WIDTH, min(console.width, MOST_WIDTH))  # a narrower table would cut figures
            with to_stdout():
                console.print(rendered(text))
            return
        text = plain_text(text) if output is not None else with_plain_signs(plain_text(text))
    if output is not None:
        also = [*also, File(output, text if text.endswith("\n") else text + "\n")]
    write_files(also)
    if output is None and text:
        with to_stdout():
            click.echo(text)


def deliver_outcome(found: Outcome, form: str, output: str | None, also: Sequence[File] = (), **shown: Any) -> None:
    """Write what a command found in the form that was asked for, and leave with its exit code where it is not 0.

    The one way in which a command delivers.

    Parameters
    ----------
    found : Outcome
    form : {"text", "json", "csv"}
    output : str or None
        The file to write; None is standard output.
    also : sequence of File
        What else was asked for.
    **shown
        Options about what is shown. A form is given those that its function has: the others do not change it.
    """
    make = getattr(found.reports(), {"json": "data", "csv": "rows"}.get(form, form))
    known = signature(make).parameters
    made = make(found, **{name: value for name, value in shown.items() if name in known})
    if form == "csv":
        made = as_csv(*made).rstrip("\n")
    elif form == "json":
        made = as_json(made | found.whence() if isinstance(made, dict) else made)
    deliver(made, output, also)
    if found.outcome in WITHOUT_WEIGHTS:
        write = click.get_current_context().params.get("write")
        if write is not None:
            click.echo(f"--write: {write}: nothing written, as there are no weights that keep the limits", err=True)
        finish(NO_WEIGHTS)


def finish(code: int) -> NoReturn:
    """Leave with an exit code."""
    sys.exit(code)


def dish_with_weights(recipe: str, foods: FoodTable, options: dict[str, Any], as_written: bool,
                      in_full: bool = False) -> DishAtWeights:
    """The dish with its weights: solved, or checked as written.

    Where there are none the reason goes to stderr, in full or in a line, and the command ends.
    """
    dish = recipe_with(recipe, foods, options)
    if as_written:
        return check(dish, guaranteed=options["guaranteed"])
    from ratio_solver.solving.solve import solve

    found = solve(dish, options["prefer"], guaranteed=options["guaranteed"], exact=options["exact"], foods=foods,
                  time_limit=options["time_limit"])
    if isinstance(found, DishAtWeights):
        return found
    if in_full:
        click.echo(found.report(), err=True)
    else:
        names = ", ".join(dict.fromkeys(limit.name for limit in found.diagnosis.conflict))
        what = "these cannot be kept together" if len(found.diagnosis.conflict) > 1 else "this cannot be kept"
        why = f"{what}: {names}" if names else "the command solve says why"
        say(f"{dish.source}: {cut(dish.title)}: {found.outcome}; {why}")
    finish(NO_WEIGHTS)


def confidence_given(options: dict[str, Any], scenarios: Sequence[str] = ()) -> Confidence | None:
    """The confidence asked for; it does not go with what reckons by limits that are linear."""
    found = confidence_of(options["confidence"], options["guaranteed"])
    if found is not None:
        refuse({"--what-if": bool(scenarios), "--scale-error": options["scale_error"] is not None}, "--confidence")
    return found


def refuse(given: Mapping[str, bool], without: str) -> None:
    """Options that are given and do not go with another.

    Raises
    ------
    UsageError
        With their names.
    """
    names = [name for name, is_given in given.items() if is_given]
    if names:
        raise click.UsageError(f"{' and '.join(names)}: expected without {without}")
