"""Published figures that no longer hold: nothing where all do, else as text, as plain data, as rows of a CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ratio_solver.dish.notices import NONE_KNOWN
from ratio_solver.foods.nutrients import spoken
from ratio_solver.output.blocks import BAD, STRONG, Block, Text, section, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.tools.card.claims import ALLERGENS, LABEL

if TYPE_CHECKING:
    from ratio_solver.tools.recheck.compute import DishRechecked, FoodMoved, Recheck

LONG = 18
"""Letters of a figure from which on its columns may take several lines: a figure that is cut is not told."""

COLUMNS = ("dish", "figure", "published", "now", "by", "moved_by")


def text(found: Recheck) -> Block:
    """The dishes of which a figure no longer holds; nothing of the others."""
    return tuple(_dish(dish) for dish in found.dishes if dish.moved)


def _dish(dish: DishRechecked) -> Block:
    count = len(dish.moved)
    limits = sum(one.limit_broken for one in dish.moved)
    told = f"{count} published figure{'s' if count > 1 else ''} no longer hold{'' if count > 1 else 's'}"
    if limits:
        told += f", {limits} of them limit{'s' if limits > 1 else ''}"
    foods = _told_once(dish)
    side = "left" if any(max(len(one.published), len(one.now)) > LONG for one in dish.moved) else "right"
    return (
        Text.assemble((dish.title, STRONG), "  ", (told, f"{STRONG} {BAD}")),
        table_of((("figure", "left"), ("published", side), ("now", side), ("by", "right")),
                 ((one.name, one.published, Text(one.now, BAD if one.limit_broken else ""), one.by)
                  for one in dish.moved)),
        section("Moved by, per 100 g", *(map(food_line, foods) if foods else
                                         ["no food's figures: what is reckoned of them is another"])),
    )


def _told_once(dish: DishRechecked) -> list[FoodMoved]:
    """What moved: of a food whose own figures did, not what labels make of them as well."""
    foods = list(dict.fromkeys(food for one in dish.moved for food in one.foods))
    own = {food.ingredient for food in foods if not food.column.startswith(LABEL)}
    return [food for food in foods if food.ingredient not in own or not food.column.startswith(LABEL)]


def food_line(food: FoodMoved) -> str:
    """A figure of a food that moved: "celeriac, raw: total carbs 9.2 -> 9.9"."""
    name = food.column.removeprefix(LABEL)
    told = f"{spoken(name)} (label)" if food.column.startswith(LABEL) else spoken(name)
    nothing = NONE_KNOWN if food.column == ALLERGENS else "not known"
    return f"{food.food}: {told} {food.before or nothing} -> {food.now or nothing}"


def data(found: Recheck) -> Data:
    """Every dish with what no longer holds."""
    return {"outcome": found.outcome, "dishes": [
        {"title": dish.title, "faults": [str(fault) for fault in dish.faults], "moved": [
            {"figure": one.name, "published": one.published, "now": one.now, "by": one.by or None,
             "limit_broken": one.limit_broken, "foods": [
                 {"ingredient": food.ingredient, "food": food.food, "column": food.column,
                  "before": food.before or None, "now": food.now or None} for food in one.foods]}
            for one in dish.moved]}
        for dish in found.dishes]}


def rows(found: Recheck) -> Rows:
    """A row for each figure that no longer holds."""
    return COLUMNS, [{"dish": dish.title, "figure": one.name, "published": one.published, "now": one.now, "by": one.by,
                      "moved_by": "; ".join(map(food_line, one.foods))} for dish in found.dishes for one in dish.moved]
