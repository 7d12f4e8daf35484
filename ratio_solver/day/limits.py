"""Everything a day must respect, as exact rows over the weights of the kitchen, most of whose entries are none.

What a person eats is of dishes and of foods beside them. A target of the person is reckoned of each of these by the
function that reckons the targets of a recipe (`ratio_solver.dish.constraints.limits_of`), per g of its ingredients;
what a g of an ingredient is in terms of the weights that are asked for depends on the question (`Spread`): where a dish
is cooked already, a portion of it; where dishes are solved together, a share of the pot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from ratio_solver.day.model import Day
from ratio_solver.day.people import SPLIT, Person
from ratio_solver.dish.constraints import LESS, MORE, Limit, Subject, limits_of
from ratio_solver.errors import BadInput, Fault, collected
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.recipe.model import Ingredient, Recipe

Sparse = Mapping[int, Fraction]
"""Place of a weight to what a unit of it adds; what is not there adds nothing."""


@dataclass(frozen=True)
class DayLimit(Limit):
    """A limit of a day, over the weights of one block of it.

    Attributes
    ----------
    who : str
        Whom it is about, for print; empty for a pot or the stock.
    people : tuple of int
        Places of these people.
    meal : str
        The meal; empty is the whole day.
    dish : str
        The dish or food that it is about, for print; empty for a target.
    """

    who: str = ""
    people: tuple[int, ...] = ()
    meal: str = ""
    dish: str = ""

    @property
    def prescribed(self) -> bool:
        """Every figure of a person's day is, and a ratio at a meal; a meal's share is not; a dish's are as ever."""
        if self.kind == "target" and self.people:
            return not self.meal or not self.constant
        return super().prescribed


@dataclass(frozen=True)
class KitchenLimit:
    """The same over all the weights of the kitchen: `model` has everything but its rows.

    Attributes
    ----------
    model : DayLimit
    above, below : mapping of int to Fraction
        Numerator and denominator per unit of each weight.
    members : tuple of int
        Of a choice: places of the weights it chooses from.
    """

    model: DayLimit
    above: Sparse
    below: Sparse = field(default_factory=dict)
    members: tuple[int, ...] = ()

    @property
    def places(self) -> tuple[int, ...]:
        """The weights that it is about."""
        return tuple({**self.above, **self.below})

    def taken_by(self, places: Iterable[int]) -> KitchenLimit:
        """The same with what these weights take of it alone."""
        return replace(self, above={place: self.above[place] for place in places if place in self.above})

    def over(self, places: Sequence[int], at: Mapping[int, int]) -> DayLimit:
        """The limit over the weights at these places; `at` has where each stands among them."""
        subject = self.model.subject
        if self.model.kind == "ingredient":
            subject = replace(subject, place=at[subject.place])
        return replace(self.model, numerator=_dense(self.above, places), denominator=_dense(self.below, places),
                       members=tuple(at[place] for place in self.members), subject=subject)


def _dense(entries: Sparse, places: Sequence[int]) -> Vector:
    return tuple(entries.get(place, ZERO) for place in places)


@dataclass(frozen=True)
class Portion:
    """What some people, to whom the same is prescribed, have of one thing at a meal.

    Attributes
    ----------
    people : tuple of int
        Places of these people; each has so much.
    meal : int
    course : int
        Its place in the meal.
    """

    people: tuple[int, ...]
    meal: int
    course: int


Spread = Callable[[Portion, Vector], Iterator[tuple[int, Fraction]]]
"""From a portion, and amounts per g of each ingredient of what it is of, to what each weight of the kitchen adds."""


def alike(day: Day) -> list[tuple[int, ...]]:
    """The people of a day, those together to whom the same is prescribed and offered."""
    found: dict[object, list[int]] = {}
    for place, person in enumerate(day.people):
        had = tuple(tuple(at for at, _ in meal.had_by(place)) for meal in day.meals)
        if any(had):
            found.setdefault((person.alike, had), []).append(place)
    return [tuple(people) for people in found.values()]


