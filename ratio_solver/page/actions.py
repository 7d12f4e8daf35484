"""What a hand can do to a dish: each action takes the fields of its form, and changes what stands there."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction

from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.exact import exact
from ratio_solver.foods.csv_file import number
from ratio_solver.foods.food import Food
from ratio_solver.foods.sizes import RECIPE_BYTES, refuse_larger
from ratio_solver.foods.table import FoodTable
from ratio_solver.page.edits import (
    Change,
    bounds_set,
    edited,
    food_added,
    food_swapped,
    moved,
    number_written,
    of_percent,
    target_moved,
)
from ratio_solver.page.history import InBowl, State
from ratio_solver.page.open_dish import OpenDish
from ratio_solver.page.sheet import GUARDED, Line, Sheet
from ratio_solver.tools.swap.compute import swapped

Fields = Mapping[str, str]
Action = Callable[[OpenDish, Fields, FoodTable], None]

HAND, MOVING = "hand", "moving"
"""Fields of a form: which of its values a hand moves on a track, and whether it still does."""


def _fault(field: str, got: str, expected: str) -> BadInput:
    return BadInput([Fault(field or "the page", "", shown(got) if got else "", expected)])


def _number(fields: Fields, name: str) -> Fraction:
    """A number that was typed, exactly as it was."""
    text = fields.get(name, "").strip()
    value = number(text)
    if value is None or value < 0:
        raise _fault(name, text, "expected a number, 0 or more, decimals after a point")
    return exact(value)


def _optional(fields: Fields, name: str) -> Fraction | None:
    return _number(fields, name) if fields.get(name, "").strip() else None


def _whole(fields: Fields, name: str, below: int) -> int:
    """A position in a list of so many."""
    text = fields.get(name, "")
    if not text.isascii() or not text.isdecimal() or len(text) > 6 or int(text) >= below:
        raise _fault(name, text, "is not there any more")
    return int(text)


def _sheet(dish: OpenDish) -> Sheet:
    if dish.sheet is None or dish.faults:
        raise _fault("", "", "the recipe has faults; mend them under Text, or undo")
    return dish.sheet


def _line(dish: OpenDish, fields: Fields) -> Line:
    lines = _sheet(dish).lines
    return lines[_whole(fields, "place", len(lines))]


def _food(dish: OpenDish, fields: Fields, foods: FoodTable) -> Food:
    """The food of an id: one that was offered."""
    name = fields.get("food", "")
    food = foods.with_tables(_sheet(dish).recipe.tables).get(name)
    if food is None:
        raise _fault("food", name, "is not in the composition table")
    return food


def _bounds(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Move the bounds of an ingredient; one that a hand moves past the other takes it along."""
    line, hand = _line(dish, fields), fields.get(HAND, "")
    low, high = _optional(fields, "min"), _optional(fields, "max")
    if (low is None) != (high is None):
        raise _fault(line.label, "", "expected both bounds, or neither to fix it at its start")
    if low is not None and high is not None and low > high:
        if not hand:
            raise _fault(line.label, fields["min"], f"expected a least weight of at most the greatest, {high} g")
        low, high = (high, high) if hand == "max" else (low, low)
    dish.change(bounds_set(line.place, *(None if end is None else float(end) for end in (low, high))),
                _moving(fields, f"{hand} of {line.place}"))


def _moving(fields: Fields, what: str) -> str:
    """What a hand is still moving, if it is."""
    return what if fields.get(MOVING) else ""


