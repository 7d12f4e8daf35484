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
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from ratio_solver.day.limits import DayLimit, KitchenLimit, Portion
from ratio_solver.day.model import Course, Day, Pot
from ratio_solver.dish.nutrition import cooked_batch
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ZERO, Vector, dot
from ratio_solver.recipe.model import Choose, Ingredient, Recipe
from ratio_solver.solving.result import Diagnosis, Proposal
from ratio_solver.solving.within import weights_within


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
    proven : bool
        False where the dish was solved and its weights are not known to be the closest to its start.
    """

    pot: Pot
    weights: Vector
    grams: Fraction
    proven: bool

    @cached_property
    def contents(self) -> tuple[Recipe, Vector]:
        """The dish of what is in it, and the weights of that."""
        return _without_nothing(self.pot.recipe, self.weights)

    def per_gram(self, vector: Vector) -> Fraction:
        """What a g served has of something of which a g of each ingredient in it has so much."""
        return dot(vector, self.contents[1]) / self.grams


def _without_nothing(recipe: Recipe, weights: Vector) -> tuple[Recipe, Vector]:
    kept = [(item, weight) for item, weight in zip(recipe.ingredients, weights, strict=True) if weight]
    return replace(recipe, ingredients=tuple(item for item, _ in kept)), tuple(weight for _, weight in kept)


def cooked(pot: Pot, weights: Vector, proven: bool = True) -> Cooked:
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
    return Cooked(pot, weights, grams, proven)


@dataclass(frozen=True)
class Component:
    """Weights that limits join, and no limit joins to others.

    Attributes
    ----------
    places : tuple of int
        Of its weights in the kitchen.
    recipe : Recipe
        With a weight for each; its own facts mean nothing.
    sparse : tuple of KitchenLimit
        Over the weights of the kitchen.
    whole : frozenset of int
        Which of its weights are numbers of batches.
    """

    places: tuple[int, ...]
    recipe: Recipe
    sparse: tuple[KitchenLimit, ...]
    whole: frozenset[int]

    @cached_property
    def limits(self) -> tuple[DayLimit, ...]:
        """The limits over its own weights."""
        at = {place: here for here, place in enumerate(self.places)}
        return tuple(limit.over(self.places, at) for limit in self.sparse)

    def solved(self, exactly: bool, time_limit: float | None, reasons: bool = True) -> Proposal | Diagnosis:
        """The weights closest to the usual ones, or why there are none (`weights_within`)."""
        return weights_within(self.recipe, self.limits, exact=exactly, whole=self.whole, time_limit=time_limit,
                              reasons=reasons)


def proposals(answers: Iterable[tuple[Component, Proposal | Diagnosis]]) -> Iterator[tuple[Component, Proposal]]:
    """The blocks that have weights, and these."""
    for block, answer in answers:
        if isinstance(answer, Proposal):
            yield block, answer


def weights_of(answers: Iterable[tuple[Component, Proposal | Diagnosis]]) -> dict[int, Fraction]:
    """The weights that have an answer, by their places in the kitchen."""
    return {place: weight.grams for block, answer in proposals(answers)
            for place, weight in zip(block.places, answer.weights, strict=True)}


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
    def components(self) -> tuple[Component, ...]:
        """The weights in groups that no limit joins, in the order of the first of each."""
        return self.parted(self.limits, range(len(self.items)))

    def parted(self, limits: Sequence[KitchenLimit], places: Sequence[int]) -> tuple[Component, ...]:
        """Some weights in groups that none of these limits joins, in the order of the first of each."""
        root = {place: place for place in places}

        def top(place: int) -> int:
            while root[place] != place:
                root[place] = root[root[place]]
                place = root[place]
            return place

        for limit in limits:
            first, *others = limit.places or (places[0],)
            for other in others:
                root[top(other)] = top(first)
        groups: dict[int, list[int]] = {}
        for place in places:
            groups.setdefault(top(place), []).append(place)
        own: dict[int, list[KitchenLimit]] = {}
        for limit in limits:
            if limit.places:
                own.setdefault(top(limit.places[0]), []).append(limit)
        return tuple(self._component(members, own.get(group, [])) for group, members in groups.items())

    def _component(self, places: Sequence[int], limits: Sequence[KitchenLimit]) -> Component:
        at = {place: here for here, place in enumerate(places)}
        chosen = (Choose((), 0),) if any(limit.members for limit in limits) else ()
        recipe = Recipe(self.day.title, 1, tuple(self.items[place] for place in places), chooses=chosen,
                        source=self.day.source)
        whole = frozenset(at[place] for place in self.batches_of.values() if place in at)
        return Component(tuple(places), recipe, tuple(limits), whole)


def batches_for(pot: Pot, wanted: Fraction) -> int:
    """Batches that are cooked: as many as are given, or as many whole ones as what is wanted of one takes."""
    return max(1, math.ceil(wanted)) if pot.batches is None else pot.batches
