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
BENCH = (
    click.option("--scale-error", metavar="G|oiml",
                 help="Show what the scale's error does: g on each weight, or oiml (class III in use, oiml-new)."),
    click.option("--measures", is_flag=True, help="Show household measures beside the weights."),
)
WRITE = (
    click.option("--write", type=click.Path(dir_okay=False), metavar="FILE.toml",
                 help="Write the dish as a recipe with its weights fixed."),
)
AS_WRITTEN = (
    click.option("--as-written", is_flag=True, help="Take the weights of the recipe as they are; solve nothing."),
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


def deliver_as(form: str, output: str | None, *, json: Callable[[], str], csv: Callable[[], str],
               text: Callable[[], RenderableType]) -> None:
    """Write a result in the form that was asked for; the others are not made."""
    deliver(json() if form == "json" else csv().rstrip("\n") if form == "csv" else text(), output)


def write_whole(path: Path, content: str | bytes, option: str = "-o") -> None:
    """Write a file so that it is either the new one or the old one."""
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        with tempfile.NamedTemporaryFile("wb", dir=path.parent, delete=False) as file:
            file.write(data)
        os.replace(file.name, path)
    except OSError as error:
        raise BadInput([Fault(option, str(path), "", f"cannot be written: {error.strerror}")]) from error


def finish(code: int) -> NoReturn:
    """Leave with an exit code."""
    sys.exit(code)


@main.command()
@click.argument("recipe", type=click.Path())
@click.option("--what-if", "scenarios", multiple=True, metavar="CHANGES",
              help="A scenario beside the answer: ratio=2.5, net_carbs=8, servings=8, NAME>=X, NAME<=X, several "
              "parted by commas; may be repeated.")
@with_options(TARGETS, SOLVING, BENCH, WRITE, TABLES, OUTPUT)
def solve(recipe: str, scenarios: tuple[str, ...], prefer: str, exact: bool, write: str | None,
          tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Solve the weights of RECIPE (TOML)."""
    if scenarios:
        solve_scenarios(recipe, scenarios, prefer, exact, tables, form, output, options)
        return
    from ratio_solver.proposals.propose import solve as solve_recipe
    from ratio_solver.reports.data import WEIGHT_COLUMNS, answer_data, as_csv, as_json, weight_data
    from ratio_solver.reports.solve_text import answer_report

    dish = recipe_with(recipe, load_foods(*tables), options)
    answer = solve_recipe(dish, prefer, guaranteed=options["guaranteed"], exact=exact)
    if form == "json":
        deliver(as_json(answer_data(answer) | bench_data(answer, options)), output)
    elif form == "csv":
        weights = answer.weights if answer.outcome == "solved" else ()  # type: ignore[union-attr]
        deliver(as_csv(map(weight_data, weights), WEIGHT_COLUMNS).rstrip("\n"), output)
    else:
        deliver(answer_report(answer, *bench_sections(answer, options)), output)
    if answer.outcome != "solved":
        finish(NO_WEIGHTS)
    if write is not None:
        from ratio_solver.recipes.toml_text import fixed, recipe_text

        solved: Any = answer
        write_whole(Path(write), recipe_text(fixed(dish, tuple(weight.grams for weight in solved.weights))))


def solve_scenarios(recipe: str, scenarios: tuple[str, ...], prefer: str, exact: bool, tables: tuple[str, ...],
                    form: str, output: str | None, options: dict[str, Any]) -> None:
    """The answer of `solve` with scenarios beside it."""
    from ratio_solver.proposals.what_if import what_if
    from ratio_solver.reports import columns_report as report
    from ratio_solver.reports.data import as_csv, as_json

    table = load_foods(*tables)
    found = what_if(recipe_with(recipe, table, options), table, scenarios, prefer,
                    guaranteed=options["guaranteed"], exact=exact)
    deliver_as(form, output,
               json=lambda: as_json(report.what_if_data(found)),
               csv=lambda: as_csv(report.column_rows(found.columns), report.column_header(found.columns)),
               text=lambda: report.what_if_report(found))
    if found.base.outcome != "solved":
        finish(NO_WEIGHTS)


@main.command()
@click.argument("recipe", type=click.Path())
@click.option("--of", type=click.Choice(["net-carbs", "ratio", "both"]), default="both", show_default=True,
              help="Drawn against: the net-carb ceiling, or the least ratio.")
@click.option("--from", "start", type=float, metavar="X", help="Start of the axis, with one curve.")
@click.option("--to", "end", type=float, metavar="X", help="End of the axis, with one curve.")
@click.option("--plot", type=click.Path(dir_okay=False), metavar="FILE", help="Draw to FILE (.png or .svg).")
@with_options(TARGETS, TABLES, OUTPUT)
def curve(recipe: str, of: str, start: float | None, end: float | None, plot: str | None, tables: tuple[str, ...],
          form: str, output: str | None, **options: Any) -> None:
    """How high the ratio of RECIPE can go, and what a higher one takes.

    The highest ratio against the ceiling on net carbs, and the grams moved against the least ratio, with
    the exact points at which another limit starts to bind. Weights to any fraction of a gram.
    """
    from ratio_solver.proposals.curve import OF
    from ratio_solver.proposals.curve import curve as curves_of
    from ratio_solver.reports import curve_report as report
    from ratio_solver.reports.data import as_csv, as_json

    found = curves_of(recipe_with(recipe, load_foods(*tables), options), OF if of == "both" else (of,),
                      start=start, end=end, guaranteed=options["guaranteed"])
    if plot is not None:
        from ratio_solver.reports.curve_plot import curves_plot

        write_whole(Path(plot), curves_plot(found, plot), "--plot")
    deliver_as(form, output,
               json=lambda: as_json(report.curves_data(found)),
               csv=lambda: as_csv(report.curve_rows(found), report.curve_header(found)),
               text=lambda: report.curves_report(found))
    if found.best_ratio is None:
        finish(NO_WEIGHTS)


@main.command()
@click.argument("recipe", type=click.Path())
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW [OLD NEW ...]", nargs=-1)
@click.option("--by", type=click.Choice(["weight", "fat", "protein", "net-carbs"]), default="weight",
              show_default=True, help="Start and bounds hold as much of this as before.")
@click.option("--try-all", "role", metavar="ROLE", help="Every food of a role in the place of OLD.")
@click.option("--most", type=click.IntRange(1), default=20, show_default=True, help="Foods listed at most.")
@with_options(TARGETS, SOLVING, TABLES, OUTPUT)
def swap(recipe: str, old: str, new: tuple[str, ...], by: str, role: str | None, most: int, prefer: str, exact: bool,
         tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Swap ingredients of RECIPE for other foods: before and after, solved again.

    Exit code 3 where no weights satisfy the limits afterwards.
    """
    from ratio_solver.proposals.swap import swap as swap_foods
    from ratio_solver.proposals.swap import try_all
    from ratio_solver.reports import columns_report as report
    from ratio_solver.reports.data import as_csv, as_json

    if (role is None) == (len(new) % 2 == 0) or (role is not None and new):
        raise click.UsageError("expected OLD NEW in pairs, or OLD alone with --try-all ROLE")
    table = load_foods(*tables)
    dish, how = recipe_with(recipe, table, options), {"guaranteed": options["guaranteed"], "exact": exact}
    if role is not None:
        tried = try_all(dish, table, old, role, by, prefer, **how)
        deliver_as(form, output,
                   json=lambda: as_json(report.trials_data(tried)),
                   csv=lambda: as_csv((report.trial_data(tried, one) for one in tried.trials), report.TRIAL_COLUMNS),
                   text=lambda: report.trials_report(tried, most))
        done = any(trial.outcome in ("solved", "keeps every limit") for trial in tried.trials)
    else:
        names = (old, *new)
        found = swap_foods(dish, table, list(zip(names[::2], names[1::2], strict=True)), by, prefer, **how)
        sides: list[tuple[str, report.Side]] = [("before", found.before), ("after", found.after)]
        deliver_as(form, output,
                   json=lambda: as_json(report.swap_data(found)),
                   csv=lambda: as_csv(report.column_rows(sides), report.column_header(sides)),
                   text=lambda: report.swap_report(found))
        done = report.state(found.after)[0] in ("solved", "kept")
    if not done:
        finish(NO_WEIGHTS)


@main.command()
@click.argument("recipe", type=click.Path())
@with_options(TARGETS, BENCH, TABLES, OUTPUT)
def check(recipe: str, tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Facts of RECIPE as written, against its targets.

    Exit code 3 where the weights as written break a limit.
    """
    from ratio_solver.recipes.check import check as check_recipe
    from ratio_solver.reports.data import LIMIT_COLUMNS, as_csv, as_json, check_data, limit_data

    found = check_recipe(recipe_with(recipe, load_foods(*tables), options), guaranteed=options["guaranteed"])
    if form == "json":
        deliver(as_json(check_data(found) | bench_data(found, options)), output)
    elif form == "csv":
        deliver(as_csv(map(limit_data, found.limits), LIMIT_COLUMNS).rstrip("\n"), output)
    else:
        from ratio_solver.reports.text import check_report

        deliver(check_report(found, *bench_sections(found, options)), output)
    if not found.kept:
        finish(NO_WEIGHTS)


@main.command("add-fat")
@click.argument("recipe", type=click.Path())
@click.option("--with", "names", multiple=True, metavar="NAME", help="A food to try; may be repeated. "
              "Unless given: the table's fats.")
@click.option("--step", type=float, default=1.0, show_default=True, help="Step of the scale, g.")
@click.option("--most", type=click.IntRange(1), default=12, show_default=True, help="Foods listed at most.")
@with_options(TARGETS, TABLES, OUTPUT)
def add_fat(recipe: str, names: tuple[str, ...], step: float, most: int, tables: tuple[str, ...], form: str,
            output: str | None, **options: Any) -> None:
    """What fat to add to RECIPE as written, to reach its least ratio.

    Exit code 3 where no fat, and no mix of two, keeps every limit.
    """
    from ratio_solver.proposals.add_fat import add_fat as fats_for
    from ratio_solver.reports import add_fat_report as report
    from ratio_solver.reports.data import as_csv, as_json

    table = load_foods(*tables)
    found = fats_for(recipe_with(recipe, table, options), table, names, step=step, guaranteed=options["guaranteed"])
    deliver_as(form, output,
               json=lambda: as_json(report.add_fat_data(found)),
               csv=lambda: as_csv(report.candidate_rows(found), report.CANDIDATE_COLUMNS),
               text=lambda: report.add_fat_report(found, most))
    if not found.solved:
        finish(NO_WEIGHTS)


def bench_data(found: Any, options: dict[str, Any]) -> dict[str, Any]:
    """What `--scale-error` adds to the JSON of a dish with weights."""
    if options["scale_error"] is None:
        return {}
    from ratio_solver.recipes.scale_error import scale_error, scale_named
    from ratio_solver.reports.bench_data import scale_error_data

    scale = scale_named(options["scale_error"])
    if not getattr(found, "weights", ()):
        return {"scale_error": None}
    weights = tuple(weight.grams for weight in found.weights)
    return {"scale_error": scale_error_data(scale_error(found.recipe, weights, scale, guaranteed=found.guaranteed))}


def bench_sections(found: Any, options: dict[str, Any]) -> list[RenderableType]:
    """What `--scale-error` and `--measures` add to the report of a dish with weights."""
    if options["scale_error"] is None and not options["measures"]:
        return []
    from ratio_solver.recipes.scale_error import scale_error, scale_named
    from ratio_solver.reports.bench_text import measures_section, scale_error_section

    scale = None if options["scale_error"] is None else scale_named(options["scale_error"])
    if not getattr(found, "weights", ()):
        return []
    weights = tuple(weight.grams for weight in found.weights)
    sections = [measures_section(found.weights)] if options["measures"] else []
    if scale is not None:
        sections.append(scale_error_section(scale_error(found.recipe, weights, scale, guaranteed=found.guaranteed)))
    return sections


def dish_with_weights(recipe: str, foods: FoodTable, options: dict[str, Any], as_written: bool) -> Any:
    """The dish with its weights: solved, or checked as written; or the reason why there are none."""
    dish = recipe_with(recipe, foods, options)
    if as_written:
        from ratio_solver.recipes.check import check as check_recipe

        return check_recipe(dish, guaranteed=options["guaranteed"])
    from ratio_solver.proposals.propose import solve as solve_recipe

    return solve_recipe(dish, options["prefer"], guaranteed=options["guaranteed"], exact=options["exact"])


def told_impossible(found: Any) -> None:
    """Leave, with the reason on stderr, where there are no weights to go on with."""
    if getattr(found, "outcome", "solved") == "impossible":
        names = ", ".join(dict.fromkeys(limit.name for limit in found.diagnosis.conflict))
        click.echo(f"{found.recipe.title}: impossible; these cannot be kept together: {names}", err=True)
        finish(NO_WEIGHTS)


@main.command()
@click.argument("recipe", type=click.Path())
@with_options(TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT)
def shopping(recipe: str, as_written: bool, tables: tuple[str, ...], form: str, output: str | None,
             **options: Any) -> None:
    """What to buy for RECIPE: raw weights with refuse, whole pieces.

    With --servings: for so many servings of the dish as it is.
    """
    from ratio_solver.recipes.shopping import shopping as shopping_list
    from ratio_solver.reports.data import as_csv, as_json
    from ratio_solver.reports.shopping_report import PURCHASE_COLUMNS, purchase_data, shopping_data, shopping_report

    table = load_foods(*tables)
    found = dish_with_weights(recipe, table, options | {"servings": None}, as_written)
    told_impossible(found)
    bought = shopping_list(found.recipe, tuple(weight.grams for weight in found.weights), options["servings"],
                           foods=table)
    if form == "json":
        deliver(as_json(shopping_data(bought)), output)
    elif form == "csv":
        deliver(as_csv(map(purchase_data, bought.purchases), PURCHASE_COLUMNS).rstrip("\n"), output)
    else:
        deliver(shopping_report(bought), output)


@main.command()
@click.argument("recipe", type=click.Path())
@click.option("--portion-grams", type=float, metavar="G", help="As many portions of this weight as the batch makes.")
@with_options(TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT)
def portions(recipe: str, portion_grams: float | None, as_written: bool, tables: tuple[str, ...], form: str,
             output: str | None, **options: Any) -> None:
    """What of each part and ingredient of RECIPE goes into each serving."""
    from ratio_solver.recipes.portions import portions as dealt_out
    from ratio_solver.reports.bench_data import SHARE_COLUMNS, portions_data, share_rows
    from ratio_solver.reports.bench_text import portions_report
    from ratio_solver.reports.data import as_csv, as_json

    found = dish_with_weights(recipe, load_foods(*tables), options, as_written)
    told_impossible(found)
    shared = dealt_out(found.recipe, tuple(weight.grams for weight in found.weights), portion_grams=portion_grams)
    if form == "json":
        deliver(as_json(portions_data(shared)), output)
    elif form == "csv":
        deliver(as_csv(share_rows(shared), SHARE_COLUMNS).rstrip("\n"), output)
    else:
        deliver(portions_report(shared), output)


@main.command()
@click.argument("recipe", type=click.Path())
@click.option("--weighed", multiple=True, metavar="NAME=GRAMS", help="In the bowl, fixed; may be repeated.")
@click.option("--added", multiple=True, metavar="NAME[=GRAMS]",
              help="In the bowl, may only be added to; without grams as planned. May be repeated.")
@click.option("--take", type=click.IntRange(1), metavar="N", help="Make the Nth remedy where nothing else works.")
@with_options(TARGETS, WRITE, TABLES, OUTPUT)
def adjust(recipe: str, weighed: tuple[str, ...], added: tuple[str, ...], take: int | None, write: str | None,
           tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Solve RECIPE again around what is already in the bowl."""
    from ratio_solver.proposals.adjust import adjust as adjust_recipe
    from ratio_solver.recipes.naming import named_grams
    from ratio_solver.recipes.toml_text import recipe_text
    from ratio_solver.reports.adjust_report import adjustment_data, adjustment_report
    from ratio_solver.reports.data import WEIGHT_COLUMNS, as_csv, as_json, weight_data

    dish = recipe_with(recipe, load_foods(*tables), options)
    found = adjust_recipe(dish, named_grams(weighed, "--weighed"), named_grams(added, "--added", bare=True),
                          guaranteed=options["guaranteed"])
    taken = found.remedy(take)
    bowl = taken.bowl if taken else found.bowl
    if form == "json":
        deliver(as_json(adjustment_data(found, taken)), output)
    elif form == "csv":
        deliver(as_csv(map(weight_data, found.weights(taken)), WEIGHT_COLUMNS).rstrip("\n"), output)
    else:
        deliver(adjustment_report(found, taken), output)
    if bowl is None:
        finish(NO_WEIGHTS)
    if write is not None:
        write_whole(Path(write), recipe_text(bowl))


@main.command()
@click.argument("recipe", type=click.Path())
@click.option("--label", type=click.Choice(["none", "us", "eu"]), default="none", show_default=True,
              help="Declared figures per serving too, rounded by these rules.")
@with_options(TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT[1:])
def card(recipe: str, label: str, as_written: bool, tables: tuple[str, ...], output: str | None,
         **options: Any) -> None:
    """A page of RECIPE to print, for the kitchen and the reader (HTML).

    An impossible dish has no card: the report goes to stderr, nothing is written, exit code 3.
    """
    from ratio_solver.reports.card import card as card_of

    found = dish_with_weights(recipe, load_foods(*tables), options, as_written)
    if getattr(found, "outcome", "solved") == "impossible":
        from ratio_solver.reports.solve_text import answer_report

        click.echo(plain_text(answer_report(found)), err=True)
        finish(NO_WEIGHTS)
    deliver(card_of(found, label), output)


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
