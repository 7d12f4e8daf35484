"""Foods on a terminal of 80 columns: what a search found, and one food in full."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.foods.bundled import SPOKEN
from ratio_solver.foods.comparing import Difference, differences, note_of, notes
from ratio_solver.foods.content import content
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, spoken, unit_of
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.yields import bundled_yields
from ratio_solver.reports.figures import decimal, short
from ratio_solver.reports.text import QUIET, STRONG, grid, section

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food

LISTED = ("fat_g", "protein_g", NET_CARBS)


def search_report(foods: Sequence[Food], words: str, most: int, elsewhere: Sequence[str] = ()) -> RenderableType:
    """Foods found, g per 100 g; `elsewhere` are tables that have some where this one has none."""
    if not foods:
        found_in = [f"\nThe table {table} has some: foods {words} --foods {table}" for table in elsewhere]
        return Text(f"No food holds all of: {words}.{''.join(found_in)}")
    table = grid(("food", "left"), ("id", "left"), ("fat", "right"), ("protein", "right"), ("net carbs", "right"))
    noted = notes()
    for food in foods[:most]:
        figures = [content(food, column, Policy()) for column in LISTED]
        unsure = ("" if "fibre_g" in food.amounts else "*") + ("" if food.id.lower() not in noted else "†")
        cells = [("" if figure is None else decimal(figure, 1)) for figure in figures]
        table.add_row(Text(food.name), Text(food.id, QUIET), *cells[:2], f"{cells[2]}{unsure}")
    lines: list[RenderableType] = [table]
    if any("fibre_g" not in food.amounts for food in foods[:most]):
        lines.append(Text("* fibre unknown: net carbs can only be lower", QUIET))
    if any(food.id.lower() in noted for food in foods[:most]):
        lines.append(Text("† there is more to know: foods show NAME", QUIET))
    count = f"{len(foods)} foods" if len(foods) != 1 else "1 food"
    shown = "" if len(foods) <= most else f", the first {most} shown (--most N for more)"
    lines.append(Text(f"{count}{shown}; g per 100 g edible part", QUIET))
    return Group(*lines)


def food_report(food: Food) -> RenderableType:
    """One food: every figure of the table, and what follows from it."""
    table = grid(("per 100 g edible part", "left"), ("", "right"), ("interval", "left"))
    for column, value in food.amounts.items():
        ends = [food.low.get(column), food.high.get(column)]
        interval = "" if ends == [None, None] else f"{short(ends[0], 4)} to {short(ends[1], 4)}"
        name = "carbs as tabled" if column == "carbs_g" else spoken(column)
        table.add_row(name, f"{value:g} {unit_of(column)}", Text(interval, QUIET))
    derived = grid(("", "left"), ("", "right"), header=False)
    for column, name in (("carbs_g", "total carbs"), (NET_CARBS, "net carbs"), (ENERGY, "energy")):
        amount = content(food, column, Policy())
        if amount is not None:
            derived.add_row(name, f"{short(amount, 3)} {unit_of(column)}")
    basis = {"by_difference": "by difference: the table's figure includes fibre",
             "available": "available: the table's figure leaves fibre out"}[food.basis]
    about = grid(("", "left"), ("", "left"), header=False)
    about.add_row("carbohydrate", basis)
    about.add_row("role", food.role or "unknown")
    about.add_row("allergens", "unknown" if food.allergens is None else ", ".join(food.allergens) or "none known")
    about.add_row("refuse", "unknown" if food.refuse is None else f"{food.refuse:g} % of the weight bought")
    if food.price is not None:
        about.add_row("price", f"{food.price:g} per kg as bought")
    if food.measures:
        about.add_row("measures", Text(", ".join(f"1 {name} = {grams:g} g" for name, grams in food.measures.items())))
    ways = bundled_yields().of(food)
    if ways:
        about.add_row("prepared", Text(", ".join(f"{way.prepared} {way.share:g}" for way in ways)
                                       + " of its weight (yields computed by protein)"))
    if note_of(food):
        about.add_row("note", Text(note_of(food)))
    for difference in differences(food):
        about.add_row("elsewhere", Text(told(food, difference)))
    about.add_row("source", Text(food.source or "unknown"))
    return Group(
        Text.assemble((food.name, STRONG), "  ", (food.id, QUIET)),
        section("Figures of the table (blank is unknown)", table),
        section("As reckoned (default policy)", derived),
        section("About", about),
    )


def told(food: Food, difference: Difference) -> str:
    """How a food's figures differ from those of another table."""
    def grams(of: Food, column: str) -> str:
        return f"{short(content(of, column, Policy()), 3)} g"

    figures = [f"{grams(difference.food, column)} {spoken(column)} against {grams(food, column)}"
               for column in difference.columns]
    return f"{SPOKEN[difference.file]} has {', '.join(figures)} ({difference.food.id})"