def _start(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Write another weight of the traditional recipe."""
    line = _line(dish, fields)
    dish.change([Change(("ingredients", line.place, "measure"), None),
                 Change(("ingredients", line.place, "grams"), number_written(_number(fields, "grams")))])


def _fix(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Hold an ingredient at a weight; its start stays what it was."""
    grams = float(_number(fields, "grams"))
    dish.change(bounds_set(_line(dish, fields).place, grams, grams))


def _free(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Let an ingredient move: between the bounds of the saved file, else from nothing to its start."""
    line = _line(dish, fields)
    saved = dish.saved_bounds(line.label)
    item = _sheet(dish).recipe.ingredients[line.place]
    dish.change(bounds_set(line.place, *(saved or (0.0, max(item.start, item.maximum or 0.0)))))


def _limit(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Move a limit of the dish."""
    sheet = _sheet(dish)
    limit = sheet.limits[_whole(fields, "number", len(sheet.limits))]
    value = _number(fields, "value")
    dish.change(moved(limit, of_percent(value) if limit.unit == "share" else value, dish.table, sheet.recipe,
                      _columns(dish, foods)), _moving(fields, f"limit {limit.identity}"))


def _target(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Set a target on the ratio or the net carbs where there is none."""
    nutrient, end = fields.get("nutrient", ""), fields.get("end", "")
    if nutrient not in GUARDED or end not in ("min", "max"):
        raise _fault("target", nutrient, "expected the ratio or the net carbs")
    dish.change(target_moved(nutrient, end, _number(fields, "value"), dish.table, _columns(dish, foods)),
                _moving(fields, nutrient))


def _columns(dish: OpenDish, foods: FoodTable) -> tuple[str, ...]:
    return foods.with_tables(_sheet(dish).recipe.tables).columns


def _servings(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Make other portions of the same batch."""
    dish.change([Change(("servings",), number_written(_number(fields, "servings")))])


def _swap(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Put another food in the place of an ingredient, with its start and bounds."""
    line, sheet, food = _line(dish, fields), _sheet(dish), _food(dish, fields, foods)
    changed, _ = swapped(sheet.recipe, foods, [(line.label, food.id)])
    changes = food_swapped(line.place, sheet.recipe, changed.ingredients[line.place], dish.table)
    dish.put(replace(dish.state.taken_out(line.label), text=edited(dish.state.text, changes)))


def _add(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Add a food as a candidate, from nothing to so many g."""
    sheet, most = _sheet(dish), float(_number(fields, "most"))
    dish.change([*food_added(_food(dish, fields, foods), most, sheet.recipe, dish.table)])


def _cure(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Make a change that cures, or all that cure together."""
    answer = dish.answer if dish.fresh else None
    cures = [] if answer is None else [*answer.cures, *answer.fats]
    if answer is not None and answer.together and fields.get("number") == "all":
        dish.change([change for cure in answer.cures for change in cure.changes])
        return
    dish.change(cures[_whole(fields, "number", len(cures))].changes)


def _weigh(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Say what is in the bowl of an ingredient; nothing typed takes it out again."""
    line, grams = _line(dish, fields), _optional(fields, "bowl")
    state = dish.state
    dish.put(state.taken_out(line.label) if grams is None else
             state.weighed(InBowl(line.label, float(grams), bool(fields.get("more")))))


def _empty(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Take everything out of the bowl."""
    dish.put(State(dish.state.text))


def _take(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Take a way out where the bowl has no answer."""
    ways = dish.answer.ways if dish.answer and dish.fresh else ()
    dish.put(replace(dish.state, take=_whole(fields, "number", len(ways)) + 1))


def _text(dish: OpenDish, fields: Fields, foods: FoodTable) -> None:
    """Let another text of the recipe file stand there; breaks of lines as the file has them."""
    typed = fields.get("text", "").replace("\r\n", "\n")
    refuse_larger("the text", len(typed.encode("utf-8")), RECIPE_BYTES)
    dish.put(replace(dish.state, text=typed.replace("\n", "\r\n") if "\r\n" in dish.state.text else typed))


ACTIONS: Mapping[str, Action] = {
    "bounds": _bounds, "start": _start, "fix": _fix, "free": _free, "limit": _limit, "target": _target,
    "servings": _servings, "swap": _swap, "add": _add, "cure": _cure, "weigh": _weigh, "empty": _empty, "take": _take,
    "text": _text,
    "undo": lambda dish, fields, foods: dish.undo(),
    "redo": lambda dish, fields, foods: dish.redo(),
    "save": lambda dish, fields, foods: dish.save(fields.get("name", "")),
    "reload": lambda dish, fields, foods: dish.take_from_disk(),
    "keep": lambda dish, fields, foods: dish.keep_here(),
    "stop": lambda dish, fields, foods: dish.stop("stopped before there was an answer"),
    "again": lambda dish, fields, foods: dish.again(),
}
"""What can be done, by the word in the field ``do``."""
