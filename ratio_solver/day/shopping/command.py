"""The command shopping."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from ratio_solver.foods.csv_file import read_csv
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.output.files import check_paths
from ratio_solver.output.options import (
    AS_WRITTEN,
    NO_WEIGHTS,
    OUTPUT,
    SOLVING,
    TABLES,
    TARGETS,
    deliver_outcome,
    dish_with_weights,
    finish,
    refuse,
    say,
    with_options,
)

OF_A_RECIPE = ("ratio", "net_carbs", "targets", "scale", "energy")
OF_DISHES = ("servings", "guaranteed", "prefer", "as_written")
OF_A_DAY = ("people", "together")
UNUSED = {"recipe": OF_A_DAY, "menu": (*OF_A_RECIPE, *OF_A_DAY), "day": (*OF_A_RECIPE, *OF_DISHES)}
"""Parameters that change nothing of what is bought: a menu and a day say themselves what is asked of each dish."""


@click.command("shopping")
@click.argument("sources", nargs=-1, required=True, metavar="RECIPE... | MENU | DAY", type=click.Path(readable=False))
@click.option("--people", type=click.Path(readable=False), metavar="FILE", help="The people of a day in CSV.")
@click.option("--together", is_flag=True, help="Of a day: solve the dishes' own weights with it.")
@with_options(TARGETS, SOLVING, AS_WRITTEN, TABLES, OUTPUT)
def command(sources: tuple[str, ...], people: str | None, together: bool, as_written: bool, tables: tuple[str, ...],
            form: str, output: str | None, **options: Any) -> None:
    """What to buy: raw weights with refuse, whole pieces, packs.

    For a RECIPE, for several on one list, for all dishes of a MENU (CSV), or for a DAY (TOML or CSV) with what is had
    beside. With --servings: for so many servings of each dish as it is; not of a DAY, which says how much is had.
    """
    from ratio_solver.tools.shopping.compute import shopping

    for source in (*sources, *([people] if people else [])):
        check_paths({"recipe": source, "output": output})
    table = load_foods(*tables)
    kind = _kind_of_source(sources, people)
    _refuse_unused(kind)
    if kind == "day":
        from ratio_solver.day.compute import solve_day
        from ratio_solver.day.read import read_days
        from ratio_solver.day.result import Days
        from ratio_solver.day.shopping.compute import shopping_of_days

        days = read_days(sources[0], table, people=people)
        answers = tuple(solve_day(day, together=together, exact=options["exact"], foods=table,
                                  time_limit=options["time_limit"]) for day in days)
        _refuse(sources[0], "day", [(answer.day.title, answer.outcome) for answer in answers
                                    if answer.outcome != "solved"])
        deliver_outcome(shopping_of_days(Days(answers), foods=table), form, output)
    elif kind == "menu" or len(sources) > 1:
        deliver_outcome(_of_several(sources, kind, table, options, as_written), form, output)
    else:
        dish = dish_with_weights(sources[0], table, options | {"servings": None}, as_written)
        deliver_outcome(shopping(dish.recipe, dish.grams_of_each, options["servings"], foods=table,
                                 guaranteed=dish.guaranteed), form, output)


def _refuse_unused(kind: str) -> None:
    """Refuse options that would change nothing: whoever gives one would take the list for another."""
    context = click.get_current_context()
    given = {one.opts[0]: context.get_parameter_source(one.name or "") is ParameterSource.COMMANDLINE
             for one in context.command.params if one.name in UNUSED[kind]}
    refuse(given, f"a {kind}")


def _refuse(source: str, command: str, without: Sequence[tuple[str, str]]) -> None:
    """Say what has no answer, name and outcome, and leave: a list that lacks a dish is no list."""
    for name, outcome in without:
        say(f"{source}: {name}: {outcome}; the command {command} says why")
    if without:
        finish(NO_WEIGHTS)


def _kind_of_source(sources: Sequence[str], people: str | None) -> str:
    """What a file is: a recipe, a menu or a day; by its columns or keys, or by the file of people that goes with it."""
    import tomllib

    if len(sources) > 1:
        return "recipe"
    path = Path(sources[0])
    if path.suffix.lower() == ".csv":
        return "day" if people or {"day", "meal"} <= set(read_csv(path).header) else "menu"
    try:
        keys = tomllib.loads(path.read_text(encoding="utf-8-sig")).keys()
    except (OSError, ValueError, RecursionError):
        return "recipe"  # whose reader says what is wrong
    return "day" if keys & {"meals", "days", "people"} else "recipe"


def _of_several(sources: Sequence[str], kind: str, table: FoodTable, options: dict[str, Any], as_written: bool) -> Any:
    """One list for recipes, each solved, or for the dishes of a menu."""
    from fractions import Fraction

    from ratio_solver.dish.check import DishAtWeights, check
    from ratio_solver.tools.shopping.compute import ToCook, shopping_for

    found: list[tuple[str, DishAtWeights]] = []
    if kind == "menu":
        from ratio_solver.menu.recipes import recipes_of_menu
        from ratio_solver.solving.solve import solve

        without: list[tuple[str, str]] = []
        for name, recipe in recipes_of_menu(sources[0], table):
            answer = check(recipe) if as_written else solve(recipe, options["prefer"], exact=options["exact"],
                                                            guaranteed=options["guaranteed"],
                                                            time_limit=options["time_limit"])
            if isinstance(answer, DishAtWeights):
                found.append((name, answer))
            else:
                without.append((name, answer.outcome))
        _refuse(sources[0], "menu", without)
    else:
        for path in sources:
            dish = dish_with_weights(path, table, options | {"servings": None}, as_written)
            taken = {name for name, _ in found}
            title = dish.recipe.title
            found.append((f"{title} ({path})" if title in taken else title, dish))
    wanted = options["servings"]
    dishes = [ToCook(name, dish.recipe, dish.grams_of_each,
                     Fraction(1) if wanted is None else Fraction(wanted, dish.recipe.servings)) for name, dish in found]
    servings = sum(wanted or dish.recipe.servings for _, dish in found)
    return shopping_for(dishes, servings, foods=table, guaranteed=options["guaranteed"])
