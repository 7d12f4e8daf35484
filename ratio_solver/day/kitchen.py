"""The weights that a day asks for and the limits on them: portions of dishes that are cooked, or dishes together.

Serve: every dish has its weights; x_p is the portion p of a dish or of a food beside it, g, of each of the k_p people
to whom the same is prescribed.

    minimise    sum_p k_p |x_p - start_p|
    subject to  every target of a person's day and meals,      min_p <= x_p <= max_p
                sum_p k_p x_p <= batches_d pot_d               for every dish whose batches are given, or may run out
                sum_d batches_d raw_df + sum_p k_p x_p <= stock_f        for every food f of the stock

Together: the weights w_d of one batch of each dish are unknown as well, and a portion is a fixed share of the batch.

    minimise    sum_d sum_i keep_i |w_di - start_i|  +  sum_p k_p |x_p - start_p|      (p: foods beside alone)
    subject to  the same, and every limit of every dish

Weights that no limit joins, not even by others, are blocks, each a programme of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from ratio_solver.day.limits import (
    DayLimit,
    KitchenLimit,
    Portion,
    Spread,
    alike,
    bound_limits,
    called,
    person_limits,
)
from ratio_solver.day.model import Course, Day, Pot, alone
from ratio_solver.dish.composition import least_amounts
from ratio_solver.dish.constraints import LESS, Limit, Subject, limits_of
from ratio_solver.dish.nutrition import cooked_batch
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import ENERGY
from ratio_solver.recipe.heat import raw_grams
from ratio_solver.recipe.model import Choose, Ingredient, Recipe

MOST_WHOLE_BATCHES = 1000.0
PLACEHOLDER = Food("a dish", "dish", "by_difference", {})
"""In place of the food of what is a portion of a dish, or a number of batches; its composition is never asked for."""


@dataclass(frozen=True)
class Cooked:
    """One batch of a dish.

    Attributes
    ----------
    pot : Pot
    weights : tuple of Fraction
        g of each ingredient.
    grams : Fraction
        What the batch weighs when it is served, g.
    solved : bool
        Whether the weights are those of a solution.
    """

    pot: Pot
    weights: Vector
    grams: Fraction
    solved: bool = True

    @cached_property
    def served(self) -> tuple[Recipe, Vector]:
        """The dish of what is in it, and the weights of that."""
        return _without_nothing(self.pot.recipe, self.weights)

    def per_gram(self, vector: Vector) -> Fraction:
        """What a g served has of something of which a g of each ingredient in it has so much."""
        return dot(vector, self.served[1]) / self.grams


def _without_nothing(recipe: Recipe, weights: Vector) -> tuple[Recipe, Vector]:
    kept = [(item, weight) for item, weight in zip(recipe.ingredients, weights, strict=True) if weight]
    return replace(recipe, ingredients=tuple(item for item, _ in kept)), tuple(weight for _, weight in kept)


def cooked(pot: Pot, weights: Vector, solved: bool = True) -> Cooked:
    """A batch of a dish at these weights.

    Raises
    ------
    BadInput
        Where it weighs nothing.
    """
    whole = cooked_batch(pot.recipe, weights)
    grams = sum(weights, ZERO) if whole is None else whole
    if not grams:
        raise BadInput([Fault(pot.recipe.source, "ingredients", "", "expected a dish that weighs something")])
    return Cooked(pot, weights, grams, solved)


@dataclass(frozen=True)
class Block:
    """Weights that limits join.

    Attributes
    ----------
    places : tuple of int
        Of its weights in the kitchen.
    recipe : Recipe
        With a weight for each; its own facts mean nothing.
    limits : tuple of DayLimit
    whole : frozenset of int
        Which of its weights are numbers of batches.
    """

    places: tuple[int, ...]
    recipe: Recipe
    limits: tuple[DayLimit, ...]
    whole: frozenset[int]


@dataclass(frozen=True)
class Kitchen:
    """The weights that a day asks for and the limits on them.

    Attributes
    ----------
    day : Day
    together : bool
    pots : tuple of Cooked
        The dishes at their own weights; where they are solved together, those from which the shares come.
    portions : tuple of Portion
    items : tuple of Ingredient
        The weights: of portions in g a person, of ingredients in g a batch, numbers of batches.
    limits : tuple of KitchenLimit
    place_of : mapping of Portion to int
        The weight that is the portion; of a dish that is solved together there is none.
    first_of : mapping of int to int
        Pot to the weight that is its first ingredient, where dishes are solved together.
    shares : mapping of Portion to Fraction
        Where dishes are solved together, the share of a batch that a person's portion is.
    batches_of : mapping of int to int
        Pot to the weight that is the number of its batches.
    """

    day: Day
    together: bool
    pots: tuple[Cooked, ...]
    portions: tuple[Portion, ...]
    items: tuple[Ingredient, ...]
    limits: tuple[KitchenLimit, ...]
    place_of: Mapping[Portion, int]
    first_of: Mapping[int, int]
    shares: Mapping[Portion, Fraction]
    batches_of: Mapping[int, int]

    def course(self, portion: Portion) -> Course:
        """What a portion is of."""
        return self.day.meals[portion.meal].courses[portion.course]

    @cached_property
    def blocks(self) -> tuple[Block, ...]:
        """The weights in groups that no limit joins, in the order of the first of each."""
        root = list(range(len(self.items)))

        def top(place: int) -> int:
            while root[place] != place:
                root[place] = root[root[place]]
                place = root[place]
            return place

        for limit in self.limits:
            first, *others = (top(place) for place in limit.places) if limit.places else (0,)
            for other in others:
                root[top(other)] = top(first)
        groups: dict[int, list[int]] = {}
        for place in range(len(self.items)):
            groups.setdefault(top(place), []).append(place)
        limits: dict[int, list[KitchenLimit]] = {}
        for limit in self.limits:
            for place in limit.places:
                limits.setdefault(top(place), []).append(limit)
                break
        return tuple(self._block(places, limits.get(group, [])) for group, places in groups.items())

    def _block(self, places: Sequence[int], limits: Sequence[KitchenLimit]) -> Block:
        at = {place: here for here, place in enumerate(places)}
        chosen = (Choose((), 0),) if any(limit.members for limit in limits) else ()
        recipe = Recipe(self.day.title, 1, tuple(self.items[place] for place in places), chooses=chosen,
                        source=self.day.source)
        whole = frozenset(at[place] for place in self.batches_of.values() if place in at)
        return Block(tuple(places), recipe, tuple(limit.over(places, at) for limit in limits), whole)


class _Builder:
    """Gathers weights and limits; `told` has of each weight its dish, who, people and meal."""

    def __init__(self, day: Day, pots: Sequence[Cooked]) -> None:
        self.day, self.pots = day, tuple(pots)
        self.items: list[Ingredient] = []
        self.told: dict[int, tuple[str, str, tuple[int, ...], str]] = {}
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
        self.items.append(item)
        self.told[len(self.items) - 1] = dish, who, people, meal
        return len(self.items) - 1

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
        recipe = replace(pot.served[0], policy=person.policy)
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

    def beside(self, food: Food) -> Iterator[tuple[int, Fraction]]:
        """The weights of a food beside dishes, each with the number of people who have it."""
        for portion, place in self.place_of.items():
            other = self.course(portion).food
            if other is not None and other.id == food.id:
                yield place, Fraction(len(portion.people))

    def limit_stock(self, spent: Mapping[int, Mapping[int, Fraction]]) -> None:
        """The stock; `spent` has of each food of it what a unit of each weight uses of it, foods beside left out."""
        for number, (food, grams) in enumerate(self.day.stock.values()):
            above = dict(spent.get(number, {}))
            for place, count in self.beside(food):
                above[place] = above.get(place, ZERO) + count
            self.limit(f"stock of {food.name}", "stock", exact(grams), above, Subject(place=number, words=food.name),
                       food.name)

    def sources(self, whole: bool) -> dict[Portion, Recipe]:
        """What each portion is of: all the dish, or what of it is in the pot."""
        beside = {food.id: alone(food, self.day.source) for portion in self.portions
                  if (food := self.course(portion).food) is not None}
        found: dict[Portion, Recipe] = {}
        for portion in self.portions:
            course = self.course(portion)
            pot = None if course.pot is None else self.pots[course.pot]
            found[portion] = beside[course.food.id] if course.food is not None else \
                pot.pot.recipe if pot is not None and whole else pot.served[0]  # type: ignore[union-attr]
        return found

    def made(self, together: bool, spread: Spread) -> Kitchen:
        """The kitchen, with the targets of people and the bounds of weights."""
        targets = person_limits(self.day, self.portions, self.sources(together), spread)
        return Kitchen(self.day, together, self.pots, self.portions, tuple(self.items),
                       (*targets, *self.limits, *bound_limits(self.items, self.told)), self.place_of, self.first_of,
                       self.shares, self.batches_of)


def serving(day: Day, pots: Sequence[Cooked]) -> Kitchen:
    """Portions of dishes that are cooked.

    Raises
    ------
    BadInput
        Where a maximum is set on a nutrient that is unknown for an ingredient.
    """
    made = _Builder(day, pots)
    for portion in made.portions:
        made.add_portion(portion, made.usual(portion))
    _add_pots(made)

    def spread(portion: Portion, per_gram: Vector) -> Iterator[tuple[int, Fraction]]:
        course = made.course(portion)
        yield made.place_of[portion], per_gram[0] if course.pot is None else made.pots[course.pot].per_gram(per_gram)

    return made.made(False, spread)


def _add_pots(made: _Builder) -> None:
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
    made = _Builder(day, pots)
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


def _shared_out(made: _Builder, place: int, pot: Pot) -> int:
    """The batches of a dish that portions take; where those given are too few, every portion is cut alike."""
    portions = made.of_pot(place)
    wanted = sum((made.shares[portion] * len(portion.people) for portion in portions), ZERO)
    batches = batches_for(pot, wanted)
    if wanted > batches:
        made.shares.update({portion: made.shares[portion] * batches / wanted for portion in portions})
    return batches


def batches_for(pot: Pot, wanted: Fraction) -> int:
    """Batches that are cooked: as many as are given, or as many whole ones as what is wanted of one takes."""
    return max(1, math.ceil(wanted)) if pot.batches is None else pot.batches


def _add_dish(made: _Builder, place: int, pot: Cooked) -> None:
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

