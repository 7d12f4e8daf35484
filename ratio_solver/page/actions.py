"""What a hand can do to a dish: each action takes the fields of its form, and changes what stands there."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.exact import HUNDRED, exact
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
    limit_moved,
    number_written,
    target_moved,
)
from ratio_solver.page.history import InBowl, State
from ratio_solver.page.open_dish import OpenDish
from ratio_solver.page.sheet import GUARDED, IngredientLine, Sheet
from ratio_solver.tools.swap.compute import swapped

HAND, MOVING = "hand", "moving"
"""Fields of a form: which of its values a hand moves ("min"), and the id of its field while it still does."""


def not_done(field: str, got: str, expected: str) -> BadInput:
    """Why an action is refused."""
    return BadInput([Fault(field or "the page", "", shown(got) if got else "", expected)])


def number_typed(text: str, name: str) -> Fraction | None:
    """A number exactly as it was typed, None where none was; raises BadInput where it is no number of 0 or more."""
    value = number(text.strip())
    if text.strip() and (value is None or value < 0):
        raise not_done(name, text[:40], "expected a number, 0 or more, decimals after a point")
    return None if value is None else exact(value)


@dataclass(frozen=True)
class Hand:
    """What is done to a dish with the fields of a form; every method is an action, by its word in the field ``do``."""

    dish: OpenDish
    fields: Mapping[str, str]
    foods: FoodTable

    # --- fields -----------------------------------------------------------------------------------------------------

    def _optional(self, name: str) -> Fraction | None:
        return number_typed(self.fields.get(name, ""), name)

    def _number(self, name: str) -> Fraction:
        value = self._optional(name)
        if value is None:
            raise not_done(name, "", "expected a number, 0 or more, decimals after a point")
        return value

    def _position(self, name: str, below: int) -> int:
        """A position in a list of so many."""
        text = self.fields.get(name, "")
        if not text.isascii() or not text.isdecimal() or len(text) > 6 or int(text) >= below:
            raise not_done(name, text, "is not there any more")
        return int(text)

    @property
    def _sheet(self) -> Sheet:
        if self.dish.sheet is None or self.dish.faults:
            raise not_done("", "", "the recipe has faults; mend them under Text, or undo")
        return self.dish.sheet

    @property
    def _line(self) -> IngredientLine:
        return self._sheet.lines[self._position("place", len(self._sheet.lines))]

    @property
    def _table(self) -> FoodTable:
        return self.foods.with_tables(self._sheet.recipe.tables)

    @property
    def _food(self) -> Food:
        """The food of an id: one that was offered."""
        name = self.fields.get("food", "")
        food = self._table.get(name)
        if food is None:
            raise not_done("food", name, "is not in the composition table")
        return food

    def _change(self, *changes: Change) -> None:
        self.dish.change(changes, self.fields.get(MOVING, ""))

    # --- ingredients ------------------------------------------------------------------------------------------------

    def bounds(self) -> None:
        """Move the bounds of an ingredient; one that a hand moves past the other takes it along."""
        line, hand = self._line, self.fields.get(HAND, "")
        low, high = self._optional("min"), self._optional("max")
        if (low is None) != (high is None):
            raise not_done(line.label, "", "expected both bounds, or neither to fix it at its start")
        if low is not None and high is not None and low > high:
            if not hand:
                raise not_done(line.label, self.fields["min"],
                               f"expected a least weight of at most the greatest, {self.fields['max']} g")
            low, high = (high, high) if hand == "max" else (low, low)
        self._change(*bounds_set(line.place, low, high))

    def start(self) -> None:
        """Write another weight of the traditional recipe."""
        line, grams = ("ingredients", self._line.place), number_written(self._number("grams"))
        self._change(Change((*line, "measure"), None), Change((*line, "grams"), grams))

    def fix(self) -> None:
        """Hold an ingredient at a weight; its start stays what it was."""
        grams = self._number("grams")
        self._change(*bounds_set(self._line.place, grams, grams))

    def free(self) -> None:
        """Let an ingredient move: between the bounds of the saved file, else from nothing to its start."""
        line = self._line
        item = self._sheet.recipe.ingredients[line.place]
        saved = self.dish.saved_bounds(line.label)
        self._change(*bounds_set(line.place, *(saved or (0.0, max(item.start, item.maximum or 0.0)))))

    def swap(self) -> None:
        """Put another food in the place of an ingredient, with its start and bounds."""
        line, recipe, state = self._line, self._sheet.recipe, self.dish.state
        changed, _ = swapped(recipe, self.foods, [(line.label, self._food.id)])
        changes = food_swapped(line.place, recipe, changed.ingredients[line.place], self.dish.table)
        self.dish.put(replace(state.taken_out(line.label), text=edited(state.text, changes)))

    def add(self) -> None:
        """Add a food as a candidate, from nothing to so many g."""
        self._change(*food_added(self._food, self._number("most"), self._sheet.recipe, self.dish.table))

    # --- the dish ---------------------------------------------------------------------------------------------------

    def limit(self) -> None:
        """Move a limit of the dish."""
        sheet, value = self._sheet, self._number("value")
        limit = sheet.limits[self._position("number", len(sheet.limits))]
        self._change(*limit_moved(limit, value / HUNDRED if limit.unit == "share" else value, self.dish.table,
                                  sheet.recipe, self._table.columns))

    def target(self) -> None:
        """Set a target on the ratio or the net carbs where there is none."""
        nutrient, end = self.fields.get("nutrient", ""), self.fields.get("end", "")
        if nutrient not in GUARDED or end not in ("min", "max"):
            raise not_done("target", nutrient, "expected the ratio or the net carbs")
        self._change(*target_moved(nutrient, end, self._number("value"), self.dish.table, self._table.columns))

    def servings(self) -> None:
        """Make other portions of the same batch."""
        self._change(Change(("servings",), number_written(self._number("servings"))))

    def relax(self) -> None:
        """Make a change that is offered, or all that do together."""
        answer = self.dish.answer if self.dish.fresh else None
        if answer and answer.together and self.fields.get("number") == "all":
            self._change(*(change for offer in answer.changes for change in offer.changes))
        else:
            offers = (*answer.changes, *answer.fats) if answer else ()
            self._change(*offers[self._position("number", len(offers))].changes)

    def text(self) -> None:
        """Let another text of the recipe file stand there; breaks of lines as the file has them."""
        typed, now = self.fields.get("text", "").replace("\r\n", "\n"), self.dish.state
        refuse_larger("the text", len(typed.encode("utf-8")), RECIPE_BYTES)
        if outside := self.dish.elsewhere(typed):
            raise BadInput(Fault("the text", "", shown(name), "is no file of this folder: name it in the file itself")
                           for name in outside)
        self.dish.put(replace(now, text=typed.replace("\n", "\r\n") if "\r\n" in now.text else typed))

    # --- the bowl ---------------------------------------------------------------------------------------------------

    def weigh(self) -> None:
        """Say what is in the bowl of an ingredient; nothing typed takes it out again."""
        label, grams, state = self._line.label, self._optional("bowl"), self.dish.state
        self.dish.put(state.taken_out(label) if grams is None else
                      state.weighed(InBowl(label, float(grams), bool(self.fields.get("more")))))

    def take(self) -> None:
        """Take a way out where the bowl has no answer."""
        ways = self.dish.answer.ways if self.dish.answer and self.dish.fresh else ()
        self.dish.put(replace(self.dish.state, take=self._position("number", len(ways)) + 1))


ACTIONS: Mapping[str, Callable[[Hand], None]] = {
    "bounds": Hand.bounds, "start": Hand.start, "fix": Hand.fix, "free": Hand.free, "swap": Hand.swap, "add": Hand.add,
    "limit": Hand.limit, "target": Hand.target, "servings": Hand.servings, "relax": Hand.relax, "text": Hand.text,
    "weigh": Hand.weigh, "take": Hand.take,
    "empty": lambda hand: hand.dish.put(State(hand.dish.state.text)),
    "undo": lambda hand: hand.dish.undo(),
    "redo": lambda hand: hand.dish.redo(),
    "save": lambda hand: hand.dish.save(hand.fields.get("name", "")),
    "reload": lambda hand: hand.dish.take_from_disk(),
    "keep": lambda hand: hand.dish.keep_here(),
    "stop": lambda hand: hand.dish.stop("stopped before there was an answer"),
    "again": lambda hand: hand.dish.stop(),
}
"""What can be done, by the word in the field ``do``."""
