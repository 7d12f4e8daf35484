"""The composition matrix of a recipe, and what its weights amount to.

The matrix is what 1 g of each ingredient, as weighed, brings of every nutrient, exactly. A column is made when it is
first asked for and is kept for as long as the recipes have the same foods, yields and policy. Limits, facts per
serving, the finished batch, alcohol, what is left out and all that is said of a dish take their figures from here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TypeVar

from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.content import FREE, Held, content, least_content
from ratio_solver.foods.ends import End, Guaranteed, Kind, kind_of, most
from ratio_solver.foods.heat import as_weighed
from ratio_solver.foods.nutrients import ALCOHOL, CARBS, ENERGY, FAT, FIBRE, NET_CARBS, WATER, WEIGHT
from ratio_solver.foods.quantities import CARBS_ENERGY, RATIO, RATIOS, Quantity, Terms
from ratio_solver.foods.substances import BY_KEY, SUBSTANCES, amounts_of
from ratio_solver.foods.worst import worst_corner
from ratio_solver.recipe.model import Ingredient, Recipe, once, once_of_foods

BY_POLICY = (NET_CARBS, ENERGY)
"""Columns whose figures depend on the policy."""

Known = tuple[Fraction | None, ...]

PerServing = TypeVar("PerServing", Fraction, tuple[str, ...])


def per_gram(ingredient: Ingredient, column: str, recipe: Recipe, end: End = "") -> Fraction | None:
    """Amount of a nutrient in 1 g of an ingredient as weighed, or None where it is unknown.

    That of 1 g before preparation is kept with the food, for each policy that has a say in it.
    """
    if column == WEIGHT:
        return ONE
    kept = ingredient.food.computed
    key = column, end, recipe.policy.key if column in BY_POLICY else None
    if key not in kept:
        amount = content(ingredient.food, column, recipe.policy, end)
        kept[key] = None if amount is None else amount / 100
    amount = kept[key]
    return amount if not amount or ingredient.yield_ == 1 else amount / exact(ingredient.yield_)


def least_per_gram(ingredient: Ingredient, column: str, recipe: Recipe, end: End = "",
                   held: Held = FREE) -> Fraction:
    """The same, and where it is unknown the least that it can be."""
    if column == WEIGHT:
        return ONE
    amount = least_content(ingredient.food, column, recipe.policy, end, held)
    return amount / 100 / exact(ingredient.yield_) if amount else ZERO


@once_of_foods
def _amounts_of(recipe: Recipe, column: str, end: End) -> tuple[Known, Vector]:
    known = tuple(per_gram(item, column, recipe, end) for item in recipe.ingredients)
    return known, tuple(
        least_per_gram(item, column, recipe, end) if amount is None else amount
        for item, amount in zip(recipe.ingredients, known, strict=True))


def known_amounts(recipe: Recipe, column: str, end: End = "") -> Known:
    """Amount of a nutrient in 1 g of each ingredient as weighed; None where it is unknown."""
    return _amounts_of(recipe, column, end)[0]


def least_amounts(recipe: Recipe, column: str, end: End = "") -> Vector:
    """The same, and where it is unknown the least that it can be."""
    return _amounts_of(recipe, column, end)[1]


@once_of_foods
def ratio_vectors(recipe: Recipe) -> tuple[Vector, Vector]:
    """Numerator and denominator of the ratio per g of each ingredient, by the recipe's formula."""
    return _by_formula(recipe, lambda column: least_amounts(recipe, column))


@once
def worst_ratio_vectors(recipe: Recipe, at_least: bool, bound: Fraction, kind: Kind) -> tuple[Vector, Vector]:
    """The same where the composition within its intervals makes a limit on the ratio hardest to keep."""
    corners = [worst_corner(item.food, recipe.policy, at_least, bound, kind) for item in recipe.ingredients]
    return _by_formula(recipe, lambda column: tuple(
        least_per_gram(item, column, recipe, corner.ends.get(column, ""), corner.held)
        for item, corner in zip(recipe.ingredients, corners, strict=True)))


def _by_formula(recipe: Recipe, amounts: Callable[[str], Vector]) -> tuple[Vector, Vector]:
    ratio = RATIOS[recipe.policy.ratio_formula]
    return summed(ratio.above, amounts), summed(ratio.below, amounts)


def summed(terms: Terms, amounts: Callable[[str], Vector]) -> Vector:
    """A sum of nutrients per g of each ingredient, from the amounts of each column."""
    if [*terms.values()] == ["1"]:
        return amounts(*terms)
    coefficients = tuple(map(Fraction, terms.values()))
    return tuple(dot(coefficients, amounts_of_one) for amounts_of_one in zip(*map(amounts, terms), strict=True))


LEADING = (
    ENERGY, FAT, "protein_g", CARBS, FIBRE, "soluble_fibre_g", "insoluble_fibre_g", NET_CARBS,
)
"""Columns that come first, in this order."""

