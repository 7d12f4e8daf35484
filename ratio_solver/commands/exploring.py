"""Commands that ask what else: add-fat, swap and curve."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.commands.files import File
from ratio_solver.commands.shared import (
    NO_WEIGHTS,
    OUTPUT,
    SOLVING,
    TABLES,
    TARGETS,
    deliver_as,
    finish,
    recipe_with,
    with_options,
)
from ratio_solver.foods.table import load_foods


@click.command("add-fat")
@click.argument("recipe", type=click.Path(readable=False))
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


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
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
    from ratio_solver.proposals.trying import try_all
    from ratio_solver.reports import columns_report as report
    from ratio_solver.reports.data import as_csv, as_json
    from ratio_solver.reports.trials_report import TRIAL_COLUMNS, trial_data, trials_data, trials_report

    if (role is None) == (len(new) % 2 == 0) or (role is not None and new):
        raise click.UsageError("expected OLD NEW in pairs, or OLD alone with --try-all ROLE")
    table = load_foods(*tables)
    dish, how = recipe_with(recipe, table, options), {"guaranteed": options["guaranteed"], "exact": exact}
    if role is not None:
        tried = try_all(dish, table, old, role, by, prefer, most=most if form == "text" else None, **how)
        deliver_as(form, output,
                   json=lambda: as_json(trials_data(tried)),
                   csv=lambda: as_csv((trial_data(tried, one) for one in tried.trials), TRIAL_COLUMNS),
                   text=lambda: trials_report(tried, most))
        done = any(trial.does for trial in tried.trials)
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


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
@click.option("--of", type=click.Choice(["net-carbs", "ratio", "both"]), default="both", show_default=True,
              help="Drawn against: the net-carb ceiling, or the least ratio.")
@click.option("--from", "start", type=float, metavar="X", help="Start of the axis, with one curve.")
@click.option("--to", "end", type=float, metavar="X", help="End of the axis, with one curve.")
@click.option("--plot", type=click.Path(dir_okay=False, readable=False), metavar="FILE",
              help="Draw to FILE (.png or .svg).")
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
    also = []
    if plot is not None:
        from ratio_solver.reports.curve_plot import curves_plot

        also = [File(plot, curves_plot(found, plot), "--plot")]
    deliver_as(form, output, also,
               json=lambda: as_json(report.curves_data(found)),
               csv=lambda: as_csv(report.curve_rows(found), report.curve_header(found)),
               text=lambda: report.curves_report(found))
    if found.best_ratio is None:
        finish(NO_WEIGHTS)
