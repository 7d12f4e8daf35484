"""Everything an answer must respect, as exact rows over the weights.

One place turns names into numbers. Every limit is a quotient that is linear in numerator and denominator,

    (numerator . w) / (denominator . w + constant)   >=  or  <=   bound,

with w the weights of all ingredients in g for the batch: a nutrient per serving has the servings as
constant; the weight of a part has 1; the ratio and a proportion have a denominator. As the denominator is
never negative, the limit is the linear row ``(numerator - bound * denominator) . w >= bound * constant``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.dish.composition import (
    known_amounts,
    least_amounts,
    ratio_vectors,
    worst_ratio_vectors,
)
from ratio_solver.errors import Fault, collected
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed, Kind, kind_of, least, most
from ratio_solver.foods.nutrients import CARBS, FIBRE, NET_CARBS, PROTEIN, spoken, unit_of
from ratio_solver.foods.policy import RATIO_TERMS
from ratio_solver.foods.unknown import Between, between
from ratio_solver.recipe.model import RATIO, Recipe, members_of, once

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food

MORE, LESS = ">=", "<="

EMPTY = Fraction(1, 1000)
"""Grams of what a ratio is made of, above and below together, in the batch; a dish with less is an empty one."""


@dataclass(frozen=True)
class Subject:
    """What a limit is about: a nutrient by its column, everything else by its place, never by a name.

    Attributes
    ----------
    nutrient : str
        Of a target: the column, or "ratio".
    place : int
        Of an ingredient, a part, a proportion or a choice: where it stands in the recipe's list of them.
    words : str
        What it is called, for print: "butter", "topping", "oil, lard". Two subjects are the same whatever it says.
    """

    nutrient: str = ""
    place: int = -1
    words: str = field(default="", compare=False)


Identity = tuple[str, Subject, str]
"""Kind, subject and sense of a limit."""


@dataclass(frozen=True)
class Limit:
    """One limit.

    Attributes
    ----------
    name : str
        "ratio", "net carbs", "butter max", "topping weight", ... for print: what a limit is about is its subject.
    kind : {"target", "part", "proportion", "choose", "ingredient"}
    sense : {">=", "<="}
    bound : Fraction
        As the cook wrote it, in `unit`.
    unit : str
        "g", "mg", "kcal", ":1" (ratio), "share", or "used" (of a choice).
    numerator, denominator : tuple of Fraction, one per ingredient
        Per g of weight.
    constant : Fraction
        Added to the denominator.
    members : tuple of int
        Of a choice: places of the ingredients it chooses from; the numerator then is 1 for each.
    subject : Subject
    """

    name: str
    kind: str
    sense: str
    bound: Fraction
    unit: str
    numerator: Vector
    denominator: Vector
    constant: Fraction
    members: tuple[int, ...] = ()
    subject: Subject = Subject()

    @property
    def identity(self) -> Identity:
        """Kind, subject and sense: together unique in a recipe, whatever its bound is."""
        return self.kind, self.subject, self.sense

    @property
    def nutrient(self) -> str:
        """Of a target the column that it limits, or "ratio"; else nothing."""
        return self.subject.nutrient

    @property
    def least_ratio(self) -> bool:
        """Whether this is a minimum of the ratio."""
        return self.nutrient == RATIO and self.sense == MORE

    def divisor(self, weights: Sequence[Fraction]) -> Fraction:
        """The denominator at these weights."""
        return dot(self.denominator, weights) + self.constant

    def actual(self, weights: Sequence[Fraction]) -> Fraction | None:
        """What the weights make of it, in `unit`; None where the denominator is zero."""
        if self.members:
            return Fraction(sum(1 for place in self.members if weights[place] > 0))
        below = self.divisor(weights)
        return dot(self.numerator, weights) / below if below else None

    def slack(self, actual: Fraction) -> Fraction:
        """How far an actual value is from binding, in `unit`; >= 0 when the limit is kept."""
        return actual - self.bound if self.sense == MORE else self.bound - actual

    @property
    def substance(self) -> Vector:
        """Of a ratio: what it is made of, above and below together, per g of each ingredient."""
        return tuple(above + below for above, below in zip(self.numerator, self.denominator, strict=True))

    def hollow(self, weights: Sequence[Fraction]) -> bool:
        """Whether this is a ratio, and the weights those of an empty dish: of nothing to nothing there is none."""
        return self.unit == ":1" and dot(self.numerator, weights) + dot(self.denominator, weights) < EMPTY

    def margin(self, weights: Sequence[Fraction]) -> Fraction:
        """What the linear row leaves over, >= 0 when kept; defined for every weight. An empty dish keeps no ratio."""
        if self.members:
            return self.slack(self.actual(weights) or ZERO)
        if self.hollow(weights):
            return dot(self.substance, weights) - EMPTY
        over = dot(self.numerator, weights) - self.bound * self.divisor(weights)
        return over if self.sense == MORE else -over

    def row(self) -> tuple[Vector, Fraction]:
        """Coefficients and right-hand side of the linear row, in the limit's own sense."""
        if not any(self.denominator):
            return self.numerator, self.bound * self.constant
        pairs = zip(self.numerator, self.denominator, strict=True)
        return tuple(above - self.bound * below for above, below in pairs), self.bound * self.constant