WHOLLY_KNOWN = ("soluble_fibre_g", "insoluble_fibre_g")
"""Columns left out where any figure is unknown: tables rarely have them, and a part of them says nothing."""

NEVER_ABSENT = (CARBS, ENERGY)
"""Columns that have a least amount whatever is unknown."""


@once_of_foods
def known_wholly(recipe: Recipe, column: str) -> tuple[bool, ...]:
    """Of which ingredients an amount is all that there is, and not the least that it can be.

    Energy by factors lacks that of the fibre where a table leaves fibre out of carbohydrate and does not know it; the
    factors of 9/4/4 have none for it.
    """
    known = tuple(amount is not None for amount in known_amounts(recipe, column))
    if column != ENERGY or recipe.policy.energy == "9/4/4":
        return known
    tabled = recipe.policy.energy == "table"
    return tuple(item.food.basis == "by_difference" or FIBRE in item.food.amounts
                 or (tabled and ENERGY in item.food.amounts) for item in recipe.ingredients)


@dataclass(frozen=True)
class Facts:
    """Nutrition of one serving.

    Attributes
    ----------
    ratio : Fraction or None
        By the recipe's formula; None where there is neither protein nor carbohydrate.
    amounts : mapping of str to Fraction
        Nutrient column to amount per serving, in the column's unit; of the ingredients whose figure is
        known (total carbohydrate and energy by factors: at least what a table has that leaves fibre out and does not
        know it). Shares that the recipe's targets limit are among them, by their key.
    unknown : mapping of str to tuple of str
        Nutrient column to the labels of used ingredients whose figure is unknown: there the amount is
        the least it can be.
    weight : Fraction
        Grams of one serving, as weighed.
    cooked : Fraction or None
        Grams of one serving after cooking, where the recipe says what the batch then weighs.
    """

    ratio: Fraction | None
    amounts: Mapping[str, Fraction]
    unknown: Mapping[str, tuple[str, ...]]
    weight: Fraction
    cooked: Fraction | None = None

    @property
    def served(self) -> Fraction:
        """Grams of one serving as it is served: cooked where the recipe says."""
        return self.weight if self.cooked is None else self.cooked

    @property
    def as_floats(self) -> dict[str, float | None]:
        """The ratio, every amount by its column, and the weight of a serving (as weighed, cooked), for use."""
        exactly = {"ratio": self.ratio, **self.amounts, "weight_g": self.weight}
        cooked = {} if self.cooked is None else {"cooked_weight_g": self.cooked}
        return {name: None if value is None else float(value) for name, value in (exactly | cooked).items()}


@dataclass(frozen=True, eq=False)
class WhenAsked(Mapping[str, PerServing]):
    """A mapping whose values are made when they are first asked for; there is none where None is made."""

    figures: Mapping[str, None]
    make: Callable[[str], PerServing | None]

    @cached_property
    def _made(self) -> dict[str, PerServing | None]:
        return {}

    def __getitem__(self, key: str) -> PerServing:
        if key not in self._made:
            self._made[key] = self.make(key) if key in self.figures else None
        value = self._made[key]
        if value is None:
            raise KeyError(key)
        return value

    def __iter__(self) -> Iterator[str]:
        return (key for key in self.figures if key in self)

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def __repr__(self) -> str:
        return repr(dict(self))

    def __reduce__(self) -> tuple[type, tuple[dict[str, PerServing]]]:
        """What is sent to another process is all of it, without the recipe."""
        return dict, (dict(self),)


@once_of_foods
def _columns_of_foods(recipe: Recipe) -> dict[str, None]:
    columns = dict.fromkeys((*LEADING, *(column for item in recipe.ingredients for column in item.food.amounts)))
    columns.pop(WEIGHT, None)
    return columns


@dataclass(frozen=True)
class _Serving:
    """One serving of a recipe at these weights (g for the batch), figure by figure."""

    recipe: Recipe
    weights: Vector

    @cached_property
    def shares(self) -> dict[str, Quantity]:
        """Shares that the targets limit, by their key."""
        return {one.key: one for one in self._limited if one.quotient}

    @cached_property
    def columns(self) -> dict[str, None]:
        """Nutrient columns in their order."""
        limited = (column for one in self._limited for column in one.columns if column not in (WEIGHT, CARBS_ENERGY))
        return _columns_of_foods(self.recipe) | dict.fromkeys(limited)

    @cached_property
    def _limited(self) -> list[Quantity]:
        return [self.recipe.policy.quantity(target.nutrient) for target in self.recipe.targets
                if target.nutrient != RATIO]

    def amount(self, key: str) -> Fraction | None:
        """A figure of `Facts.amounts`; None where nothing of it is known."""
        if key in self.shares:
            above, below = (dot(summed(terms, lambda column: least_amounts(self.recipe, column)), self.weights)
                            for terms in (self.shares[key].above, self.shares[key].below))
            return above / below if below else None
        return dot(least_amounts(self.recipe, key), self.weights) / self.recipe.servings if self._told(key) else None

    def unknown(self, key: str) -> tuple[str, ...] | None:
        """Labels of `Facts.unknown`; None where all that there is of it is known, or nothing."""
        if key in self.shares:
            missing = (label for column in self.shares[key].above for label in self.unknown(column) or ())
            return tuple(dict.fromkeys(missing)) or None if self.amount(key) is not None else None
        return self._missing(key) or None if key in self.columns and self._told(key) else None

    def _told(self, column: str) -> bool:
        return (column in NEVER_ABSENT or any(known_wholly(self.recipe, column))) and not (
            column in WHOLLY_KNOWN and self._missing(column))

    def _missing(self, column: str) -> tuple[str, ...]:
        return tuple(item.label for item, weight, whole in
                     zip(self.recipe.ingredients, self.weights, known_wholly(self.recipe, column), strict=True)
                     if weight and not whole)


