"""Swap an ingredient for another food: before and after, both solved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.dish.check import Check, check
from ratio_solver.dish.constraints import per_gram
from ratio_solver.errors import Fault, collected, shown
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import spoken
from ratio_solver.foods.table import FoodTable
from ratio_solver.foods.yields import LOSES_FAT
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.heat import prepare
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.solving.result import Answer
from ratio_solver.solving.solve import solve

CARRIED: Mapping[str, str | None] = MappingProxyType({
    "weight": None, "fat": "fat_g", "protein": "protein_g", "net-carbs": "net_carbs_g",
})
"""By what start and bounds are carried over: the nutrient that keeps its grams."""

Side = Answer | Check
"""A dish with adjustable ingredients is solved; one without is judged as it is written."""


@dataclass(frozen=True)
class Swapped:
    """One ingredient and what took its place.

    Attributes
    ----------
    old, new : Ingredient
    factor : Fraction
        Grams of the new one for each gram of the old one.
    """

    old: Ingredient
    new: Ingredient
    factor: Fraction


@dataclass(frozen=True)
class Swap:
    """A dish before and after.

    Attributes
    ----------
    swaps : tuple of Swapped
    by : str
        One of `CARRIED`.
    before, after : Proposal, Impossible or Check
    notes : tuple of str
        What of the old ingredient was kept or dropped and should be looked at.
    """

    swaps: tuple[Swapped, ...]
    by: str
    before: Side
    after: Side
    notes: tuple[str, ...]


def swap(recipe: Recipe, foods: FoodTable, pairs: Sequence[tuple[str, str]], by: str = "weight",
         prefer: str = "closest", **how: bool) -> Swap:
    """Swap ingredients and solve the dish again.

    Parameters
    ----------
    recipe : Recipe
    foods : FoodTable
    pairs : sequence of (str, str)
        Label, food or id of an ingredient, or the words of one, and the food of the table that takes its place.
    by : {"weight", "fat", "protein", "net-carbs"}
        Start and bounds are carried over so that they hold as many grams of this as before.
    prefer, **how
        As in `ratio_solver.solve`.

    Raises
    ------
    BadInput
        Where a name is unknown, or the new food has nothing of what is carried.
    """
    changed, swaps = swapped(recipe, foods, pairs, by)
    return Swap(swaps, by, side_of(recipe, prefer, how), side_of(changed, prefer, how),
                tuple(note for one in swaps for note in _notes(one)))


def swapped(recipe: Recipe, foods: FoodTable, pairs: Sequence[tuple[str, str]],
            by: str = "weight") -> tuple[Recipe, tuple[Swapped, ...]]:
    """The recipe with ingredients swapped, not solved; parameters and faults as in `swap`."""
    faults: list[Fault] = []
    foods = foods.with_tables(recipe.tables)
    if by not in CARRIED:
        faults.append(Fault("--by", "", shown(by), f"expected one of {', '.join(CARRIED)}"))
    chosen: dict[int, Food] = {}
    for old_name, new_name in pairs:
        place = place_named(old_name, recipe, "swap", faults)
        food = _food(foods, new_name, faults)
        if place is not None and place in chosen:
            faults.append(Fault("swap", "", shown(old_name), "expected each ingredient to be swapped once"))
        if place is not None and food is not None:
            chosen[place] = food
    collected(faults)
    swaps: dict[int, Swapped] = {}
    kept = {i.label.lower() for k, i in enumerate(recipe.ingredients) if k not in chosen}
    for place, food in chosen.items():
        old = recipe.ingredients[place]
        new = _in_place_of(old, food, faults)
        factor = _factor(recipe, old, new, by, faults)
        label = food.name if food.name.lower() not in kept else f"{food.name} for {old.label}"
        kept.add(label.lower())
        swaps[place] = Swapped(old, _carried(new, label, factor), factor)
    collected(faults)
    return _renamed(recipe, swaps), tuple(swaps.values())


def adjustable(recipe: Recipe) -> bool:
    """Whether any weight may move."""
    return any(ingredient.adjustable for ingredient in recipe.ingredients)


def side_of(recipe: Recipe, prefer: str, how: Mapping[str, bool]) -> Side:
    """The dish solved, or judged as it is written where nothing may move."""
    if adjustable(recipe):
        return solve(recipe, prefer, foods=None, **how)
    return check(recipe, guaranteed=how.get("guaranteed", False))


def _food(foods: FoodTable, name: str, faults: list[Fault]) -> Food | None:
    food = foods.find(name)
    if food is None:
        faults.append(Fault("swap", "", shown(name), foods.unknown(name)))
    return food


def _in_place_of(old: Ingredient, food: Food, faults: list[Fault]) -> Ingredient:
    """The food as it stands where the old one stood, prepared as that was: with its own yield where that is known.

    A piece and a measure are the old food's own.
    """
    drippings = old.drippings if food.role in LOSES_FAT else None
    made = (prepare(food, prepared=old.prepared, drippings=drippings) if old.prepared else None) or \
        prepare(food, old.yield_, drippings=drippings)
    assert made is not None  # without a way that the table may lack there is always one
    if made.fault:
        faults.append(Fault("swap", "", shown(food.name), made.fault))
    return replace(old, food=made.food, yield_=made.yield_, piece=None, measure="", prepared=made.prepared,
                   yield_note=made.note, drippings=drippings)


def _factor(recipe: Recipe, old: Ingredient, new: Ingredient, by: str, faults: list[Fault]) -> Fraction:
    """Grams of the new food that hold as much as a gram of the old one."""
    column = CARRIED[by]
    if column is None:
        return Fraction(1)
    had = per_gram(old, column, recipe) or Fraction(0)
    has = per_gram(new, column, recipe) or Fraction(0)
    for name, amount in ((old.label, had), (new.food.name, has)):
        if not amount:
            faults.append(Fault("--by", by, "", f"{name} has no {spoken(column)}, so none can be carried over; "
                                                f"expected another --by"))
    return had / has if had and has else Fraction(1)


def _carried(new: Ingredient, label: str, factor: Fraction) -> Ingredient:
    """The new ingredient: start and bounds of the old one times the factor."""
    def times(value: float) -> float:
        return float(Fraction(repr(value)) * factor)

    return replace(
        new, label=label, start=times(new.start),
        minimum=None if new.minimum is None else times(new.minimum),
        maximum=None if new.maximum is None else times(new.maximum),
    )


def _renamed(recipe: Recipe, swaps: Mapping[int, Swapped]) -> Recipe:
    """The recipe with the new ingredients; groups follow the new labels."""
    labels = {one.old.label: one.new.label for one in swaps.values()}

    def new(group: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(labels.get(label, label) for label in group)

    def name(text: str) -> str:
        return " + ".join(labels.get(part, part) for part in text.split(" + "))

    return replace(
        recipe,
        ingredients=tuple(swaps[k].new if k in swaps else i for k, i in enumerate(recipe.ingredients)),
        proportions=tuple(
            replace(share, of=new(share.of), to=new(share.to), of_name=name(share.of_name),
                    to_name=name(share.to_name))
            for share in recipe.proportions
        ),
        chooses=tuple(replace(choose, labels=new(choose.labels)) for choose in recipe.chooses),
    )


def _notes(one: Swapped) -> list[str]:
    found = []
    if one.old.prepared and one.new.prepared:
        found.append(f"{one.new.label} has its own yield, {one.new.prepared}: {one.new.yield_:g}")
    elif one.old.yield_ != 1:
        way = f", {one.old.prepared}" if one.old.prepared else ""
        found.append(f"the yield {one.old.yield_:g} is that of {one.old.label}{way}; it is kept for {one.new.label}, "
                     "so look at it")
    if one.old.piece is not None:
        found.append(f"{one.old.label} came in pieces of {one.old.piece:g} g; {one.new.label} does not")
    return found
