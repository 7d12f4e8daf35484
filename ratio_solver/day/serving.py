"""The weights and limits of a day: portions of dishes that are cooked, or of dishes that are solved together with it.

Together their own weights are asked for, and portions are fixed shares of a batch.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.day.kitchen import Cooked, Kitchen, batches_for
from ratio_solver.day.limits import DayLimit, KitchenLimit, Portion, Spread, alike, bound_limits, called, person_limits
from ratio_solver.day.model import Course, Day, Pot, alone
from ratio_solver.dish.constraints import LESS, Limit, Subject, limits_of
from ratio_solver.dish.nutrition import least_amounts
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import ENERGY
from ratio_solver.recipe.heat import raw_grams
from ratio_solver.recipe.model import Ingredient, Recipe

MOST_WHOLE_BATCHES = 1000.0
PLACEHOLDER = Food("a dish", "dish", "by_difference", {})
"""In place of the food of what is a portion of a dish, or a number of batches; its composition is never asked for."""


class Builder:
    """Gathers weights, their bounds and other limits."""

    def __init__(self, day: Day, pots: Sequence[Cooked]) -> None:
        self.day, self.pots = day, tuple(pots)
        self.items: list[Ingredient] = []
        self.bounds: list[KitchenLimit] = []
        self.place_of: dict[Portion, int] = {}
        self.first_of: dict[int, int] = {}
        self.shares: dict[Portion, Fraction] = {}
        self.batches_of: dict[int, int] = {}
        self.limits: list[KitchenLimit] = []
        self.portions = tuple(Portion(people, meal, course) for people in alike(day) for meal in day.meals_of(people[0])
                              for course, _ in day.meals[meal].had_by(people[0]))

    def course(self, portion: Portion) -> Course:
        return self.day.meals[portion.meal].courses[portion.course]

    def add(self, item: Ingredient, dish: str, who: str = "", people: tuple[int, ...] = (), meal: str = "") -> int:
        place = len(self.items)
        self.items.append(item)
        self.bounds += bound_limits(place, item, dish, who, people, meal)
        return place

    def add_portion(self, portion: Portion, start: Fraction) -> None:
        """A portion as a weight: on its step, and dear by the number of people who have it."""
        course, who = self.course(portion), called(self.day, portion.people)
        meal = self.day.meals[portion.meal].name
        dish = course.food.name if course.food else self.pots[course.pot or 0].pot.recipe.title
        step = exact(course.step)
        item = Ingredient(f"{dish} at {meal} for {who}", course.food or PLACEHOLDER, float(round(start / step) * step),
                          course.minimum, course.maximum, step=course.step, keep=float(len(portion.people)))
        self.place_of[portion] = self.add(item, dish, who, portion.people, meal)

    def usual(self, portion: Portion) -> Fraction:
        """The portion to stay close to, g: as stated, an equal share of the meal's energy, or a serving."""
        course = self.course(portion)
        if course.start is not None:
            return exact(course.start)
        if course.food is not None or course.pot is None:
            return ZERO
        pot, person = self.pots[course.pot], self.day.people[portion.people[0]]
        recipe = replace(pot.contents[0], policy=person.policy)
        density = pot.per_gram(least_amounts(recipe, ENERGY))
        if person.usual_energy is None or not density:
            return pot.grams / pot.pot.recipe.servings
        dishes = sum(1 for other in self.portions if other.people == portion.people and other.meal == portion.meal
                     and self.course(other).food is None)
        return person.usual_energy * self.day.share(portion.people[0], portion.meal) / dishes / density

    def limit(self, name: str, kind: str, bound: Fraction, above: Mapping[int, Fraction], subject: Subject, dish: str
              ) -> None:
        """At most so much of something."""
        entries = {place: amount for place, amount in above.items() if amount}
        if entries:
            self.limits.append(KitchenLimit(
                DayLimit(name, kind, LESS, bound, "g", (), (), ONE, (), subject, dish=dish), entries))

    def of_pot(self, place: int) -> list[Portion]:
        """The portions of a dish."""
        return [portion for portion in self.portions if self.course(portion).pot == place]

    def limit_stock(self, spent: Mapping[int, Mapping[int, Fraction]]) -> None:
        """The stock; `spent` has of each food of it what a unit of each weight uses of it, foods beside left out."""
        for number, (food, grams) in enumerate(self.day.stock.values()):
            above = dict(spent.get(number, {}))
            for portion, place in self.place_of.items():
                beside = self.course(portion).food
                if beside is not None and beside.id == food.id:
                    above[place] = Fraction(len(portion.people))
            self.limit(f"stock of {food.name}", "stock", exact(grams), above, Subject(place=number, words=food.name),
                       food.name)

    def sources(self, whole: bool) -> dict[Portion, Recipe]:
        """What each portion is of: all the dish, or what of it is in the pot."""
        dishes = [pot.pot.recipe if whole else pot.contents[0] for pot in self.pots]
        beside: dict[str, Recipe] = {}
        return {portion: dishes[course.pot or 0] if course.food is None else
                beside.setdefault(course.food.id, alone(course.food, self.day.source))
                for portion in self.portions for course in (self.course(portion),)}

    def made(self, together: bool, spread: Spread) -> Kitchen:
        """The kitchen, with the targets of people and the bounds of weights."""
        targets = person_limits(self.day, self.portions, self.sources(together), spread)
        return Kitchen(self.day, together, self.pots, self.portions, tuple(self.items),
                       (*targets, *self.limits, *self.bounds), self.place_of, self.first_of,
                       self.shares, self.batches_of)