def facts_of(recipe: Recipe, weights: Sequence[Fraction]) -> Facts:
    """Facts per serving at these weights (g for the batch, one per ingredient), exact, each when it is asked for."""
    serving, cooked = _Serving(recipe, tuple(weights)), cooked_batch(recipe, weights)
    figures = serving.columns | dict.fromkeys(serving.shares)
    return Facts(ratio_at(recipe, weights), WhenAsked(figures, serving.amount), WhenAsked(figures, serving.unknown),
                 sum(weights, ZERO) / recipe.servings, None if cooked is None else cooked / recipe.servings)


def ratio_at(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction | None:
    """The ratio by the recipe's formula; None where there is nothing below it."""
    above, below = (dot(vector, weights) for vector in ratio_vectors(recipe))
    return above / below if below else None


def cooked_batch(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction | None:
    """Weight of the whole batch after cooking, g; None where the recipe does not say."""
    if recipe.finished_grams is not None:
        return exact(recipe.finished_grams)
    if recipe.cooking_loss is not None:
        return sum(weights, ZERO) * (1 - exact(recipe.cooking_loss))
    return None


def dry_matter(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction:
    """What of the batch cannot boil away, g: all but water and alcohol, or what is known where the water is not."""
    columns = known_amounts(recipe, WATER), least_amounts(recipe, ALCOHOL)
    return sum((
        weight * max(ZERO, (as_weighed(item.food, item.yield_) / 100 if water is None else
                            1 / exact(item.yield_) - water) - alcohol)
        for item, weight, water, alcohol in zip(recipe.ingredients, weights, *columns, strict=True)), ZERO)


def alcohol_per_serving(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None) -> Fraction:
    """Alcohol in one serving as weighed in, g; at the upper end of the intervals at which targets are held."""
    return dot(least_amounts(recipe, ALCOHOL, most(kind_of(guaranteed))), weights) / recipe.servings


def left_out(recipe: Recipe, weights: Sequence[Fraction]) -> dict[str, Fraction]:
    """Carbohydrate that the recipe's policy does not count, beside fibre, by its name: g per serving, what there is.

    Of every food  net carbs = max(0, total carbohydrate - fibre - left out);  what is left out is therefore at most the
    carbohydrate that fibre leaves over, and total - fibre - left out = net holds for the dish as well.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    """
    total = dict.fromkeys((substance.key for substance in SUBSTANCES), ZERO)
    for place, weight in enumerate(weights):
        for key, amount in _left_out_of(recipe, place).items():
            total[key] += amount * weight
    return {BY_KEY[key].name: amount / recipe.servings for key, amount in total.items() if amount}


@once_of_foods
def _left_out_of(recipe: Recipe, place: int) -> dict[str, Fraction]:
    """g left out per g of an ingredient, by the keys of the policy; what exceeds the carbohydrate gives way alike."""
    policy, item = recipe.policy, recipe.ingredients[place]
    out: dict[str, Fraction] = {}
    for key, amount in amounts_of(item.food).items():
        if amount:
            named = policy.named(BY_KEY[key])
            out[named] = out.get(named, ZERO) + amount * policy.shares[key] / 100 / exact(item.yield_)
    if not out:
        return out
    # Where the table leaves fibre out and does not know it, total carbs are unknown and what it has is the room.
    room = max(ZERO, least_amounts(recipe, CARBS)[place] - least_amounts(recipe, FIBRE)[place])
    asked = sum(out.values(), ZERO)
    return out if asked <= room else {key: amount * room / asked for key, amount in out.items()}


def used(recipe: Recipe, weights: Sequence[Fraction]) -> Iterator[tuple[Ingredient, Fraction]]:
    """The ingredients that are in the dish, and their weights, g for the batch."""
    return ((item, grams) for item, grams in zip(recipe.ingredients, weights, strict=True) if grams)
