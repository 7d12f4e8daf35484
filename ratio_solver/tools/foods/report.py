"""Foods: what a search found, and one food in full; text for a terminal of 80 columns, JSON and CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.dish.notices import allergens_of_food
from ratio_solver.foods.bundled import BUNDLED, SPOKEN
from ratio_solver.foods.content import content, energy_by_factors
from ratio_solver.foods.ends import ENDS
from ratio_solver.foods.heat import LOSES_FAT, Yield, bundled_yields
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, spoken, unit_of
from ratio_solver.foods.policy import ENERGIES, Policy
from ratio_solver.foods.table import bundled_table
from ratio_solver.output.blocks import QUIET, STRONG, Block, Cell, Text, section, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, short
from ratio_solver.tools.foods.compute import COMPARED, Difference, differences, note_of, row_notes

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food
    from ratio_solver.tools.foods.compute import FoodsFound

LISTED_COLUMNS = ("fat_g", "protein_g", NET_CARBS)

INTERVALS = (("mean within", "left"), ("one food within", "left"))

CARBOHYDRATE_BASES = {"by_difference": "by difference: the table's figure includes fibre",
                      "available": "available: the table's figure leaves fibre out"}

FOOD_COLUMNS = ("food", "id", "role", "fat_g", "protein_g", "carbs_g", "fibre_g", "net_carbs_g", "energy_kcal",
                "source")


def text(found: FoodsFound, most: int = 25) -> Block:
    """One food in full; or the foods found, g per 100 g, at most so many, and the tables that have some instead."""
    if found.in_full:
        return _in_full(found.foods[0])
    if not found.foods:
        elsewhere = [f"\nThe table {other} has some: foods {found.words} --foods {other}"
                     for other, file in BUNDLED.items() if bundled_table(file).search(found.words)]
        perhaps = f"\nPerhaps: {'; '.join(found.near)}." if found.near else ""
        return Text(f"No food holds all of: {found.words}.{perhaps}{''.join(elsewhere)}")
    noted, shown = row_notes(), found.foods[:most]
    unsure = [("" if "fibre_g" in food.amounts else "*") + ("†" if food.id.lower() in noted else "") for food in shown]
    marks = {"*": "fibre unknown: net carbs can only be lower", "†": "there is more to know: foods show NAME"}
    count = f"{len(found.foods)} foods" if len(found.foods) != 1 else "1 food"
    first = "" if len(found.foods) <= most else f", the first {most} shown (--most N for more)"
    return (
        table_of((("food", "left"), ("id", "left"), ("fat", "right"), ("protein", "right"), ("net carbs", "right")),
                 (_found_row(*pair) for pair in zip(shown, unsure, strict=True))),
        *(Text(f"{mark} {words}", QUIET) for mark, words in marks.items() if any(mark in signs for signs in unsure)),
        Text(f"{count}{first}; g per 100 g edible part", QUIET))


def _found_row(food: Food, unsure: str) -> tuple[Cell, ...]:
    figures = (content(food, column, Policy()) for column in LISTED_COLUMNS)
    fat, protein, net = ("" if figure is None else decimal(figure, 1) for figure in figures)
    return Text(food.name), Text(food.id, QUIET), fat, protein, f"{net}{unsure}"


def _in_full(food: Food) -> Block:
    """One food: every figure of the table, and what follows from it."""
    return (
        Text.assemble((food.name, STRONG), "  ", (food.id, QUIET)),
        section("Figures of the table (blank is unknown)",
                table_of((("per 100 g edible part", "left"), ("", "right"), *INTERVALS), _tabled(food))),
        section("As reckoned (default policy)", table_of((("", "left"), ("", "right"), *INTERVALS), _derived(food))),
        section("About", table_of((("", "left"), ("", "left")),
                                  ((name, Text(words)) for name, words in _about(food)), header=False)),
    )


def _tabled(food: Food) -> Iterator[Sequence[Cell]]:
    for column in dict.fromkeys([*food.amounts, *food.high]):
        value = food.amounts.get(column)
        figure = f"< {food.high[column]:g}" if value is None else f"{value:g}"
        yield ("carbs as tabled" if column == "carbs_g" else spoken(column), f"{figure} {unit_of(column)}",
               *(_ends_text(low.get(column), high.get(column))
                 for low, high in ((food.low, food.high), (food.lowest, food.highest))))


def _derived(food: Food) -> Iterator[Sequence[Cell]]:
    for column, name in (("carbs_g", "total carbs"), (NET_CARBS, "net carbs"), (ENERGY, "energy")):
        amount = content(food, column, Policy())
        if amount is not None:
            ends = [content(food, column, Policy(), end) for end in ENDS]
            yield (name, f"{short(amount, 3)} {unit_of(column)}",
                   *(_ends_text(low, high) if low != high else "" for low, high in (ends[:2], ends[2:])))
    for by, name in zip(ENERGIES[1:], ("by Annex XIV (EU)", "by US factors", "by 9/4/4"), strict=True):
        yield f"energy {name}", f"{short(energy_by_factors(food, '', Policy(energy=by)), 3)} kcal"


def _ends_text(low: float | Fraction | None, high: float | Fraction | None) -> Text:
    return Text("" if low is None or high is None else f"{short(low, 3)} to {short(high, 3)}", QUIET)


def _about(food: Food) -> Iterator[tuple[str, str]]:
    yield "carbohydrate", CARBOHYDRATE_BASES[food.basis]
    yield "role", food.role or "unknown"
    yield "allergens", allergens_of_food(food)
    if food.most is not None:
        why = f", because of {food.most_because}" if food.most_because else ""
        yield "in a serving", f"at most {food.most:g} g{why}"
    elif food.most_because:
        yield "to know", food.most_because
    yield "refuse", "unknown" if food.refuse is None else f"{food.refuse:g} % of the weight bought"
    if food.price is not None:
        yield "price", f"{food.price:g} per kg as bought"
    if food.measures:
        yield "measures", ", ".join(f"1 {name} = {grams:g} g" for name, grams in food.measures.items())
    if ways := bundled_yields().of(food):
        yield "prepared", f"share of its weight: {', '.join(map(_way, ways))}"
    if note := note_of(food):
        yield "note", note
    yield from (("elsewhere", _elsewhere(food, difference)) for difference in differences(food))
    if food.replaces:
        yield "replaces", "; ".join(food.replaces)
    if food.dropped:
        yield "", f"the row that it replaces has {', '.join(food.dropped)}, this one says not"
    yield "source", food.source or "unknown"


def _way(way: Yield) -> str:
    """A preparation and its yield; of meat also the share of its fat that stays."""
    fat = f" ({100 * way.fat_kept:.0f} % of its fat)" if way.role in LOSES_FAT and way.fat_kept is not None else ""
    return f"{way.prepared} {way.share:g}{fat}"


def _elsewhere(food: Food, difference: Difference) -> str:
    """How a food's figures differ from those of another table."""
    def grams(of: Food, column: str) -> str:
        return f"{short(content(of, column, Policy()), 3)} g"

    figures = [f"{grams(difference.food, column)} {spoken(column)} against {grams(food, column)}"
               for column in difference.columns]
    return f"{SPOKEN[difference.file]} has {', '.join(figures)} ({difference.food.id})"


