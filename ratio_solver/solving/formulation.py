"""From a recipe to a linear model: which weights may move, what they must keep, what is preferred.

    minimise    sum_i keep_i (up_i + down_i)                  ("closest"; others in `OBJECTIVES`)
    subject to  w_i - up_i + down_i = start_i                 for every adjustable ingredient
                (numerator - bound * denominator) . w >= bound * constant     for every limit
                min_i <= w_i <= max_i;   up_i, down_i >= 0
                w_i <= max_i used_i;  sum used_i <= at_most;  used_i in {0, 1}        for every choice

Fixed ingredients are constants and go to the right-hand sides.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.dish.composition import per_gram
from ratio_solver.dish.constraints import EMPTY, MORE, Limit, limits_of
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.recipe.model import Ingredient, Recipe

PREFERENCES = ("closest", "even", "cheapest", "lightest", "lowest-carb")

NOT_EMPTY = "a dish that is not empty"

UNITS: Mapping[str, str] = MappingProxyType({
    "closest": "g moved",
    "even": "share moved",
    "cheapest": "price of the batch",
    "lightest": "kcal per serving",
    "lowest-carb": "g net carbs per serving",
})
"""Unit of each preference's objective."""


@dataclass(frozen=True)
class Formulation:
    """A recipe as a linear model, and the way back.

    Attributes
    ----------
    recipe : Recipe
    limits : tuple of Limit
    prefer : str
        One of `PREFERENCES`.
    model : LinearModel
        Its first variables are the weights of the adjustable ingredients, in listing order.
    adjustable : tuple of int
        Places in the recipe of the ingredients that those variables are.
    row_of : tuple of int or None, one per limit
        Row of the model that stands for the limit; None for an ingredient's own bound.
    constant : Fraction
        What the fixed ingredients add to the objective.
    """

    recipe: Recipe
    limits: tuple[Limit, ...]
    prefer: str
    model: LinearModel
    adjustable: tuple[int, ...]
    row_of: tuple[int | None, ...]
    constant: Fraction
    guaranteed: Guaranteed = None

    def weights(self, values: Sequence[Fraction]) -> Vector:
        """Weights of all ingredients, g, from values of the model's variables."""
        found = [exact(start) for start in self.recipe.starts]
        for variable, place in enumerate(self.adjustable):
            found[place] = values[variable]
        return tuple(found)

    def values(self, weights: Sequence[Fraction], settled: LinearModel) -> Vector:
        """Values of all the model's variables from the weights of the adjustable ingredients alone.

        Moves are recomputed, so that the cost checked is that of the very weights shown; what `settled`
        has fixed stays so.
        """
        items = [self.recipe.ingredients[place] for place in self.adjustable]
        moves = [weight - exact(i.start) for weight, i in zip(weights, items, strict=True)]
        found = [*weights, *(max(ZERO, move) for move in moves), *(max(ZERO, -move) for move in moves)]
        if self.prefer == "even":
            shares = (relative(i) * abs(move) for move, i in zip(moves, items, strict=True))
            found.append(max(shares, default=ZERO))
        found.extend(variable.lower for variable in settled.variables[len(found):])
        return tuple(found)


def formulate(recipe: Recipe, prefer: str = "closest", *, guaranteed: Guaranteed = None,
              limits: Sequence[Limit] | None = None) -> Formulation:
    """The linear model of a recipe (weights continuous).

    Parameters
    ----------
    recipe : Recipe
    prefer : str
        One of `PREFERENCES`; ties are broken by "closest", then by listing order.
    guaranteed : {"mean", "food"}, optional
        Hold the targets for every composition within the table's intervals.
    limits : sequence of Limit, optional
        What is to be kept, in place of the recipe's own limits.

    Raises
    ------
    BadInput
        Where a figure that a limit or the preference needs is unknown.
    """
    limits = tuple(limits_of(recipe, guaranteed) if limits is None else limits)
    places = tuple(place for place, i in enumerate(recipe.ingredients) if i.adjustable)
    shape = _Shape(recipe, places, prefer)
    rows: list[Row] = list(shape.definitions())
    row_of: list[int | None] = []
    for limit in limits:
        if limit.kind == "ingredient":
            row_of.append(None)
            continue
        row_of.append(len(rows))
        rows.append(shape.choice_row(limit) if limit.members else shape.limit_row(limit))
    cost, constant = shape.preferred()
    model = LinearModel(shape.variables(), tuple(rows), (*cost, shape.moved(), shape.listed()))
    return Formulation(recipe, limits, prefer, model, places, tuple(row_of), constant, kind_of(guaranteed))


