"""The command swap."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
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


@click.command("swap")
@click.argument("recipe", type=click.Path(readable=False))
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW [OLD NEW ...]", nargs=-1)
@click.option("--by", type=click.Choice(["weight", "fat", "protein", "net-carbs"]), default="weight",
              show_default=True, help="Start and bounds hold as much of this as before.")
@click.option("--try-all", "role", metavar="ROLE", help="Every food of a role in the place of OLD.")
@click.option("--most", type=click.IntRange(1), default=20, show_default=True, help="Foods listed at most.")
@with_options(TARGETS, SOLVING, TABLES, OUTPUT)
def command(recipe: str, old: str, new: tuple[str, ...], by: str, role: str | None, most: int, prefer: str, exact: bool,
            tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Swap ingredients of RECIPE for other foods: before and after, solved again.

    Exit code 3 where no weights satisfy the limits afterwards.
    """
    from ratio_solver.output.json_csv import as_csv, as_json
    from ratio_solver.tools.swap.compute import swap as swap_foods
    from ratio_solver.tools.swap.trials_report import TRIAL_COLUMNS, trial_data, trials_data, trials_report
    from ratio_solver.tools.swap.try_all import try_all
    from ratio_solver.tools.what_if import report as report

    if (role is None) == (len(new) % 2 == 0) or (role is not None and new):
        raise click.UsageError("expected OLD NEW in pairs, or OLD alone with --try-all ROLE")
    table = load_foods(*tables)
    dish, how = recipe_with(recipe, table, options), {"guaranteed": options["guaranteed"], "exact": exact}
    if role is not None:
        tried = try_all(dish, table, old, role, by, prefer, most=most if form == "text" else None, **how)
        deliver_as(form, output,
                   json=lambda: as_json(trials_data(tried)),
                   csv=lambda: as_csv(TRIAL_COLUMNS, (trial_data(tried, one) for one in tried.trials)),
                   text=lambda: trials_report(tried, most))
        done = any(trial.does for trial in tried.trials)
    else:
        names = (old, *new)
        found = swap_foods(dish, table, list(zip(names[::2], names[1::2], strict=True)), by, prefer, **how)
        sides: list[tuple[str, report.Side]] = [("before", found.before), ("after", found.after)]
        deliver_as(form, output,
                   json=lambda: as_json(report.swap_data(found)),
                   csv=lambda: as_csv(report.column_header(sides), report.column_rows(sides)),
                   text=lambda: report.swap_report(found))
        done = report.state(found.after)[0] in ("solved", "kept")
    if not done:
        finish(NO_WEIGHTS)
