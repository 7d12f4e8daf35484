"""From a recipe to a linear model, for every question that is asked of it.

    minimise    sum_i keep_i (up_i + down_i)                  ("closest"; others in `COSTS`; nothing for a diagnosis)
    subject to  w_i - up_i + down_i = start_i                 for every adjustable ingredient, where moves are counted
                (numerator - bound * denominator) . w >= bound * constant     for every limit
                min_i <= w_i <= max_i;   up_i, down_i >= 0
                w_i <= max_i used_i;  sum used_i <= at_most;  used_i in {0, 1}        for every choice

Fixed ingredients are constants and go to the right-hand sides. A diagnosis moves or drops limits, the bounds of
ingredients among them: there these are rows as well, and a weight itself only ends where a recipe file does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache, cached_property
from itertools import count as counted_from
from itertools import islice
from types import MappingProxyType

from ratio_solver.dish.constraints import EMPTY, MORE, Limit, limits_of
from ratio_solver.dish.nutrition import known_amounts
from ratio_solver.errors import Fault, collected
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.lp.fractional import Quotient
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.recipe.model import Ingredient, Recipe, once
from ratio_solver.recipe.reader import HEAVIEST

NO_PREFERENCE = ""
"""In place of a preference: any weights that keep the limits do, and moves are not counted."""

OBJECTIVE_UNITS: Mapping[str, str] = MappingProxyType({
    "closest": "g moved",
    "even": "share moved",
    "cheapest": "price of the batch",
    "lightest": "kcal per serving",
    "lowest-carb": "g net carbs per serving",
})
"""Unit of each preference's objective."""

PREFERENCES = tuple(OBJECTIVE_UNITS)

HEAVY = Fraction(HEAVIEST)
"""g; no weight is more."""