def not_empty(formulation: Formulation) -> tuple[Row, ...]:
    """Rows that leave out the empty dish, which has no ratio, where a ratio is asked for and the bounds allow it."""
    recipe, size = formulation.recipe, len(formulation.model.variables)
    found = []
    for limit in formulation.limits:
        least = [exact(i.minimum or 0.0) if i.adjustable else exact(i.start) for i in recipe.ingredients]
        if limit.hollow(least):
            fixed = [ZERO if i.adjustable else exact(i.start) for i in recipe.ingredients]
            entries = (limit.substance[place] for place in formulation.adjustable)
            coefficients = (*entries, *[ZERO] * (size - len(formulation.adjustable)))
            found.append(Row(NOT_EMPTY, coefficients, MORE, EMPTY - dot(limit.substance, fixed)))
    return tuple(found)


class _Shape:
    """Order of the variables: weights, up, down, [largest move], used (of choices)."""

    def __init__(self, recipe: Recipe, places: tuple[int, ...], prefer: str) -> None:
        self.recipe, self.places, self.prefer = recipe, places, prefer
        self.items = [recipe.ingredients[place] for place in places]
        self.count = len(places)
        self.chosen = sorted({
            place for place in places for choose in recipe.chooses
            if recipe.ingredients[place].label in choose.labels
        })
        self.even = prefer == "even"
        self.size = 3 * self.count + self.even + len(self.chosen)
        self.largest = 3 * self.count
        self.used = {place: 3 * self.count + self.even + k for k, place in enumerate(self.chosen)}

    def vector(self, entries: Mapping[int, Fraction]) -> Vector:
        return tuple(entries.get(place, ZERO) for place in range(self.size))

    def variables(self) -> tuple[Variable, ...]:
        found = []
        for i in self.items:
            low, high = _span(i)
            found.append(Variable(i.label, low, high))
        for i in self.items:
            found.append(Variable(f"{i.label} up", ZERO, max(ZERO, _span(i)[1] - exact(i.start)), open=True))
        for i in self.items:
            found.append(Variable(f"{i.label} down", ZERO, max(ZERO, exact(i.start) - _span(i)[0]), open=True))
        if self.even:
            most = max((relative(i) * _largest_move(i) for i in self.items), default=ZERO)
            found.append(Variable("largest move", ZERO, most, open=True))
        for place in self.chosen:
            i = self.recipe.ingredients[place]
            found.append(Variable(f"{i.label} used", ONE if _span(i)[0] > 0 else ZERO, ONE, step=ONE))
        return tuple(found)

    def definitions(self) -> list[Row]:
        found = []
        for k, i in enumerate(self.items):
            entries = {k: ONE, self.count + k: -ONE, 2 * self.count + k: ONE}
            found.append(Row(f"{i.label} move", self.vector(entries), "==", exact(i.start), definition=True))
            if self.even:
                share = relative(i)
                entries = {self.count + k: -share, 2 * self.count + k: -share, self.largest: ONE}
                found.append(Row(f"{i.label} share", self.vector(entries), ">=", ZERO, definition=True))
        for place, variable in self.used.items():
            k = self.places.index(place)
            most = _span(self.recipe.ingredients[place])[1]
            entries = {k: -ONE, variable: most}
            label = self.recipe.ingredients[place].label
            found.append(Row(f"{label} only if used", self.vector(entries), ">=", ZERO, definition=True))
        return found

    def limit_row(self, limit: Limit) -> Row:
        coefficients, bound = limit.row()
        fixed = self.fixed_sum(coefficients)
        entries = {k: coefficients[place] for k, place in enumerate(self.places)}
        return Row(limit.name, self.vector(entries), limit.sense, bound - fixed)

    def choice_row(self, limit: Limit) -> Row:
        entries = {self.used[place]: ONE for place in limit.members if place in self.used}
        fixed = sum(1 for place in limit.members
                    if place not in self.used and self.recipe.ingredients[place].start > 0)
        return Row(limit.name, self.vector(entries), limit.sense, limit.bound - fixed)

    def fixed_sum(self, coefficients: Vector) -> Fraction:
        weights = [ZERO if i.adjustable else exact(i.start) for i in self.recipe.ingredients]
        return dot(coefficients, weights)

    def moved(self) -> Vector:
        """Grams moved, weighed by how dear each is to the cook."""
        return self.vector({
            shift + k: exact(i.keep) for k, i in enumerate(self.items) for shift in (self.count, 2 * self.count)
        })

    def listed(self) -> Vector:
        """Grams moved, dearer down the list: among equally good answers the first listed moves.

        The weights are square roots of primes. These are linearly independent over the rationals, so two
        answers of rational compositions cannot tie again.
        """
        return self.vector({
            shift + k: root for k, root in enumerate(roots(self.count)) for shift in (self.count, 2 * self.count)
        })

    def preferred(self) -> tuple[tuple[Vector, ...], Fraction]:
        """Cost that goes before "closest", if any, and what the fixed ingredients add to it."""
        if self.prefer == "closest":
            return (), ZERO
        if self.even:
            return (self.vector({self.largest: ONE}),), ZERO
        costs = COSTS[self.prefer](self.recipe)
        entries = {k: costs[place] for k, place in enumerate(self.places)}
        return (self.vector(entries),), self.fixed_sum(costs)


