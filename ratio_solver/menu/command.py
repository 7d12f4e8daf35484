"""The command for a whole menu."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from ratio_solver.dish.confidence import confidence_of
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import (
    BAD_INPUT,
    CONFIDENCE,
    FIGURES,
    NO_WEIGHTS,
    PER_SERVING,
    SOLVING,
    TABLES,
    finish,
    with_options,
)

if TYPE_CHECKING:
    from ratio_solver.menu.solve import Diagnose


@click.command("menu")
@click.argument("menu", type=click.Path(readable=False))
@click.option("-o", "--output", required=True, type=click.Path(readable=False), metavar="DIR",
              help="Folder for the results: new, or that of an earlier run.")
@click.option("--format", "form", type=click.Choice(["csv", "xlsx"]), default="csv", show_default=True,
              help="Four CSV files, or one workbook.")
@click.option("--cards", type=click.Path(readable=False), metavar="DIR",
              help="A card of every dish too, with a page that leads to them: a book, in a folder of its own.")
@click.option("--workers", type=click.IntRange(1, 1024), help="Processes; one per core unless said.")
@click.option("--cluster", metavar="ADDRESS", help="Dask scheduler for many menus (extra `dask`), which is trusted "
              "wholly; this machine unless said.")
@click.option("--tls-ca", metavar="FILE", help="Authority of the cluster's certificates, for tls://.")
@click.option("--tls-cert", metavar="FILE", help="Certificate to show to the cluster.")
@click.option("--tls-key", metavar="FILE", help="Key of that certificate.")
@click.option("--diagnose", type=click.Choice(["none", "first", "full"]), default="first", show_default=True,
              help="Of an impossible recipe: nothing more; the conflict and the most modest change; every change.")
@with_options(PER_SERVING, FIGURES, CONFIDENCE, SOLVING, TABLES)
def command(menu: str, output: str, form: str, cards: str | None, workers: int | None, cluster: str | None,
            tls_ca: str | None, tls_cert: str | None, tls_key: str | None, diagnose: Diagnose, prefer: str, exact: bool,
            tables: tuple[str, ...], guaranteed: Guaranteed, energy: str | None, confidence: str | None,
            time_limit: float | None,
            **targets: Any) -> None:
    """Solve all recipes of MENU (CSV or .xlsx) into a folder of tables.

    A row an ingredient (recipe, servings, ratio, net_carbs, food, grams, min, max, ...) or a row a recipe file
    (file, ratio, ...). A folder or a quoted pattern of CSV files gives a part of the tables for each file. Exit
    code 3 where some are impossible, 1 where some cannot be read.
    """
    from ratio_solver.menu.columns import target_changes
    from ratio_solver.menu.report import menu_line
    from ratio_solver.menu.run import menu_files, run_menu
    from ratio_solver.menu.solve import MenuOptions

    files = menu_files(menu)
    if files is None and cluster is not None:
        raise click.UsageError("--cluster takes a folder or a quoted pattern of CSV files; this is one file")
    if cluster is not None and workers is not None:
        raise click.UsageError("--workers is for this machine; the cluster at --cluster ADDRESS has its own")
    tls = {key: file for key, file in (("ca", tls_ca), ("cert", tls_cert), ("key", tls_key)) if file is not None}
    if tls and (cluster is None or len(tls) < 3):
        raise click.UsageError("--tls-ca, --tls-cert and --tls-key go together, with --cluster tls://HOST:PORT")
    if cards is not None and (files is not None or confidence is not None):
        raise click.UsageError("--cards takes one menu, without --confidence")
    if files is not None and form == "xlsx":
        raise click.UsageError("--format xlsx takes one menu; many files give CSV tables")
    table = load_foods(*tables)
    options = MenuOptions(prefer, guaranteed, exact, changed=target_changes(table.columns, **targets), energy=energy,
                          confidence=confidence_of(confidence, guaranteed), diagnose=diagnose, time_limit=time_limit)
    with _warnings_in_a_line(), _shown_progress(menu) as progress:
        counts = run_menu(files or menu, output, table, options, workers=workers, cluster=cluster, tls=tls,
                          xlsx=form == "xlsx", inputs=tables, progress=progress)
    click.echo(f"{menu_line(counts, counts.alone)}; see {output}", err=True)
    if cards is not None and counts["solved"]:
        from ratio_solver.menu.cards import book_of_menu
        from ratio_solver.tools.book.compute import BookOptions

        shown = BookOptions(prefer=prefer, exact=exact, guaranteed=guaranteed, time_limit=time_limit)
        book_of_menu(menu, cards, table, options, shown)
        click.echo(f"The cards are in {cards}", err=True)
    if counts["unreadable"]:
        finish(BAD_INPUT)
    if counts["impossible"]:
        finish(NO_WEIGHTS)


@contextmanager
def _warnings_in_a_line() -> Iterator[None]:
    """Warnings without the place in the code, as every other message."""
    before = warnings.formatwarning
    warnings.formatwarning = lambda message, *_, **__: f"{message}\n"
    try:
        yield
    finally:
        warnings.formatwarning = before


@contextmanager
def _shown_progress(name: str) -> Iterator[Callable[[int, int], None] | None]:
    """A function to call with the bytes done and the bytes there are; None where no terminal looks on."""
    if sys.stderr is None or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    with Progress(TextColumn("{task.description}", markup=False), BarColumn(), TextColumn("{task.percentage:>3.0f} %"),
                  TimeRemainingColumn(), console=console, transient=True, auto_refresh=False) as bar:
        task = bar.add_task(name)
        bar.refresh()  # drawn by hand: a thread that draws would keep worker processes from being forked
        yield lambda done, total: bar.update(task, completed=done, total=max(total, 1), refresh=True)