@dataclass(frozen=True)
class Formulation:
    """A recipe as a linear model, and the way back.

    The variables are the weights of the adjustable ingredients in listing order; with a preference how far each goes
    up, how far each goes down, and of "even" the largest move; then whether each ingredient of a choice is used.

    Attributes
    ----------
    recipe : Recipe
    limits : tuple of Limit
    prefer : str
        One of `PREFERENCES`, or `NO_PREFERENCE`.
    model : LinearModel
    adjustable : tuple of int
        Places in the recipe of the ingredients whose weights are the first variables.
    used : mapping of int to int
        Place in the recipe of each ingredient that a choice may leave out, to the variable that says if it is used.
    row_of : tuple of int or None, one per limit
        Row of the model that stands for the limit; None for a bound that is the variable's own.
    constant : Fraction
        What the fixed ingredients add to the objective.
    """

    recipe: Recipe
    limits: tuple[Limit, ...]
    prefer: str
    model: LinearModel
    adjustable: tuple[int, ...]
    used: Mapping[int, int]
    row_of: tuple[int | None, ...]
    constant: Fraction

    @cached_property
    def items(self) -> tuple[Ingredient, ...]:
        """The adjustable ingredients."""
        return tuple(self.recipe.ingredients[place] for place in self.adjustable)

    @cached_property
    def fixed(self) -> Vector:
        """Weights of the fixed ingredients, g; 0 for the adjustable ones."""
        return fixed_weights(self.recipe)

    @cached_property
    def ties(self) -> Mapping[int, int]:
        """Each variable that says whether an ingredient is used, to the variable that is its weight."""
        return {variable: self.adjustable.index(place) for place, variable in self.used.items()}

    def padded(self, per_gram: Vector) -> Vector:
        """Amounts per g of each ingredient as coefficients of the model's variables."""
        return _padded_to(per_gram, self.adjustable, len(self.model.variables))

    def quotient(self, limit: Limit) -> Quotient:
        """What a limit holds, over the model's variables."""
        return Quotient(self.padded(limit.numerator), dot(limit.numerator, self.fixed),
                        self.padded(limit.denominator), limit.divisor(self.fixed))

    def weights(self, values: Sequence[Fraction]) -> Vector:
        """Weights of all ingredients, g, from values of the model's variables."""
        found = [exact(start) for start in self.recipe.starts]
        for variable, place in enumerate(self.adjustable):
            found[place] = values[variable]
        return tuple(found)

    def values(self, weights: Sequence[Fraction], settled: LinearModel | None = None) -> Vector:
        """Values of all the model's variables from the weights of the adjustable ingredients alone.

        Moves are recomputed, so that the cost checked is that of the very weights shown. What `settled` has fixed
        stays so; without, an ingredient is used where it weighs anything.
        """
        found = list(weights)
        if self.prefer:
            moves = [weight - exact(i.start) for weight, i in zip(weights, self.items, strict=True)]
            found += [*(max(ZERO, move) for move in moves), *(max(ZERO, -move) for move in moves)]
            if self.prefer == "even":
                shares = (relative(i) * abs(move) for move, i in zip(moves, self.items, strict=True))
                found.append(max(shares, default=ZERO))
        if settled is not None:
            return (*found, *(variable.lower for variable in settled.variables[len(found):]))
        lower = (self.model.variables[variable].lower for variable in self.ties)
        return (*found, *(ONE if weights[weight] > 0 else least
                          for weight, least in zip(self.ties.values(), lower, strict=True)))

    @cached_property
    def hollow(self) -> tuple[int, ...]:
        """Places of the limits that are a ratio which the least weights that the bounds allow do not have."""
        least = self.weights([variable.lower for variable in self.model.variables])
        return tuple(place for place, limit in enumerate(self.limits) if limit.hollow(least))

    def not_empty(self) -> tuple[Row, ...]:
        """Rows that leave out the empty dish, which has no ratio, where one is asked for and the bounds allow it."""
        return tuple(Row("a dish that is not empty", self.padded(limit.substance), MORE,
                         EMPTY - dot(limit.substance, self.fixed))
                     for limit in map(self.limits.__getitem__, self.hollow))

    def limits_behind(self, rows: frozenset[int]) -> frozenset[int]:
        """Places of the limits without which some rows would be others: their own, and those that these follow from.

        Of a model without a preference, whose rows are those of the limits, of what is chosen, and `not_empty`.
        """
        chosen = len(self.limits)
        ties = {place for row, place in enumerate(self.used, chosen) if row in rows}
        beyond = self.hollow if any(row >= chosen + len(self.used) for row in rows) else ()
        return frozenset(place for place, limit in enumerate(self.limits) if place in rows or place in beyond or (
            limit.kind == "ingredient" and limit.sense != MORE and limit.subject.place in ties))


def formulate(recipe: Recipe, prefer: str = "closest", *, guaranteed: Guaranteed = None,
              limits: Sequence[Limit] | None = None, bounded: bool = True, most: Fraction = HEAVY,
              loose: frozenset[int] = frozenset()) -> Formulation:
    """The linear model of a recipe (weights continuous).

    Parameters
    ----------
    recipe : Recipe
    prefer : str
        One of `PREFERENCES`; ties are broken by "closest", then by listing order. Or `NO_PREFERENCE`.
    guaranteed : {"mean", "food"}, optional
        Hold the targets for every composition within the table's intervals.
    limits : sequence of Limit, optional
        What is to be kept, in place of the recipe's own limits.
    bounded : bool
        Whether each weight ends at its own minimum and maximum, which then are no rows; else they are rows like any
        other limit, so that each can be left out or moved.
    most : Fraction
        What a chosen ingredient can weigh at most where no limit says so, g.
    loose : frozenset of int
        Places of limits that may be moved: a maximum among them says nothing of what a chosen ingredient can weigh.

    Raises
    ------
    BadInput
        Where a figure that a limit or the preference needs is unknown.
    """
    limits = tuple(limits_of(recipe, guaranteed) if limits is None else limits)
    shape = _Shape(recipe, limits, prefer, bounded)
    ends = {limit.subject.place: limit.bound for place, limit in enumerate(limits)
            if limit.kind == "ingredient" and limit.sense != MORE and place not in loose}
    links = [shape.only_if_used(place, ends.get(place, most)) for place in shape.used]
    rows = [*shape.moves(), *links] if prefer else []
    row_of: list[int | None] = []
    for limit in limits:
        is_bound = bounded and limit.kind == "ingredient"
        row_of.append(None if is_bound else len(rows))
        if not is_bound:
            rows.append(shape.limit_row(limit))
    costs, constant = shape.costs()
    found = Formulation(recipe, limits, prefer, LinearModel(shape.variables(), tuple(rows), costs), shape.adjustable,
                        shape.used, tuple(row_of), constant)
    if prefer:
        return found
    return replace(found, model=replace(found.model, rows=(*rows, *links, *found.not_empty())))