def _span(ingredient: Ingredient) -> tuple[Fraction, Fraction]:
    return exact(ingredient.minimum or 0.0), exact(ingredient.maximum or 0.0)


def _largest_move(ingredient: Ingredient) -> Fraction:
    low, high = _span(ingredient)
    start = exact(ingredient.start)
    return max(abs(high - start), abs(start - low))


def relative(ingredient: Ingredient) -> Fraction:
    """Share that a gram of change is: of the start, or of the maximum where the start is 0."""
    whole = exact(ingredient.start) or exact(ingredient.maximum or 0.0) or ONE
    return exact(ingredient.keep) / whole


def _prices(recipe: Recipe) -> Vector:
    """Price of 1 g as weighed: bought with its refuse, before preparation."""
    faults = [
        Fault(recipe.source, f"ingredients[{place}]", ingredient.label,
              "has no price_per_kg, which --prefer cheapest needs for an adjustable ingredient: the bundled table "
              "has no prices, so give them in a table of your own (--foods)")
        for place, ingredient in enumerate(recipe.ingredients, 1)
        if ingredient.maximum and ingredient.food.price is None  # one that cannot be used costs nothing
    ]
    if faults:
        raise BadInput(faults)
    return tuple(
        exact(i.food.price or 0.0) / 1000 / exact(i.yield_) / (1 - exact(i.food.refuse or 0.0) / 100)
        for i in recipe.ingredients
    )


def _per_serving(column: str) -> Callable[[Recipe], Vector]:
    def costs(recipe: Recipe) -> Vector:
        return tuple((per_gram(i, column, recipe) or ZERO) / recipe.servings for i in recipe.ingredients)

    return costs


COSTS: Mapping[str, Callable[[Recipe], Vector]] = MappingProxyType({
    "cheapest": _prices,
    "lightest": _per_serving(ENERGY),
    "lowest-carb": _per_serving(NET_CARBS),
})
"""Preferences that are a cost per g of each ingredient."""


def roots(count: int) -> Vector:
    """Square roots of the first primes, as the doubles next to them: independent over the rationals."""
    return tuple(Fraction(math.sqrt(prime)) for prime in _primes(count))


def _primes(count: int) -> list[int]:
    found: list[int] = []
    candidate = 2
    while len(found) < count:
        if all(candidate % prime for prime in found if prime * prime <= candidate):
            found.append(candidate)
        candidate += 1
    return found
