"""Foods on a terminal of 80 columns: what a search found, and one food in full."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.notices import allergens_of_food
from ratio_solver.foods.bundled import SPOKEN
from ratio_solver.foods.comparing import Difference, differences, note_of, notes
from ratio_solver.foods.content import content, energy_by_factors
from ratio_solver.foods.ends import ENDS
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, spoken, unit_of
from ratio_solver.foods.policy import ENERGIES, Policy
from ratio_solver.foods.yields import LOSES_FAT, Yield, bundled_yields
from ratio_solver.output.blocks import QUIET, STRONG, grid, section
from ratio_solver.output.numbers import decimal, short

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food

LISTED = ("fat_g", "protein_g", NET_CARBS)


INTERVALS = (("mean within", "left"), ("one food within", "left"))


def _interval(low: float | Fraction | None, high: float | Fraction | None) -> str:
    return "" if low is None or high is None else f"{short(low, 3)} to {short(high, 3)}"


def search_report(foods: Sequence[Food], words: str, most: int, elsewhere: Sequence[str] = (),
                  near: Sequence[str] = ()) -> RenderableType:
    """Foods found, g per 100 g; where there are none, tables that have some (`elsewhere`) and foods of like names."""
    if not foods:
        found_in = [f"\nThe table {table} has some: foods {words} --foods {table}" for table in elsewhere]
        perhaps = f"\nPerhaps: {'; '.join(near)}." if near else ""
        return Text(f"No food holds all of: {words}.{perhaps}{''.join(found_in)}")
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
    table = grid(("per 100 g edible part", "left"), ("", "right"), *INTERVALS)
    for column in dict.fromkeys([*food.amounts, *food.high]):
        value = food.amounts.get(column)
        figure = f"< {food.high[column]:g}" if value is None else f"{value:g}"
        intervals = [_interval(*(ends.get(column) for ends in pair))
                     for pair in ((food.low, food.high), (food.lowest, food.highest))]
        name = "carbs as tabled" if column == "carbs_g" else spoken(column)
        table.add_row(name, f"{figure} {unit_of(column)}", *(Text(interval, QUIET) for interval in intervals))
    derived = grid(("", "left"), ("", "right"), *INTERVALS)
    for column, name in (("carbs_g", "total carbs"), (NET_CARBS, "net carbs"), (ENERGY, "energy")):
        amount = content(food, column, Policy())
        if amount is not None:
            ends = [[content(food, column, Policy(), end) for end in pair] for pair in (ENDS[:2], ENDS[2:])]
            derived.add_row(name, f"{short(amount, 3)} {unit_of(column)}", *(
                Text(_interval(*pair) if pair[0] != pair[1] else "", QUIET) for pair in ends))
    for by, name in zip(ENERGIES[1:], ("by Annex XIV (EU)", "by US factors", "by 9/4/4"), strict=True):
        derived.add_row(f"energy {name}", f"{short(energy_by_factors(food, '', Policy(energy=by)), 3)} kcal", "", "")
    basis = {"by_difference": "by difference: the table's figure includes fibre",
             "available": "available: the table's figure leaves fibre out"}[food.basis]
    about = grid(("", "left"), ("", "left"), header=False)
    about.add_row("carbohydrate", basis)
    about.add_row("role", food.role or "unknown")
    about.add_row("allergens", Text(allergens_of_food(food)))
    if food.most is not None:
        why = f", because of {food.most_because}" if food.most_because else ""
        about.add_row("in a serving", Text(f"at most {food.most:g} g{why}"))
    elif food.most_because:
        about.add_row("to know", Text(food.most_because))
    about.add_row("refuse", "unknown" if food.refuse is None else f"{food.refuse:g} % of the weight bought")
    if food.price is not None:
        about.add_row("price", f"{food.price:g} per kg as bought")
    if food.measures:
        about.add_row("measures", Text(", ".join(f"1 {name} = {grams:g} g" for name, grams in food.measures.items())))
    ways = bundled_yields().of(food)
    if ways:
        about.add_row("prepared", Text(f"share of its weight: {', '.join(map(_way, ways))}"))
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


def _way(way: Yield) -> str:
    """A preparation and its yield; of meat also the share of its fat that stays."""
    fat = f" ({100 * way.fat_kept:.0f} % of its fat)" if way.role in LOSES_FAT and way.fat_kept is not None else ""
    return f"{way.prepared} {way.share:g}{fat}"


def told(food: Food, difference: Difference) -> str:
    """How a food's figures differ from those of another table."""
    def grams(of: Food, column: str) -> str:
        return f"{short(content(of, column, Policy()), 3)} g"

    figures = [f"{grams(difference.food, column)} {spoken(column)} against {grams(food, column)}"
               for column in difference.columns]
    return f"{SPOKEN[difference.file]} has {', '.join(figures)} ({difference.food.id})"