def data(found: FoodsFound) -> Data | list[Data]:
    """Every figure of the foods found; of one food in full also a note, and other tables that differ by a fifth."""
    if not found.in_full:
        return [_food_data(food) for food in found.foods]
    food = found.foods[0]
    return _food_data(food) | {"note": note_of(food) or None, "elsewhere": [
        {"table": other.file.removesuffix(".csv"), "id": other.food.id, "differ": list(other.columns)}
        | {column: plain(content(other.food, column, Policy())) for column in COMPARED}
        for other in differences(food)]}


def rows(found: FoodsFound) -> Rows:
    """A row a food."""
    return FOOD_COLUMNS, map(_food_data, found.foods)


def _food_data(food: Food) -> Data:
    """A food with every figure the table has, per 100 g edible part."""
    return {
        "food": food.name,
        "id": food.id,
        "carb_basis": food.basis,
        **food.amounts,
        **{column: plain(content(food, column, Policy())) for column in ("net_carbs_g", "energy_kcal")},
        "low": dict(food.low),
        "high": dict(food.high),
        "lowest": dict(food.lowest),
        "highest": dict(food.highest),
        "refuse_percent": food.refuse,
        "price_per_kg": food.price,
        "allergens": None if food.allergens is None else list(food.allergens),
        "allergens_complete": not food.allergens_unknown,
        "most_per_serving": food.most,
        "most_because": food.most_because,
        "role": food.role,
        "measures": dict(food.measures),
        "yields": {way.prepared: {"yield": way.share, "fat_kept": way.fat_kept, "cooked_food": way.cooked_food,
                                  "source": way.source} for way in bundled_yields().of(food)},
        "also": list(food.also),
        "replaces": list(food.replaces),
        "allergens_dropped": list(food.dropped),
        "source": food.source,
    }