def fixed_weights(recipe: Recipe) -> Vector:
    """Weights of the fixed ingredients, g; 0 for the adjustable ones."""
    return tuple(ZERO if i.adjustable else exact(i.start) for i in recipe.ingredients)


def chooses(limit: Limit) -> bool:
    """Whether a limit is a choice that leaves out anything."""
    return bool(limit.members) and limit.bound < len(limit.members)


@once
def _rows_of_limits(recipe: Recipe, size: int) -> dict[int, tuple[Limit, Row]]:
    """Rows over so many variables that were made, by the identity of their limit, which is kept beside."""
    return {}


def _padded_to(per_gram: Vector, places: Sequence[int], size: int) -> Vector:
    return (*(per_gram[place] for place in places), *[ZERO] * (size - len(places)))


class _Shape:
    """Where the variables stand: weights, [up, down, [largest move]], used (of choices)."""

    def __init__(self, recipe: Recipe, limits: Sequence[Limit], prefer: str, bounded: bool) -> None:
        self.recipe, self.prefer, self.bounded = recipe, prefer, bounded
        self.adjustable = tuple(place for place, i in enumerate(recipe.ingredients) if i.adjustable)
        self.items = [recipe.ingredients[place] for place in self.adjustable]
        self.fixed = fixed_weights(recipe)
        self.count = len(self.adjustable)
        self.largest = 3 * self.count
        first = (self.largest + (prefer == "even")) if prefer else self.count
        chosen = {place for limit in limits if chooses(limit) for place in limit.members} & set(self.adjustable)
        self.used = {place: first + k for k, place in enumerate(sorted(chosen))}
        self.size = first + len(self.used)

    def vector(self, entries: Mapping[int, Fraction]) -> Vector:
        found = [ZERO] * self.size
        for place, value in entries.items():
            found[place] = value
        return tuple(found)

    def variables(self) -> tuple[Variable, ...]:
        spans = [_span(i) if self.bounded else (ZERO, HEAVY) for i in self.items]
        pairs = list(zip(self.items, spans, strict=True))
        found = [Variable(i.label, low, high) for i, (low, high) in pairs]
        if self.prefer:
            found += [Variable(f"{i.label} up", ZERO, max(ZERO, high - exact(i.start)), open=True)
                      for i, (_, high) in pairs]
            found += [Variable(f"{i.label} down", ZERO, max(ZERO, exact(i.start) - low), open=True)
                      for i, (low, _) in pairs]
        if self.prefer == "even":
            most = max((relative(i) * max(abs(high - exact(i.start)), abs(exact(i.start) - low))
                        for i, (low, high) in pairs), default=ZERO)
            found.append(Variable("largest move", ZERO, most, open=True))
        for place in self.used:
            low, _ = spans[self.adjustable.index(place)]
            label = self.recipe.ingredients[place].label
            found.append(Variable(f"{label} used", ONE if low > 0 else ZERO, ONE, step=ONE))
        return tuple(found)

    def moves(self) -> list[Row]:
        """What each ingredient moves, and of "even" that no relative move is above the largest."""
        found = []
        for k, i in enumerate(self.items):
            up, down = self.count + k, 2 * self.count + k
            found.append(Row.of(f"{i.label} move", {k: ONE, up: -ONE, down: ONE}, self.size, "==", exact(i.start)))
            if self.prefer == "even":
                share = relative(i)
                found.append(Row.of(f"{i.label} share", {up: -share, down: -share, self.largest: ONE}, self.size, MORE,
                                    ZERO))
        return found

    def limit_row(self, limit: Limit) -> Row:
        """A choice that allows all that it names says nothing, so that it never stands for the bounds it repeats."""
        if not limit.members:
            known = _rows_of_limits(self.recipe, self.size)
            if id(limit) not in known:
                coefficients, bound = limit.row()
                entries = {variable: a for variable, place in enumerate(self.adjustable) if (a := coefficients[place])}
                known[id(limit)] = limit, Row.of(limit.name, entries, self.size, limit.sense,
                                                 bound - dot(coefficients, self.fixed))
            return known[id(limit)][1]
        entries = {self.used[place]: ONE for place in limit.members if place in self.used and chooses(limit)}
        taken = sum(1 for place in limit.members if self.fixed[place] > 0)
        return Row(limit.name, self.vector(entries), limit.sense, limit.bound - taken)

    def only_if_used(self, place: int, most: Fraction) -> Row:
        entries = {self.adjustable.index(place): -ONE, self.used[place]: most}
        return Row.of(f"{self.recipe.ingredients[place].label} only if used", entries, self.size, MORE, ZERO)

    def costs(self) -> tuple[tuple[Vector, ...], Fraction]:
        """The costs one after the other, and what the fixed ingredients add to the first."""
        if not self.prefer:
            return ((ZERO,) * self.size,), ZERO
        closest = (self._of_moves([exact(i.keep) for i in self.items]), self._of_moves(roots(self.count)))
        if self.prefer == "closest":
            return closest, ZERO
        if self.prefer == "even":
            return (self.vector({self.largest: ONE}), *closest), ZERO
        costs = COSTS[self.prefer](self.recipe)
        return (_padded_to(costs, self.adjustable, self.size), *closest), dot(costs, self.fixed)

    def _of_moves(self, weights: Sequence[Fraction]) -> Vector:
        """Grams moved, each weighed: by how dear it is to the cook, or by `roots` down the list."""
        return self.vector({shift + k: weight for k, weight in enumerate(weights)
                            for shift in (self.count, 2 * self.count)})


