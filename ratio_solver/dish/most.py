"""What a person may eat: the most of a food, and of a substance, that one serving may hold.

A food's own most stands in the composition table (`Food.most`), a substance's in `ratio_solver.foods.levels`. One
serving may hold what an adult may have in a day: whoever eats more of it on that day goes beyond. Each is a quotient
like any other limit of a recipe (`dish.constraints.Limit`, g of the food or an amount per serving), but it warns and
says what may be offered; it never moves a weight.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.dish.constraints import LESS, Limit, zeros
from ratio_solver.exact import ZERO, Vector, cut_down, exact
from ratio_solver.foods.ends import End, Guaranteed, kind_of, most
from ratio_solver.foods.food import Food
from ratio_solver.foods.levels import LEVELS, Level
from ratio_solver.foods.policy import Policy
from ratio_solver.recipe.change import with_added
from ratio_solver.recipe.model import Recipe, once, once_of_foods

NOISE_DECIMALS = 6
"""Decimals beyond which an amount is a solver's noise."""

ALMOST = 1 - 1e-6
"""From this share of the most on, the exact sum says whether it is passed."""

KEEPS, BREAKS, BEYOND = "keeps every limit", "breaks a limit", "more than a person may eat"
"""How a food fares that is tried in a dish, in words of the reports."""


@dataclass(frozen=True)
class Most:
    """The most of a food or of a substance in one serving.

    Attributes
    ----------
    limit : Limit
        Its `kind` is "food" or "substance".
    because : str
        Why, with the source; may be empty where a user's table gives no reason.
    food : Food or None
        The food of the first kind.
    level : Level or None
        The upper level of the second.
    unknown : tuple of int
        Places of the ingredients whose figure is unknown: they count as none.
    """

    limit: Limit
    because: str
    food: Food | None = None
    level: Level | None = None
    unknown: tuple[int, ...] = ()

    def passed(self, weights: Sequence[Fraction]) -> bool:
        """Whether one serving holds more, at these weights (g for the batch)."""
        return round(self.actual(weights), NOISE_DECIMALS) > self.limit.bound

    def actual(self, weights: Sequence[Fraction]) -> Fraction:
        """What one serving holds, in the limit's unit."""
        return self.limit.actual(weights) or ZERO

    def holders(self, weights: Sequence[Fraction]) -> list[int]:
        """Places of the ingredients that bring something of it."""
        return [place for place, weight in enumerate(weights) if weight and self.limit.numerator[place]]

    def told(self, recipe: Recipe, weights: Sequence[Fraction]) -> str:
        """What one serving holds, where it is beyond the most that it may, and why that is the most."""
        name, how = self.limit.name, ": "
        if self.food:
            labels = dict.fromkeys(recipe.ingredients[place].label for place in self.holders(weights))
            name, how = " and ".join(labels), " because of "
        unit, held = self.limit.unit, self.held(any(weights[place] for place in self.unknown), weights)
        why = how + self.because if self.because else ""
        most = f"{float(self.limit.bound):,.12g} {unit}"
        return f"one serving holds {held} {unit} of {name}, where {most} is the most{why}"

    def held(self, unsure: bool, weights: Sequence[Fraction]) -> str:
        """What one serving holds, rounded up; at least so much, rounded down, where something of it is unknown."""
        decimals, value = self.level.decimals if self.level else 1, round(self.actual(weights), NOISE_DECIMALS)
        if not unsure:
            return with_commas(Fraction(math.ceil(value * 10**decimals), 10**decimals), decimals)
        for places in range(decimals, NOISE_DECIMALS + 1):
            least = cut_down(value, places)
            if least > self.limit.bound:
                break
        return f"at least {with_commas(least, places)}"


@once
def most_of(recipe: Recipe, *, guaranteed: Guaranteed = None) -> tuple[Most, ...]:
    """The most of every food and substance that a serving of a recipe may hold, foods first in listing order.

    Parameters
    ----------
    recipe : Recipe
    guaranteed : {"mean", "food"}, optional
        Reckon substances at the high end of the table's intervals.
    """
    foods = {item.food.id.lower(): item.food for item in recipe.ingredients if item.food.most is not None}
    held = _substances_of(recipe, most(kind_of(guaranteed)))
    return (*(_most_of_food(recipe, food) for food in foods.values()),
            *(_most_of_substance(recipe, level, *amounts) for level, amounts in held.items()))


