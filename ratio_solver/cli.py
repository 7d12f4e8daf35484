"""The command line: one command is one call of the library; results go to stdout, all else to stderr."""

from __future__ import annotations

import gc

import click

from ratio_solver.commands.exploring import add_fat, curve, swap
from ratio_solver.commands.kitchen import adjust, card, portions, shopping
from ratio_solver.commands.shared import WIDTH
from ratio_solver.commands.solving import check, solve
from ratio_solver.commands.table import foods


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": WIDTH})
@click.version_option(package_name="ratio-solver", prog_name="ratio-solver")
def main() -> None:
    """Weights for a dish that keeps a ketogenic ratio under a net-carb ceiling.

    Exit codes: 0 solved, 1 bad input (nothing written), 2 usage, 3 no weights satisfy the limits.
    """
    # A command makes many objects that stay and hardly any cycles: looking for those is a tenth of its time.
    gc.set_threshold(100_000, 50, 50)


for command in (solve, check, add_fat, swap, curve, adjust, portions, shopping, card, foods):
    main.add_command(command)


@main.command()
@click.argument("menu", type=click.Path())
@click.option("-o", "--output", required=True, type=click.Path(), metavar="DIR",
              help="Folder for the results: new, or that of an earlier run.")
@click.option("--format", "form", type=click.Choice(["csv", "xlsx"]), default="csv", show_default=True,
              help="Four CSV files, or one workbook.")
@click.option("--workers", type=click.IntRange(1, 1024), help="Processes; one per core unless said.")
@click.option("--cluster", metavar="ADDRESS", help="Dask scheduler for many menus; local unless said.")
@with_options(TARGETS[:3], TARGETS[5:], SOLVING, TABLES)
def menu(menu: str, output: str, form: str, workers: int | None, cluster: str | None, prefer: str, exact: bool,
         tables: tuple[str, ...], guaranteed: bool, **targets: Any) -> None:
    """Solve all recipes of MENU (CSV or .xlsx) into a folder of tables.

    A row an ingredient (recipe, servings, ratio, net_carbs, food, grams, min, max, ...) or a row a recipe file
    (file, ratio, ...). A folder or a quoted pattern of CSV files is solved on a Dask cluster (extra `dask`), a
    part of the tables for each file. Exit code 3 where some are impossible, 1 where some cannot be read.
    """
    from ratio_solver.proposals.menu import MenuOptions
    from ratio_solver.recipes.menu_columns import target_changes
    from ratio_solver.reports.menu_cluster import menu_files, run_menus
    from ratio_solver.reports.menu_progress import shown_progress
    from ratio_solver.reports.menu_run import run_menu
    from ratio_solver.reports.menu_tables import closing_line

    table = load_foods(*tables)
    options = MenuOptions(prefer, guaranteed, exact, changed=target_changes(table.columns, **targets))
    files = menu_files(menu)
    with shown_progress(menu) as progress:
        if files is not None:
            counts = run_menus(files, output, table, options, cluster=cluster, workers=workers, progress=progress)
        else:
            counts = run_menu(menu, output, table, options, workers=workers, xlsx=form == "xlsx", progress=progress)
    click.echo(f"{closing_line(counts)}; see {output}", err=True)
    if counts["unreadable"]:
        finish(BAD_INPUT)
    if counts["impossible"]:
        finish(NO_WEIGHTS)


if __name__ == "__main__":
    main()
