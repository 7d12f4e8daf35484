"""Commands about one dish as it is asked for: solve and check."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ratio_solver.commands.files import File
from ratio_solver.commands.shared import (
    BENCH,
    CONFIDENCE,
    NO_WEIGHTS,
    OUTPUT,
    SOLVING,
    TABLES,
    TARGETS,
    WRITE,
    deliver,
    deliver_as,
    finish,
    not_written,
    recipe_with,
    with_options,
)
from ratio_solver.foods.table import load_foods
from ratio_solver.recipes.confidence import Confidence, confidence_of

if TYPE_CHECKING:
    from rich.console import RenderableType


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
@click.option("--what-if", "scenarios", multiple=True, metavar="CHANGES",
              help="A scenario beside the answer: ratio=2.5, net_carbs=8, servings=8, NAME>=X, NAME<=X, "
              "INGREDIENT.max=G, several parted by commas; may be repeated.")
@with_options(TARGETS, CONFIDENCE, SOLVING, BENCH, WRITE, TABLES, OUTPUT)
def solve(recipe: str, scenarios: tuple[str, ...], prefer: str, exact: bool, write: str | None,
          tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Solve the weights of RECIPE (TOML).

    Where no weights satisfy the limits (exit code 3), it says why and what would cure it; as CSV, a line each.
    """
    probable = _probable(scenarios, options)
    if scenarios:
        _no_bench(write, options)
        solve_scenarios(recipe, scenarios, prefer, exact, tables, form, output, options)
        return
    from ratio_solver.proposals.answer import Proposal
    from ratio_solver.proposals.propose import solve as solve_recipe
    from ratio_solver.reports.data import WEIGHT_COLUMNS, answer_data, as_csv, as_json, weight_data, with_caution
    from ratio_solver.reports.remedy_data import REMEDY_COLUMNS, remedy_rows
    from ratio_solver.reports.solve_text import answer_report

    table = load_foods(*tables)
    dish = recipe_with(recipe, table, options)
    answer = solve_recipe(dish, prefer, guaranteed=options["guaranteed"], exact=exact, foods=table,
                          confidence=probable)
    also = []
    if write is not None and isinstance(answer, Proposal):
        from ratio_solver.proposals.written import kept_weights
        from ratio_solver.recipes.toml_text import fixed, recipe_text

        also = [File(write, recipe_text(fixed(dish, kept_weights(answer)), Path(write).absolute().parent), "--write")]
    if form == "json":
        deliver(as_json(answer_data(answer) | bench_data(answer, options)), output, also)
    elif form == "csv":
        rows, columns = (
            (map(weight_data, answer.weights), WEIGHT_COLUMNS) if isinstance(answer, Proposal)
            else (remedy_rows(answer.diagnosis), REMEDY_COLUMNS)
        )
        deliver(as_csv(*with_caution(rows, columns, answer)).rstrip("\n"), output, also)
    else:
        deliver(answer_report(answer, *bench_sections(answer, options)), output, also)
    if answer.outcome != "solved":
        not_written(write)
        finish(NO_WEIGHTS)


def _probable(scenarios: Sequence[str], options: dict[str, Any]) -> Confidence | None:
    """The confidence asked for; it does not go with what reckons by limits that are linear."""
    found = confidence_of(options["confidence"], options["guaranteed"])
    others = {"--what-if": bool(scenarios), "--scale-error": options["scale_error"] is not None}
    if found is not None and any(others.values()):
        raise click.UsageError(f"{' and '.join(name for name, given in others.items() if given)}: "
                               f"expected without --confidence")
    return found


def _no_bench(write: str | None, options: dict[str, Any]) -> None:
    """Options that are about one answer do not go with several."""
    given = {"--write": write is not None, "--scale-error": options["scale_error"] is not None,
             "--measures": options["measures"]}
    if any(given.values()):
        names = " and ".join(name for name, is_given in given.items() if is_given)
        raise click.UsageError(f"{names}: expected without --what-if, which sets several answers side by side")


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


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
@with_options(TARGETS, CONFIDENCE, BENCH, TABLES, OUTPUT)
def check(recipe: str, tables: tuple[str, ...], form: str, output: str | None, **options: Any) -> None:
    """Facts of RECIPE as written, against its targets.

    Exit code 3 where the weights as written break a limit.
    """
    from ratio_solver.recipes.check import check as check_recipe
    from ratio_solver.reports.data import LIMIT_COLUMNS, as_csv, as_json, check_data, limit_data, with_caution

    probable = _probable((), options)
    found = check_recipe(recipe_with(recipe, load_foods(*tables), options), guaranteed=options["guaranteed"],
                         confidence=probable)
    if form == "json":
        deliver(as_json(check_data(found) | bench_data(found, options)), output)
    elif form == "csv":
        rows = map(limit_data, found.limits)
        deliver(as_csv(*with_caution(rows, LIMIT_COLUMNS, found)).rstrip("\n"), output)
    else:
        from ratio_solver.reports.check_text import check_report

        deliver(check_report(found, *bench_sections(found, options)), output)
    if not found.kept:
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
