"""Which figures of a dish have no interval, and what may then be said of the targets that are kept.

The word *guaranteed* is for a dish whose every figure that a target counts lies in an interval. Where any is taken as
exact, the targets are kept for every figure that has one, and no more is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.exact import exact
from ratio_solver.foods.content import BESIDE_CARBS, derived_carbs
from ratio_solver.foods.ends import Guaranteed, Kind, kind_of, least, most
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, spoken
from ratio_solver.foods.policy import RATIO_TERMS
from ratio_solver.recipe.model import RATIO, Ingredient

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food
    from ratio_solver.recipe.model import Recipe

WHOSE = {"mean": "the table's means", "food": "single foods"}
"""Whose intervals those of a kind are."""

OUT_OF_CARBS = ("polyols_g", "erythritol_g", "allulose_g")


def guaranteed_for(recipe: Recipe, weights: Sequence[Fraction], guaranteed: Guaranteed) -> Kind | None:
    """The kind of intervals for which the targets are guaranteed at these weights; None where any figure is exact."""
    kind = kind_of(guaranteed)
    return None if kind is None or taken_as_exact(recipe, weights, kind) else kind


def most_weights(recipe: Recipe) -> tuple[Fraction, ...]:
    """The most of each ingredient, g: of what there may be in a dish whose weights are not settled."""
    return tuple(exact(item.start if item.maximum is None else item.maximum) for item in recipe.ingredients)


def kept_for(guaranteed: Guaranteed, sure: Kind | None) -> str:
    """For what the targets are kept, after "kept"; nothing where they are not held at the ends of intervals.

    >>> kept_for("mean", None), kept_for("food", "food")
    (' for every figure that has an interval', ' for every composition within the intervals of single foods')
    """
    if not guaranteed:
        return ""
    return f" for every composition within the intervals of {WHOSE[sure]}" if sure else \
        " for every figure that has an interval"


def taken_as_exact(recipe: Recipe, weights: Sequence[Fraction], kind: Kind) -> tuple[str, ...]:
    """The ingredients that are used and have figures without an interval that the targets count, with these.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    kind : {"mean", "food"}
    """
    pairs = zip(recipe.ingredients, weights, strict=True)
    return tuple(said for item, weight in pairs if weight and (said := _exact_figures(recipe, item, kind)))


def interval_notes(recipe: Recipe, weights: Sequence[Fraction], guaranteed: Guaranteed,
                   added: Sequence[Food] = ()) -> tuple[str, ...]:
    """What is said of targets that are held at the ends of the intervals; nothing where they are not.

    `added` are foods that are tried beside the ingredients, of which none is named.
    """
    kind = kind_of(guaranteed)
    if kind is None:
        return ()
    points = list(taken_as_exact(recipe, weights, kind))
    if any(_exact_figures(recipe, Ingredient(food.name, food, 1.0), kind) for food in added):
        points.append("what is added, where it has none")
    held = f"targets are held at the ends of the intervals of {WHOSE[kind]}"
    if not points:
        return (f"{held}: what is kept is guaranteed within them",)
    return (f"{held}: kept for every figure that has an interval, taken as exact: {', '.join(points)}",)


def _exact_figures(recipe: Recipe, item: Ingredient, kind: Kind) -> str:
    """An ingredient and which of its figures that the targets use have no interval; empty where all have one.

    A figure of none needs no interval. What is not known is told of as such.
    """
    terms = RATIO_TERMS[recipe.policy.ratio_formula]
    nutrients = dict.fromkeys(
        column for target in recipe.targets
        for column in ((*terms[0], *terms[1]) if target.nutrient == RATIO else (target.nutrient,)))
    figures = dict.fromkeys(figure for column in nutrients for figure in figures_of(item.food, column, kind))
    wide = {column for column in figures if _width(item.food, column, kind)}
    points = [column for column in figures if column not in wide and item.food.amounts.get(column)]
    if not points:
        return ""
    return f"{item.label} ({', '.join(map(_named, points))})" if wide else item.label


def _named(column: str) -> str:
    return "carbs" if column == "carbs_g" else spoken(column)


def _width(food: Food, column: str, kind: Kind) -> Fraction:
    low, high = food.at(column, least(kind)), food.at(column, most(kind))
    return Fraction(0) if low is None or high is None else high - low


def figures_of(food: Food, column: str, kind: Kind) -> Iterator[str]:
    """The figures of the table that a nutrient of a food is reckoned from."""
    if column == ENERGY and not food.has_end(ENERGY, most(kind)):
        yield from ("fat_g", "protein_g", "alcohol_g")
        yield from figures_of(food, NET_CARBS, kind)
    elif column == NET_CARBS:
        yield from _carbs(food, kind)
        yield from (("fibre_g",) if food.basis == "by_difference" else ())
        yield from OUT_OF_CARBS
    elif column == "carbs_g":
        yield from _carbs(food, kind)
        yield from (() if food.basis == "by_difference" else ("fibre_g",))
    else:
        yield column


def _carbs(food: Food, kind: Kind) -> Iterator[str]:
    """The table's carbohydrate, or what it is the difference of where any of that has an interval."""
    if derived_carbs(food, least(kind)) and any(_width(food, column, kind) for column in BESIDE_CARBS):
        yield from BESIDE_CARBS
        # With water or ash unknown the difference is not known to move with them.
        yield from (("carbs_g",) if any(column not in food.amounts for column in ("water_g", "ash_g")) else ())
    else:
        yield "carbs_g"
