"""The command swap."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    OUTPUT,
    RECIPE,
    SOLVING,
    TABLES,
    TARGETS,
    deliver_outcome,
    recipe_with,
    with_options,
)


@click.command("swap")
@with_options(RECIPE, (
    click.argument("old", metavar="OLD"),
    click.argument("new", metavar="NEW [OLD NEW ...]", nargs=-1),
    click.option("--by", type=click.Choice(["weight", "fat", "protein", "net-carbs"]), default="weight",
                 show_default=True, help="Start and bounds hold as much of this as before."),
    click.option("--try-all", "role", metavar="ROLE", help="Every food of a role in the place of OLD."),
    click.option("--most", type=click.IntRange(1), default=20, show_default=True, help="Foods listed at most."),
), TARGETS, SOLVING, TABLES, OUTPUT)
def command(recipe: str, old: str, new: tuple[str, ...], by: str, role: str | None, most: int, prefer: str, exact: bool,
            time_limit: float | None, tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Swap ingredients of RECIPE for other foods: before and after, solved again.

    Exit code 3 where no weights satisfy the limits afterwards.
    """
    from ratio_solver.tools.swap.compute import swap
    from ratio_solver.tools.swap.try_all import try_all

    if (role is None) == (len(new) % 2 == 0) or (role is not None and new):
        raise click.UsageError("expected OLD NEW in pairs, or OLD alone with --try-all ROLE")
    table = load_foods(*tables)
    dish, names = recipe_with(recipe, table, options), (old, *new)
    found = swap(dish, table, list(zip(names[::2], names[1::2], strict=True)), by, prefer,
                 guaranteed=options["guaranteed"], exact=exact, time_limit=time_limit) if role is None else \
        try_all(dish, table, old, role, by, prefer, most=most if form == "text" else None,
                guaranteed=options["guaranteed"], exact=exact, time_limit=time_limit)
    deliver_outcome(found, form, output, most=most)