def serving(day: Day, pots: Sequence[Cooked]) -> Kitchen:
    """Portions of dishes that are cooked.

    Raises
    ------
    BadInput
        Where a maximum is set on a nutrient that is unknown for an ingredient.
    """
    made = Builder(day, pots)
    for portion in made.portions:
        made.add_portion(portion, made.usual(portion))
    _add_pots(made)

    def spread(portion: Portion, per_gram: Vector) -> Iterator[tuple[int, Fraction]]:
        course = made.course(portion)
        yield made.place_of[portion], per_gram[0] if course.pot is None else made.pots[course.pot].per_gram(per_gram)

    return made.made(False, spread)


def _add_pots(made: Builder) -> None:
    """Portions within the batches that there are, and batches within the stock."""
    spent: dict[int, dict[int, Fraction]] = {}
    for place, pot in enumerate(made.pots):
        uses = {number: grams for number, (food, _) in enumerate(made.day.stock.values())
                if (grams := used_of(food, pot.pot.recipe, pot.weights))}
        title, given = pot.pot.recipe.title, pot.pot.batches
        above = {made.place_of[portion]: Fraction(len(portion.people)) for portion in made.of_pot(place)}
        subject = Subject(place=place, words=title)
        if uses:
            number = Ingredient(f"batches of {title}", PLACEHOLDER, float(given or 0), keep=0.0, step=1.0) if given \
                else Ingredient(f"batches of {title}", PLACEHOLDER, 0.0, 0.0, MOST_WHOLE_BATCHES, keep=0.0, step=1.0)
            made.batches_of[place] = made.add(number, title)
            for food_number, grams in uses.items():
                spent.setdefault(food_number, {})[made.batches_of[place]] = grams
        if given is not None:
            made.limit(f"pot of {title}", "pot", given * pot.grams, above, subject, title)
        elif uses:
            made.limit(f"pot of {title}", "pot", ZERO, {**above, made.batches_of[place]: -pot.grams}, subject, title)
    made.limit_stock(spent)


def used_of(food: Food, recipe: Recipe, weights: Vector) -> Fraction:
    """What a batch uses of a food, g before preparation."""
    return sum((raw_grams(item, weight) for item, weight in zip(recipe.ingredients, weights, strict=True)
                if item.food.id == food.id), ZERO)


def dishes_together(day: Day, pots: Sequence[Cooked], served: Mapping[Portion, Fraction]) -> Kitchen:
    """Dishes whose own weights are asked for, with portions that are fixed shares of a batch.

    Parameters
    ----------
    day : Day
    pots : sequence of Cooked
    served : mapping of Portion to Fraction
        g of portions with the dishes as they are in `pots`: what a share is where the file states no portion; where
        there is none it is the portion to stay close to.

    Raises
    ------
    BadInput
        Where a maximum is set on a nutrient that is unknown for an ingredient.
    """
    made = Builder(day, pots)
    for place, pot in enumerate(made.pots):
        _add_dish(made, place, pot)
    for portion in made.portions:
        course = made.course(portion)
        if course.pot is None:
            made.add_portion(portion, made.usual(portion))
        else:
            grams = served.get(portion) if course.start is None else None
            made.shares[portion] = (grams or made.usual(portion)) / made.pots[course.pot].grams
    batches = [_shared_out(made, place, pot.pot) for place, pot in enumerate(made.pots)]
    spent: dict[int, dict[int, Fraction]] = {}
    for number, (food, _) in enumerate(day.stock.values()):
        for place, pot in enumerate(made.pots):
            for at, item in enumerate(pot.pot.recipe.ingredients):
                if item.food.id == food.id:
                    spent.setdefault(number, {})[made.first_of[place] + at] = batches[place] * raw_grams(item, ONE)
    made.limit_stock(spent)

    def spread(portion: Portion, per_gram: Vector) -> Iterator[tuple[int, Fraction]]:
        course = made.course(portion)
        if course.pot is None:
            yield made.place_of[portion], per_gram[0]
            return
        for at, amount in enumerate(per_gram):
            if amount:
                yield made.first_of[course.pot] + at, amount * made.shares[portion]

    return made.made(True, spread)


def _shared_out(made: Builder, place: int, pot: Pot) -> int:
    """The batches of a dish that portions take; where those given are too few, every portion is cut alike."""
    portions = made.of_pot(place)
    wanted = sum((made.shares[portion] * len(portion.people) for portion in portions), ZERO)
    batches = batches_for(pot, wanted)
    if wanted > batches:
        made.shares.update({portion: made.shares[portion] * batches / wanted for portion in portions})
    return batches


def _add_dish(made: Builder, place: int, pot: Cooked) -> None:
    """The weights of a dish, and its own limits; one that is as written has weights that are fixed."""
    recipe = pot.pot.recipe
    made.first_of[place] = len(made.items)
    for item, weight in zip(recipe.ingredients, pot.weights, strict=True):
        label = f"{item.label} of {recipe.title}"
        fixed = replace(item, label=label, start=float(weight), minimum=None, maximum=None)
        made.add(fixed if pot.pot.as_written else replace(item, label=label), recipe.title)
    for number, limit in enumerate(() if pot.pot.as_written else limits_of(recipe)):
        if limit.kind != "ingredient":
            made.limits.append(_limit_of_dish(limit, recipe.title, made.first_of[place], place * 10_000 + number))


def _limit_of_dish(limit: Limit, title: str, first: int, number: int) -> KitchenLimit:
    above, below = ({first + at: amount for at, amount in enumerate(vector) if amount}
                    for vector in (limit.numerator, limit.denominator))
    model = DayLimit(f"{title}: {limit.name}", limit.kind, limit.sense, limit.bound, limit.unit, (), (),
                     limit.constant, (), replace(limit.subject, place=10**9 + number), dish=title)
    return KitchenLimit(model, above, below, tuple(first + place for place in limit.members))