def prescribed(limit: Limit) -> bool:
    """Whether a limit is one that a physician or dietitian sets: the ratio, the net carbs, a least protein."""
    return limit.nutrient in (RATIO, NET_CARBS) or (limit.nutrient == PROTEIN and limit.sense == MORE)


@once
def limits_of(recipe: Recipe, guaranteed: Guaranteed = None) -> tuple[Limit, ...]:
    """All limits of a recipe: targets, parts, proportions, choices, then the ingredients' bounds.

    Parameters
    ----------
    recipe : Recipe
    guaranteed : {"mean", "food"}, optional
        Hold every target at the safe-side ends of these intervals (fat at its low, protein and net carbs at their
        high for a least ratio), so that it is kept by every composition within them.

    Raises
    ------
    BadInput
        Where a maximum is set on a nutrient that is unknown for an ingredient.
    """
    kind, faults = kind_of(guaranteed), list[Fault]()
    limits = (
        *(_target_limit(recipe, target.nutrient, sense, bound, kind, faults)
          for target in recipe.targets for sense, bound in _bounds_of(target.minimum, target.maximum)),
        *_part_limits(recipe),
        *_proportion_limits(recipe),
        *_choice_limits(recipe),
        *_ingredient_limits(recipe),
    )
    collected(faults)
    return limits


def _bounds_of(low: float | None, high: float | None) -> list[tuple[str, Fraction]]:
    return [(sense, exact(end)) for sense, end in ((MORE, low), (LESS, high)) if end is not None]


def _target_limit(recipe: Recipe, nutrient: str, sense: str, bound: Fraction, kind: Kind | None,
                  faults: list[Fault]) -> Limit:
    if nutrient != RATIO:
        return Limit(spoken(nutrient), "target", sense, bound, unit_of(nutrient) or "g",
                     _target_amounts(recipe, nutrient, sense, kind, faults), zeros(recipe), Fraction(recipe.servings),
                     subject=Subject(nutrient, words=spoken(nutrient)))
    if sense == MORE:
        faults.extend(_unsure_ratio(recipe))
    above, below = ratio_vectors(recipe) if kind is None else worst_ratio_vectors(recipe, sense == MORE, bound, kind)
    return Limit(RATIO, "target", sense, bound, ":1", above, below, ZERO, subject=Subject(RATIO, words=RATIO))


def _unsure_ratio(recipe: Recipe) -> list[Fault]:
    """A least ratio cannot be kept for sure where a term below is unknown (total carbohydrate without fibre)."""
    return [
        _unknown_figure(recipe, place, column, "a least ratio")
        for column in RATIO_TERMS[recipe.policy.ratio_formula][1] if not _may_be_none(recipe, column)
        for place, amount in enumerate(known_amounts(recipe, column)) if amount is None
    ]


