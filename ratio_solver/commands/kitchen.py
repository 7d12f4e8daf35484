"""Commands for the kitchen: shopping, portions, adjust and card."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import click

from ratio_solver.commands.files import File
from ratio_solver.commands.shared import (
    AS_WRITTEN,
    NO_WEIGHTS,
    OUTPUT,
    SOLVING,
    TABLES,
    TARGETS,
    WRITE,
    deliver,
    dish_with_weights,
    finish,
    not_written,
    plain_text,
    recipe_with,
    told_impossible,
    with_options,
)
from ratio_solver.foods.table import load_foods


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
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


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
@click.option("--portion-grams", type=float, metavar="G", help="As many portions of this weight as the batch makes.")
@with_options(TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT)
def portions(recipe: str, portion_grams: float | None, as_written: bool, tables: tuple[str, ...], form: str,
             output: str | None, **options: Any) -> None:
    """What of each part and ingredient of RECIPE goes into each serving."""
    from ratio_solver.recipes.portions import SOLVED_TO
    from ratio_solver.recipes.portions import portions as dealt_out
    from ratio_solver.reports.bench_data import SHARE_COLUMNS, portions_data, share_rows
    from ratio_solver.reports.bench_text import portions_report
    from ratio_solver.reports.data import as_csv, as_json

    found = dish_with_weights(recipe, load_foods(*tables), options, as_written)
    told_impossible(found)
    shared = dealt_out(found.recipe, tuple(weight.grams for weight in found.weights), portion_grams=portion_grams,
                       guaranteed=options["guaranteed"],
                       tolerance=SOLVED_TO if getattr(found, "exact", False) else Fraction(0))
    if form == "json":
        deliver(as_json(portions_data(shared)), output)
    elif form == "csv":
        deliver(as_csv(share_rows(shared), SHARE_COLUMNS).rstrip("\n"), output)
    else:
        deliver(portions_report(shared), output)


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
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
    from ratio_solver.reports.adjust_report import adjustment_csv, adjustment_data, adjustment_report
    from ratio_solver.reports.data import as_json

    dish = recipe_with(recipe, load_foods(*tables), options)
    found = adjust_recipe(dish, named_grams(weighed, "--weighed"), named_grams(added, "--added", bare=True),
                          guaranteed=options["guaranteed"])
    taken = found.remedy(take)
    bowl = taken.bowl if taken else found.bowl
    also = []
    if write is not None and bowl is not None:
        also = [File(write, recipe_text(bowl, Path(write).absolute().parent), "--write")]
    if form == "json":
        deliver(as_json(adjustment_data(found, taken)), output, also)
    elif form == "csv":
        deliver(adjustment_csv(found, taken).rstrip("\n"), output, also)
    else:
        deliver(adjustment_report(found, taken), output, also)
    if bowl is None:
        not_written(write)
        finish(NO_WEIGHTS)


@click.command()
@click.argument("recipe", type=click.Path(readable=False))
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
