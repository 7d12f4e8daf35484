"""A day answered: everyone's portions, what is eaten, the pots, how limits stand; or why there are no portions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path

from ratio_solver.day.kitchen import Component, Cooked, Kitchen, batches_for, cooked, proposals, weights_of
from ratio_solver.day.limits import Portion
from ratio_solver.day.model import Day
from ratio_solver.dish.cautions import PRESCRIBERS, cautions_for, strongest
from ratio_solver.dish.constraints import Limit
from ratio_solver.dish.notices import allergen_words, allergens, allergens_unknown, eating_warnings
from ratio_solver.dish.nutrition import Facts, facts_of
from ratio_solver.dish.status import LimitState
from ratio_solver.exact import ZERO, Vector, exact
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.solving.result import Diagnosis, Impossible, Proposal


@dataclass(frozen=True)
class Had:
    """What a person has of one thing at a meal.

    Attributes
    ----------
    person : int
        Place among the day's people.
    meal, course : int
        Place of the meal, and of the dish or food in it.
    name : str
        The dish, or the food beside.
    beside : bool
    grams : Fraction
        g as served.
    usual : Fraction
        g that the portion was to stay close to.
    """

    person: int
    meal: int
    course: int
    name: str
    beside: bool
    grams: Fraction
    usual: Fraction


@dataclass(frozen=True)
class PotFilled(Cooked):
    """A dish as it is cooked for the day: the batch, and of it

    Attributes
    ----------
    batches : int
    served : Fraction
        g of all portions.
    """

    batches: int
    served: Fraction

    @property
    def left(self) -> Fraction:
        """g left over."""
        return self.batches * self.grams - self.served


@dataclass(frozen=True)
class Eaten:
    """What a person eats at a meal or in the day, as a dish of one serving.

    Attributes
    ----------
    person : int
    meal : int or None
        None is the whole day.
    recipe : Recipe
    weights : tuple of Fraction
    """

    person: int
    meal: int | None
    recipe: Recipe
    weights: Vector

    @cached_property
    def facts(self) -> Facts:
        """Its nutrition."""
        return facts_of(self.recipe, self.weights)

    @cached_property
    def allergens(self) -> str:
        """Allergens of what is eaten, and that of some of it the table does not tell all, in words."""
        return allergen_words(allergens(self.recipe, self.weights), allergens_unknown(self.recipe, self.weights))

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """What whoever eats this must know."""
        told = eating_warnings(self.recipe, self.weights)
        return tuple(warning.replace("one serving holds", "this day holds", 1) for warning in told)


@dataclass(frozen=True, repr=False)
class DayAnswer(Outcome):
    """A day answered; its `outcome` is "solved", or "impossible" where that is so for anyone, or "undecided".

    People whom neither a pot nor the stock joins to others are answered each by themselves.

    Attributes
    ----------
    day : Day
    together : bool
        Whether dishes were solved together with the day.
    kitchen : Kitchen or None
        None where a dish has no weights of its own.
    answers : tuple of (Component, Proposal or Diagnosis)
    dishes : tuple of Impossible
        Dishes without weights that keep their own limits.
    exact : bool
        Weights to any fraction of a gram.
    raised : Fraction
        By how much the bound on what is moved is above the sum of those of the answers.
    """

    day: Day
    together: bool
    kitchen: Kitchen | None
    answers: tuple[tuple[Component, Proposal | Diagnosis], ...]
    dishes: tuple[Impossible, ...] = ()
    exact: bool = False
    raised: Fraction = ZERO

    reported_in = "day.report"

    def tables_used(self) -> tuple[Path, ...]:
        """Those of the day and its dishes."""
        return self.day.tables_used()

    @property
    def outcome(self) -> str:
        """What came out, in a word."""
        if self.kitchen is not None and not self.diagnoses:
            return "solved"
        known = self.kitchen is None or not all(diagnosis.undecided for diagnosis in self.diagnoses)
        return "impossible" if known else "undecided"

    @cached_property
    def diagnoses(self) -> tuple[Diagnosis, ...]:
        """Why what has no answer has none."""
        return tuple(answer for _, answer in self.answers if isinstance(answer, Diagnosis))

    @cached_property
    def weights(self) -> dict[int, Fraction]:
        """The weights of the kitchen that have an answer, by their places."""
        return weights_of(self.answers)

    @cached_property
    def states(self) -> tuple[LimitState, ...]:
        """How the limits stand that have an answer, prices with them."""
        return tuple(state for _, answer in proposals(self.answers) for state in answer.limits)

    @property
    def moved(self) -> Fraction:
        """g moved in all: the objective of what has an answer."""
        return sum((answer.objective.value for _, answer in proposals(self.answers)), ZERO)

    def costs_of(self, limit: Limit) -> list[tuple[str, float]]:
        """What the price of a limit is in each dish and food beside, g moved for one more unit; the most first."""
        found: dict[str, float] = {}
        for block, answer in proposals(self.answers):
            for place, part in answer.price_parts.get(limit.identity, {}).items():
                dish = self._dish_at.get(block.places[place], "")
                found[dish] = found.get(dish, 0.0) + part
        return sorted(found.items(), key=lambda one: -abs(one[1]))

    @cached_property
    def _dish_at(self) -> dict[int, str]:
        """The dish or food that each weight of the kitchen is of."""
        limits = self.kitchen.limits if self.kitchen else ()
        return {limit.model.subject.place: limit.model.dish for limit in limits if limit.model.kind == "ingredient"}

    @property
    def least(self) -> Fraction:
        """No portions have less of it."""
        own = (answer.objective.bound for _, answer in proposals(self.answers))
        return sum(own, self.raised)

    @property
    def days(self) -> tuple[DayAnswer, ...]:
        """This day, as one of several."""
        return (self,)

    @property
    def proven(self) -> bool:
        """Whether every objective is known to be the least."""
        sure = (answer.objective.proven for _, answer in proposals(self.answers))
        return (self.raised >= 0 and all(sure)) or self.least >= self.moved

    @cached_property
    def pots(self) -> tuple[PotFilled, ...]:
        """The dishes as they are cooked; none where anybody's portions are not known."""
        if self.kitchen is None or self.outcome != "solved":
            return ()
        return tuple(self._filled(place, pot) for place, pot in enumerate(self.kitchen.pots))

    def _filled(self, place: int, pot: Cooked) -> PotFilled:
        assert self.kitchen is not None
        batch = self._batch(place)
        served = sum((had.grams for had in self.had if not had.beside and
                      self.day.meals[had.meal].courses[had.course].pot == place), ZERO)
        batches = batches_for(pot.pot, served / batch.grams)
        if place in self.kitchen.batches_of:
            batches = int(self.weights[self.kitchen.batches_of[place]])
        return PotFilled(pot.pot, batch.weights, batch.grams, batch.proven, batches, served)

    def _batch(self, place: int) -> Cooked:
        """A batch of a dish at its weights: its own, or those of the answer."""
        assert self.kitchen is not None
        pot, first = self.kitchen.pots[place], self.kitchen.first_of.get(place)
        if first is None:
            return pot
        return cooked(pot.pot, tuple(self.weights[first + at] for at in range(len(pot.weights))))

    @cached_property
    def had(self) -> tuple[Had, ...]:
        """What everyone has, in the order of people and meals; of people with an answer alone."""
        found = [had for portion in (self.kitchen.portions if self.kitchen else ()) for had in self._had(portion)]
        return tuple(sorted(found, key=lambda had: (had.person, had.meal, had.course)))

    def _had(self, portion: Portion) -> Iterator[Had]:
        assert self.kitchen is not None
        kitchen, course = self.kitchen, self.kitchen.course(portion)
        place = kitchen.place_of.get(portion)
        if place is not None:
            if place not in self.weights:
                return
            grams, usual = self.weights[place], exact(kitchen.items[place].start)
        else:
            assert course.pot is not None
            if kitchen.first_of[course.pot] not in self.weights:
                return
            grams = kitchen.shares[portion] * self._batch(course.pot).grams
            usual = kitchen.shares[portion] * kitchen.pots[course.pot].grams
        name = course.food.name if course.food else kitchen.pots[course.pot or 0].pot.recipe.title
        for person in portion.people:
            yield Had(person, portion.meal, portion.course, name, course.food is not None, grams, usual)

    @cached_property
    def eaten(self) -> tuple[Eaten, ...]:
        """What everyone eats: of each person the meals, then the day."""
        found = []
        for person in dict.fromkeys(had.person for had in self.had):
            own = [had for had in self.had if had.person == person]
            for meal in (*dict.fromkeys(had.meal for had in own), None):
                recipe, weights = self._dish_of([had for had in own if meal is None or had.meal == meal], person)
                found.append(Eaten(person, meal, recipe, weights))
        return tuple(found)

    def _dish_of(self, had: Sequence[Had], person: int) -> tuple[Recipe, Vector]:
        items: list[Ingredient] = []
        weights: list[Fraction] = []
        for one in had:
            course = self.day.meals[one.meal].courses[one.course]
            if course.food is not None:
                items.append(Ingredient(course.food.name, course.food, 0.0))
                weights.append(one.grams)
            elif course.pot is not None:
                recipe, batch = self._batch(course.pot).contents
                items += recipe.ingredients
                weights += [weight * one.grams / self._batch(course.pot).grams for weight in batch]
        whom = self.day.people[person]
        return Recipe(whom.name, 1, tuple(items), whom.held, whom.policy, source=self.day.source), tuple(weights)

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios that are stated; those of whoever has the highest."""
        asked = [cautions_for(Recipe(person.name, 1, (), person.targets)) for person in self.day.people]
        reached = [cautions_for(one.recipe, one.facts) for one in self.eaten]
        return PRESCRIBERS, *strongest([*asked, *reached])


@dataclass(frozen=True, repr=False)
class Days(Outcome):
    """Several days answered, each by itself; its `outcome` is "solved", or "impossible" where any day is."""

    days: tuple[DayAnswer, ...]

    reported_in = "day.report"

    def tables_used(self) -> tuple[Path, ...]:
        """Those of all the days and their dishes."""
        return tuple(dict.fromkeys(path for answer in self.days for path in answer.tables_used()))

    @property
    def outcome(self) -> str:
        """What came out, in a word."""
        outcomes = {answer.outcome for answer in self.days}
        return next((name for name in ("impossible", "undecided") if name in outcomes), "solved")

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios that are stated."""
        return strongest(answer.cautions for answer in self.days)
