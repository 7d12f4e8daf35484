"""A day: who eats which dish at which meal, what a person may have beside it, and what the larder holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from ratio_solver.day.people import Person
from ratio_solver.foods.food import Food
from ratio_solver.foods.policy import Policy
from ratio_solver.recipe.model import Ingredient, Recipe

MOST_PORTION = 3000.0
"""g; a portion of a dish is no larger where the file says nothing; our choice."""

PORTION_STEP = 1.0
"""g; the step of the scale for portions where the file says nothing."""


@dataclass(frozen=True)
class Pot:
    """A dish that is cooked for the day.

    Attributes
    ----------
    recipe : Recipe
    file : str
        As the day file names it.
    as_written : bool
        Whether its weights are those of the recipe; else they are solved.
    batches : int or None
        So many batches are cooked and no more; None cooks as many whole ones as it takes.
    """

    recipe: Recipe
    file: str
    as_written: bool = False
    batches: int | None = None


@dataclass(frozen=True)
class Course:
    """What each person may have at a meal: of a dish, or of a food beside it.

    Attributes
    ----------
    pot : int or None
        Place of the dish among the day's pots.
    food : Food or None
        The food beside.
    start : float or None
        The portion to stay close to, g; None is an equal share of the meal's energy (of a dish), nothing (of a food).
    minimum, maximum : float
        g a person.
    step : float
        A portion is a multiple of so many g.
    """

    pot: int | None
    food: Food | None
    start: float | None = None
    minimum: float = 0.0
    maximum: float = MOST_PORTION
    step: float = PORTION_STEP


@dataclass(frozen=True)
class Meal:
    """A meal of the day.

    Attributes
    ----------
    name : str
    courses : tuple of Course
    people : tuple of int
        Places of those who eat it among the day's people.
    skipped : mapping of int to frozenset of int
        Place of a course to the places of people who do not have it.
    """

    name: str
    courses: tuple[Course, ...]
    people: tuple[int, ...]
    skipped: Mapping[int, frozenset[int]] = field(default_factory=dict)

    def had_by(self, person: int) -> list[tuple[int, Course]]:
        """The courses that somebody has, with their places."""
        return [(place, course) for place, course in enumerate(self.courses)
                if person in self.people and person not in self.skipped.get(place, ())]


@dataclass(frozen=True)
class Day:
    """A day of a kitchen.

    Attributes
    ----------
    title : str
    people : tuple of Person
    pots : tuple of Pot
    meals : tuple of Meal
    stock : mapping of str to (Food, float)
        Id of a food to the food and the g of it, before preparation, that the whole day may use.
    policy : Policy
    source : str
        The file.
    tables : tuple of str
        Composition tables that the file names.
    composition : tuple of path
        The files of all tables that what is beside the dishes comes from.
    """

    title: str
    people: tuple[Person, ...]
    pots: tuple[Pot, ...]
    meals: tuple[Meal, ...]
    stock: Mapping[str, tuple[Food, float]] = field(default_factory=dict)
    policy: Policy = field(default_factory=Policy)
    source: str = ""
    tables: tuple[str, ...] = ()
    composition: tuple[Path, ...] = field(default=(), repr=False, compare=False)

    def tables_used(self) -> tuple[Path, ...]:
        """The files of all composition tables, those of its dishes too."""
        of_dishes = (path for pot in self.pots for path in pot.recipe.composition)
        return tuple(dict.fromkeys((*self.composition, *of_dishes)))

    def meals_of(self, person: int) -> tuple[int, ...]:
        """Places of the meals at which somebody has anything."""
        return tuple(place for place, meal in enumerate(self.meals) if meal.had_by(person))

    def share(self, person: int, meal: int) -> Fraction:
        """A meal's share of somebody's day."""
        names = [self.meals[place].name for place in self.meals_of(person)]
        return self.people[person].share_of(self.meals[meal].name, names)


def alone(food: Food, source: str) -> Recipe:
    """A food beside a dish, as a dish of it alone: 100 g."""
    return Recipe(food.name, 1, (Ingredient(food.name, food, 100.0),), source=source)