def called(day: Day, people: Sequence[int]) -> str:
    """Some people by their names."""
    names = [day.people[place].name for place in people]
    if len(names) > 3:
        return f"{names[0]} and {len(names) - 1} others"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def person_limits(day: Day, portions: Sequence[Portion], sources: Mapping[Portion, Recipe], spread: Spread
                  ) -> list[KitchenLimit]:
    """The limits of everyone's day and meals.

    Of a figure that a prescription divides, each meal may have from its share of a least, less a share `within` of it,
    to its share of a most and as much more; a ratio is held at every meal, and so over the day.

    Parameters
    ----------
    day : Day
    portions : sequence of Portion
    sources : mapping of Portion to Recipe
        What each portion is of, with the ingredients that are in it.
    spread : callable

    Raises
    ------
    BadInput
        Where a maximum is set on a nutrient that is unknown for an ingredient.
    """
    found: list[KitchenLimit] = []
    faults: dict[Fault, None] = {}
    known: dict[object, tuple[Limit, ...]] = {}
    for number, people in enumerate(dict.fromkeys(portion.people for portion in portions)):
        person, terms = day.people[people[0]], []
        for portion in (portion for portion in portions if portion.people == people):
            key = person.held, person.policy.key, id(sources[portion])
            try:
                known[key] = known.get(key) or _targets_of(person, sources[portion])
            except BadInput as bad:
                faults.update(dict.fromkeys(bad.faults))
                continue
            terms.append((portion, known[key]))
        if not faults:
            found += _limits_of_person(day, number, people, terms, spread)
    collected(faults)
    return found


def _targets_of(person: Person, source: Recipe) -> tuple[Limit, ...]:
    """The targets of a person's day as limits on what is eaten of a dish."""
    probe = replace(source, servings=1, targets=person.held, policy=person.policy, parts=(), proportions=(), chooses=())
    return tuple(limit for limit in limits_of(probe) if limit.kind == "target")


def _limits_of_person(day: Day, number: int, people: tuple[int, ...],
                      terms: Sequence[tuple[Portion, tuple[Limit, ...]]], spread: Spread) -> Iterator[KitchenLimit]:
    person, who = day.people[people[0]], called(day, people)
    meals = day.meals_of(people[0])
    shares = {meal: day.share(people[0], meal) for meal in meals}
    for place, first in enumerate(terms[0][1] if terms else ()):
        quotient = not first.constant
        for meal in (None, *meals):
            if (meal is None and quotient) or (meal is not None and not quotient and first.nutrient not in SPLIT):
                continue
            name = "" if meal is None else day.meals[meal].name
            above: dict[int, Fraction] = {}
            below: dict[int, Fraction] = {}
            for portion, limits in terms:
                if meal is None or portion.meal == meal:
                    for entries, vector in ((above, limits[place].numerator), (below, limits[place].denominator)):
                        for at, amount in spread(portion, vector):
                            entries[at] = entries.get(at, ZERO) + amount
            bound = first.bound if quotient else first.bound * sum(shares.values(), ZERO) if meal is None else \
                _bound_of_meal(person, first, shares[meal])
            subject = Subject(first.nutrient, (number * len(day.meals) + (meal or 0)) * 2 + (meal is None),
                              first.subject.words)
            told = f"{who}: {name or 'day'}: {first.name}"
            yield KitchenLimit(DayLimit(told, "target", first.sense, bound, first.unit, (), (), first.constant, (),
                                        subject, who, people, name),
                               above, {at: amount for at, amount in below.items() if amount})


def _bound_of_meal(person: Person, limit: Limit, share: Fraction) -> Fraction:
    """A meal's share of an end of a figure, with the room that is around it."""
    off = exact(person.within)
    room = ONE - off if limit.sense == MORE else ONE + off
    whole = exact(person.energy) if person.energy is not None and limit.nutrient == SPLIT[0] else limit.bound
    return whole * share * room


def bound_limits(place: int, item: Ingredient, dish: str, who: str, people: tuple[int, ...], meal: str
                 ) -> list[KitchenLimit]:
    """The bounds of a weight, where it may move, and whose it is."""
    return [KitchenLimit(DayLimit(f"{item.label} {word}", "ingredient", sense, exact(end), "g", (), (), ONE, (),
                                  Subject(place=place, words=item.label), who, people, meal, dish), {place: ONE})
            for sense, end, word in ((MORE, item.minimum, "min"), (LESS, item.maximum, "max")) if end is not None]