def _target_amounts(recipe: Recipe, column: str, sense: str, kind: Kind | None, faults: list[Fault]) -> Vector:
    """Per g of each ingredient, at the safe-side end of its interval.

    Unknown counts as none for a minimum; for a maximum as the most that it can be, unless the policy says that it
    counts as none. Where nothing bounds it, it is a fault.
    """
    if sense == MORE:
        return least_amounts(recipe, column, least(kind))
    end = most(kind)
    found = list(least_amounts(recipe, column, end))
    for place, amount in enumerate(known_amounts(recipe, column, end)):
        if amount is None:
            limit_of_detection = known_amounts(recipe, column, "high")[place]
            if limit_of_detection is not None:
                found[place] = limit_of_detection
            elif _may_be_none(recipe, column):
                continue
            elif (bounded := bound_of_unknown(recipe.ingredients[place].food, column)) and bounded.high is not None:
                found[place] = bounded.high / 100 / exact(recipe.ingredients[place].yield_)
            else:
                faults.append(_unknown_figure(recipe, place, column, f"a maximum on {spoken(column)}"))
    return tuple(found)


def bound_of_unknown(food: Food, column: str) -> Between | None:
    """What an unknown figure can be at most, where a maximum may count it so: not of what a ratio is made of."""
    found = None if column == CARBS else between(food, column)
    return None if found is None or found.high is None else found


def _may_be_none(recipe: Recipe, column: str) -> bool:
    """Whether what is unknown may count as none under a maximum (of total carbohydrate: as what is known of it)."""
    named = recipe.policy.unknown_as_zero
    return column == FIBRE or column in named or (column == CARBS and FIBRE in named)


def _unknown_figure(recipe: Recipe, place: int, column: str, what: str) -> Fault:
    missing = FIBRE if column == CARBS else column
    whole = f" ({spoken(CARBS)} include fibre, which its table leaves out)" if column == CARBS else ""
    return Fault(
        recipe.source, f"ingredients[{place + 1}]", recipe.ingredients[place].label,
        f"has no figure for {missing}, so {what} cannot be kept for sure{whole}: "
        f"add it in a table of your own, or list it in policy.unknown_as_zero",
    )


def zeros(recipe: Recipe) -> Vector:
    """A zero per ingredient."""
    return (ZERO,) * len(recipe.ingredients)


def _indicator(recipe: Recipe, labels: Sequence[str]) -> Vector:
    chosen = set(labels)
    return tuple(ONE if ingredient.label in chosen else ZERO for ingredient in recipe.ingredients)


def _part_limits(recipe: Recipe) -> Iterator[Limit]:
    for place, part in enumerate(recipe.parts):
        members = members_of(part, recipe.ingredients)
        for sense, bound in _bounds_of(part.minimum, part.maximum):
            yield Limit(f"{part.name} weight", "part", sense, bound, "g", _indicator(recipe, members),
                        zeros(recipe), ONE, subject=Subject(place=place, words=part.name))


def _proportion_limits(recipe: Recipe) -> Iterator[Limit]:
    for place, share in enumerate(recipe.proportions):
        name = f"{share.of_name} in {share.to_name}"
        for sense, bound in _bounds_of(share.minimum, share.maximum):
            yield Limit(name, "proportion", sense, bound, "share", _indicator(recipe, share.of),
                        _indicator(recipe, share.to), ZERO, subject=Subject(place=place, words=name))


def _choice_limits(recipe: Recipe) -> Iterator[Limit]:
    labels = [ingredient.label for ingredient in recipe.ingredients]
    for place, choose in enumerate(recipe.chooses):
        words = ", ".join(choose.labels)
        yield Limit(f"choose {words}", "choose", LESS, Fraction(choose.at_most), "used",
                    _indicator(recipe, choose.labels), zeros(recipe), ONE,
                    tuple(labels.index(label) for label in choose.labels), Subject(place=place, words=words))


def _ingredient_limits(recipe: Recipe) -> Iterator[Limit]:
    for place, ingredient in enumerate(recipe.ingredients):
        for sense, bound in _bounds_of(ingredient.minimum, ingredient.maximum):
            yield Limit(f"{ingredient.label} {'min' if sense == MORE else 'max'}", "ingredient", sense, bound, "g",
                        _indicator(recipe, [ingredient.label]), zeros(recipe), ONE,
                        subject=Subject(place=place, words=ingredient.label))
