"""What a dish at given weights holds by a label's reckoning: each figure of the batch as an interval.

A figure that the table does not have for an ingredient is bounded by what it can be (`foods.unknown`), and the sum over
the batch lies between the sum of the least and the sum of the most: exact, as every weight is 0 or more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from ratio_solver.dish.nutrition import cooked_batch
from ratio_solver.exact import HUNDRED, ZERO, exact
from ratio_solver.foods.label_rules import POLYOLS_LINE, label_between
from ratio_solver.recipe.model import Ingredient, Recipe


@dataclass(frozen=True)
class Held:
    """What a dish can hold of something, in the unit of its column.

    Attributes
    ----------
    low : Fraction
    high : Fraction or None
        None where an ingredient's figure is unknown and nothing bounds it.
    unknown : mapping of str to str
        Labels of the ingredients whose figure is unknown, and what bounds it; empty where nothing does.
    """

    low: Fraction
    high: Fraction | None
    unknown: Mapping[str, str] = field(default_factory=dict)

    def times(self, share: Fraction) -> Held:
        """The same in a share of it."""
        return Held(self.low * share, None if self.high is None else self.high * share, self.unknown)


def used(recipe: Recipe, weights: Sequence[Fraction]) -> Iterator[tuple[Ingredient, Fraction]]:
    """The ingredients that are in the dish, and their weights, g for the batch."""
    return ((item, grams) for item, grams in zip(recipe.ingredients, weights, strict=True) if grams)


def held_in_batch(recipe: Recipe, weights: Sequence[Fraction], column: str) -> Held:
    """What the batch can hold of a label's figure.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    column : str
        As `label_between` takes it.
    """
    low, high, unknown = ZERO, ZERO, dict[str, str]()
    bounded = True
    for item, grams in used(recipe, weights):
        found, per_gram = label_between(item.food, column), grams / exact(item.yield_) / 100
        low += found.low * per_gram
        if found.high is None:
            bounded = False
        else:
            high += found.high * per_gram
        if not found.known:
            unknown[item.label] = found.because
    return Held(low, high if bounded else None, unknown)


def finished_batch(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction:
    """Weight of the batch as it is served, g: after cooking where the recipe tells it, else all that goes in."""
    cooked = cooked_batch(recipe, weights)
    return sum(weights, ZERO) if cooked is None else cooked


def in_100_g(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction | None:
    """What share of the batch 100 g of the finished dish are; None of an empty one."""
    finished = finished_batch(recipe, weights)
    return HUNDRED / finished if finished else None


def polyols_in_batch(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction:
    """Polyols of the whole batch, g."""
    return held_in_batch(recipe, weights, POLYOLS_LINE).low


def by_weight(recipe: Recipe, weights: Sequence[Fraction]) -> list[tuple[Ingredient, Fraction]]:
    """The ingredients in descending order of weight at mixing; of equal ones the first of the recipe first."""
    return sorted(used(recipe, weights), key=lambda pair: -pair[1])
