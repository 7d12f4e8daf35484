"""The command that looks into the composition table: foods."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.bundled import BUNDLED, DEFAULT
from ratio_solver.foods.table import FoodTable, bundled_search, load_foods
from ratio_solver.output.options import BAD_INPUT, OUTPUT, TABLES, deliver, finish, with_options


class Foods(click.Command):
    """The command foods, of which `foods add` is another one with options of its own."""

    def make_context(self, info_name: str | None, args: list[str], parent: click.Context | None = None,
                     **extra: Any) -> click.Context:
        """The context of the one that is meant."""
        if args and args[0] == "add":
            from ratio_solver.tools.foods.add import add

            return add.make_context(f"{info_name} add", args[1:], parent, **extra)
        return super().make_context(info_name, args, parent, **extra)


@click.command(cls=Foods)
@click.argument("words", nargs=-1, required=True)
@click.option("--most", type=click.IntRange(1), default=25, show_default=True, help="Foods listed at most.")
@with_options(TABLES, OUTPUT)
def foods(words: tuple[str, ...], most: int, tables: tuple[str, ...], form: str, output: str | None) -> None:
    """Search the composition table: `foods WORDS...`, or `foods show NAME`; `foods add NAME` takes one from a package.

    A food is listed when its name, another name of it, its id or its role holds all the words; the one that the words
    name is first. Exit code 1 where there is none.
    """
    from ratio_solver.output.json_csv import as_csv, as_json
    from ratio_solver.tools.foods.data import FOOD_COLUMNS, compared_data, food_data

    showing = words[0] == "show"
    if showing and not "".join(words[1:]).strip():
        raise click.UsageError("foods show: expected the NAME of a food")
    name = " ".join(words[1:] if showing else words)
    if showing:
        found = [one_food(load_foods(*tables), name)]
    else:
        found = load_foods(*tables).search(name) if tables else bundled_search(DEFAULT, name)
    if form == "json":
        deliver(as_json(food_data(found[0]) | compared_data(found[0]) if showing
                        else [food_data(food) for food in found]), output)
    elif form == "csv":
        deliver(as_csv(map(food_data, found), FOOD_COLUMNS).rstrip("\n"), output)
    else:
        from ratio_solver.tools.foods.report import food_report, search_report

        elsewhere = [] if found else [other for other, file in BUNDLED.items() if bundled_search(file, name)]
        near = () if found else load_foods(*tables).near(name)
        deliver(food_report(found[0]) if showing else search_report(found, name, most, elsewhere, near), output)
    if not found:
        finish(BAD_INPUT)


def one_food(table: FoodTable, name: str) -> Any:
    """The food of a name or id, or a fault with what was meant."""
    food = table.find(name)
    if food is None:
        raise BadInput([Fault("foods", "", repr(name), table.unknown(name))])
    return food
