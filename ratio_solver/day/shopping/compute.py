"""One shopping list for days: of the pots that are cooked, and of what people have beside dishes."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from ratio_solver.day.result import DayAnswer, Days
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ZERO
from ratio_solver.foods.food import Food
from ratio_solver.foods.table import FoodTable
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.tools.shopping.compute import ShoppingList, ToCook, shopping_for

BESIDE = "beside"


def shopping_of_days(found: Days, *, foods: FoodTable | None = None) -> ShoppingList:
    """What to buy for days that are answered: whole batches of every pot, and every food beside.

    Parameters
    ----------
    found : Days
    foods : FoodTable, optional
        Where the food before preparation is looked up.

    Raises
    ------
    BadInput
        Where a day has no answer: what is cooked is then not known.
    """
    why = "has no portions that keep what is prescribed; the command day says why"
    faults = [Fault(answer.day.source, answer.day.title, "", why) for answer in found.days
              if answer.outcome != "solved"]
    if faults:
        raise BadInput(faults)
    several = len(found.days) > 1
    dishes = [dish for answer in found.days for dish in _dishes(answer, f"{answer.day.title}: " if several else "")]
    meals = sum(len(answer.day.meals_of(person)) for answer in found.days for person in range(len(answer.day.people)))
    return shopping_for(dishes, meals, foods=foods)


def _dishes(answer: DayAnswer, before: str) -> Iterator[ToCook]:
    for pot in answer.pots:
        yield ToCook(f"{before}{pot.pot.recipe.title}", pot.pot.recipe, pot.weights, Fraction(pot.batches))
    grams: dict[str, tuple[Food, Fraction]] = {}
    for had in answer.had:
        food = answer.day.meals[had.meal].courses[had.course].food
        if food is not None and had.grams:
            grams[food.id] = food, grams.get(food.id, (food, ZERO))[1] + had.grams
    if grams:
        items = tuple(Ingredient(food.name, food, 0.0) for food, _ in grams.values())
        recipe = Recipe(BESIDE, 1, items, source=answer.day.source, tables=answer.day.tables)
        yield ToCook(f"{before}{BESIDE}", recipe, tuple(amount for _, amount in grams.values()))
