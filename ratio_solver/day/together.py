"""Dishes solved together with the day: their own weights are asked for, and portions are fixed shares of a batch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.day.kitchen import Cooked, Kitchen, batches_for
from ratio_solver.day.limits import DayLimit, KitchenLimit, Portion
from ratio_solver.day.model import Day, Pot
from ratio_solver.day.serving import Builder
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.exact import ONE, ZERO, Vector
from ratio_solver.recipe.heat import raw_grams


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