def _span(ingredient: Ingredient) -> tuple[Fraction, Fraction]:
    return exact(ingredient.minimum or 0.0), exact(ingredient.maximum or 0.0)


def relative(ingredient: Ingredient) -> Fraction:
    """Share that a gram of change is: of the start, or of the maximum where the start is 0."""
    whole = exact(ingredient.start) or exact(ingredient.maximum or 0.0) or ONE
    return exact(ingredient.keep) / whole


def _price_per_gram(recipe: Recipe) -> Vector:
    """Price of 1 g as weighed: bought with its refuse, before preparation."""
    collected([
        Fault(recipe.source, f"ingredients[{place}]", ingredient.label,
              "has no price_per_kg, which --prefer cheapest needs for an adjustable ingredient: the bundled table "
              "has no prices, so give them in a table of your own (--foods)")
        for place, ingredient in enumerate(recipe.ingredients, 1)
        if ingredient.maximum and ingredient.food.price is None  # one that cannot be used costs nothing
    ])
    return tuple(
        exact(i.food.price or 0.0) / 1000 / exact(i.yield_) / (1 - exact(i.food.refuse or 0.0) / 100)
        for i in recipe.ingredients
    )


def _per_serving(column: str) -> Callable[[Recipe], Vector]:
    def costs(recipe: Recipe) -> Vector:
        return tuple((amount or ZERO) / recipe.servings for amount in known_amounts(recipe, column))

    return costs


COSTS: Mapping[str, Callable[[Recipe], Vector]] = MappingProxyType({
    "cheapest": _price_per_gram,
    "lightest": _per_serving(ENERGY),
    "lowest-carb": _per_serving(NET_CARBS),
})
"""Preferences that are a cost per g of each ingredient."""


@cache
def roots(count: int) -> Vector:
    """Square roots of the first primes, as the doubles next to them: weighed so, what is listed first moves first.

    The roots are linearly independent over the rationals, so that two answers which move other grams would never tie.
    The doubles are rationals themselves: there a tie takes a coincidence of their last digits, and the simplex
    method ends at one of the two.
    """
    primes = (number for number in counted_from(2) if all(number % k for k in range(2, math.isqrt(number) + 1)))
    return tuple(Fraction(math.sqrt(prime)) for prime in islice(primes, count))
