"""The command curve."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.files import File
from ratio_solver.output.options import (
    OUTPUT,
    RECIPE,
    TABLES,
    TARGETS,
    deliver_outcome,
    recipe_with,
    with_options,
)


@click.command("curve")
@with_options(RECIPE, (
    click.option("--of", type=click.Choice(["net-carbs", "ratio", "both"]), default="both", show_default=True,
                 help="Drawn against: the net-carb ceiling, or the least ratio."),
    click.option("--from", "start", type=float, metavar="X", help="Start of the axis, with one curve."),
    click.option("--to", "end", type=float, metavar="X", help="End of the axis, with one curve."),
    click.option("--plot", type=click.Path(dir_okay=False, readable=False), metavar="FILE",
                 help="Draw to FILE (.png or .svg)."),
), TARGETS, TABLES, OUTPUT)
def command(recipe: str, of: str, start: float | None, end: float | None, plot: str | None, tables: tuple[str, ...],
            form: str, output: str | None, **options: Any) -> None:
    """How high the ratio of RECIPE can go, and what a higher one takes.

    The highest ratio against the ceiling on net carbs, and the grams moved against the least ratio, with
    the exact points at which another limit starts to bind. Weights to any fraction of a gram.
    """
    from ratio_solver.tools.curve.compute import OF, curve

    found = curve(recipe_with(recipe, load_foods(*tables), options), OF if of == "both" else (of,),
                  start=start, end=end, guaranteed=options["guaranteed"])
    also = []
    if plot is not None:
        from ratio_solver.tools.curve.report import curves_plot

        also = [File(plot, curves_plot(found, plot), "--plot")]
    deliver_outcome(found, form, output, also)