def _most_of_food(recipe: Recipe, food: Food) -> Most:
    """A food is counted as it is before preparation, wherever it stands in the recipe."""
    amounts = tuple(1 / exact(item.yield_) if item.food.id.lower() == food.id.lower() else ZERO
                    for item in recipe.ingredients)
    limit = Limit(food.name, "food", LESS, exact(food.most or 0.0), "g", amounts, zeros(recipe),
                  Fraction(recipe.servings))
    return Most(limit, food.most_because, food=food)


@once_of_foods
def _substances_of(recipe: Recipe, end: End) -> dict[Level, tuple[Vector, tuple[int, ...]]]:
    """Of each substance that a recipe has some of: what 1 g of each ingredient holds, and where that is unknown."""
    found = {}
    for level in LEVELS:
        held = [_held_per_gram(item.food, level, recipe.policy, end) for item in recipe.ingredients]
        if any(held):
            found[level] = (
                tuple((amount if item.yield_ == 1 else amount / exact(item.yield_)) if amount else ZERO
                      for amount, item in zip(held, recipe.ingredients, strict=True)),
                tuple(place for place, amount in enumerate(held) if amount is None))
    return found


def _most_of_substance(recipe: Recipe, level: Level, amounts: Vector, unknown: tuple[int, ...]) -> Most:
    limit = Limit(level.name, "substance", LESS, level.most, level.unit, amounts, zeros(recipe),
                  Fraction(recipe.servings))
    return Most(limit, level.because, level=level, unknown=unknown)


def _held_per_gram(food: Food, level: Level, policy: Policy, end: End) -> Fraction | None:
    """What 1 g of a food holds before preparation, kept with the food: no policy has a say in these substances."""
    key = level.name, end, "level"
    if key not in food.computed:
        amount = level.held(food, policy, end)
        food.computed[key] = None if amount is None else amount / 100
    return food.computed[key]


def most_warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None) -> tuple[str, ...]:
    """What one serving holds beyond the most of it; and what to know of a food wherever it is eaten."""
    known = dict.fromkeys(
        f"{item.label}: {item.food.most_because}" for item, weight in zip(recipe.ingredients, weights, strict=True)
        if weight and item.food.most is None and item.food.most_because)
    passed = [one for one in most_of(recipe, guaranteed=guaranteed) if one.passed(weights)]
    return (*(one.told(recipe, weights) for one in passed if not _told_already(one, passed, recipe, weights)), *known)


def _told_already(one: Most, passed: Sequence[Most], recipe: Recipe, weights: Sequence[Fraction]) -> bool:
    """Whether a substance is that of one food alone, which is told of for the same reason.

    And whose own most keeps the substance within its level.
    """
    if one.level is None:
        return False
    holders = {recipe.ingredients[place].food.id.lower() for place in one.holders(weights)}
    densest = max(amount * exact(item.yield_) for amount, item in
                  zip(one.limit.numerator, recipe.ingredients, strict=True))
    return any(
        other.food is not None and holders == {other.food.id.lower()}
        and densest * other.limit.bound <= one.limit.bound
        and other.because.startswith(f"{one.level.reason}:") for other in passed)


def with_commas(value: Fraction, decimals: int) -> str:
    """An amount with its thousands parted, whole where it is.

    >>> with_commas(Fraction(23411), 0), with_commas(Fraction(2, 5), 1), with_commas(Fraction(30), 1)
    ('23,411', '0.4', '30')
    """
    return f"{float(value):,.{decimals}f}".removesuffix("." + "0" * decimals)


def beyond_with(recipe: Recipe, foods: Sequence[Food], weights: Vector, grams: Vector,
                guaranteed: Guaranteed) -> tuple[str, ...]:
    """What a serving would hold beyond the most that a person may eat, where foods are added to a recipe.

    Of a food that is added, with what the dish has of it already; of a substance, where the dish without has not too
    much of it by itself.

    Parameters
    ----------
    recipe : Recipe
    foods : sequence of Food
    weights, grams : tuple of Fraction
        Of the recipe's ingredients, and of the foods, g for the batch.
    guaranteed : {"mean", "food"}, optional
        Reckon substances at the high end of the table's intervals.
    """
    grown = with_added(recipe, foods)
    before, after = (*weights, *[ZERO] * len(foods)), (*weights, *grams)
    return tuple(most.told(grown, after) for most in most_of_added(grown, len(foods), guaranteed)
                 if most.passed(after) and (most.food or not most.passed(before)))


def most_of_added(grown: Recipe, added: int, guaranteed: Guaranteed) -> list[Most]:
    """The most of each food and substance that the last ingredients of a recipe, which are added, bring some of."""
    return [most for most in most_of(grown, guaranteed=guaranteed) if any(most.limit.numerator[-added:])]
