"""Everything an answer must respect, as exact rows over the weights.

One place turns names into numbers. Every limit is a quotient that is linear in numerator and denominator,

    (numerator . w) / (denominator . w + constant)   >=  or  <=   bound,

with w the weights of all ingredients in g for the batch: a nutrient per serving has the servings as
constant; the weight of a part has 1; the ratio, a share of the energy and a proportion have a denominator. As
the denominator is never negative, the limit is the linear row
``(numerator - bound * denominator) . w >= bound * constant``. What a target counts is a row of the registry
(`ratio_solver.foods.quantities`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from ratio_solver.dish.nutrition import (
    known_amounts,
    least_amounts,
    ratio_vectors,
    summed,
    worst_ratio_vectors,
)
from ratio_solver.errors import Fault, collected
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed, Kind, kind_of, least, most
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import CARBS, FIBRE, PROTEIN, spoken
from ratio_solver.foods.quantities import RATIO, SHARE, Quantity, Terms, quantity_of
from ratio_solver.foods.unknown import Between, between
from ratio_solver.recipe.model import Recipe, members_of, once

MORE, LESS = ">=", "<="

EMPTY = Fraction(1, 1000)
"""Grams of what a ratio is made of, above and below together, in the batch; a dish with less is an empty one."""


@dataclass(frozen=True)
class Subject:
    """What a limit is about: a nutrient by its column, everything else by its place, never by a name.

    Attributes
    ----------
    nutrient : str
        Of a target: the key of its quantity, a column, "ratio", "energy_from_fat", ...
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
        Of what a person may eat at most, which is told and never held: "food", "substance" (`dish.most`).
    sense : {">=", "<="}
    bound : Fraction
        As the cook wrote it, in `unit`.
    unit : str
        A key of `ratio_solver.foods.quantities.UNIT_TABLE`.
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
        """Of a target the key of what it limits; else nothing."""
        return self.subject.nutrient

    @property
    def nothing(self) -> str:
        """What there is none of where it divides by nothing."""
        return quantity_of(self.nutrient).nothing

    @property
    def least_ratio(self) -> bool:
        """Whether this is a minimum of the ratio."""
        return self.nutrient == RATIO and self.sense == MORE

    def divisor(self, weights: Sequence[Fraction]) -> Fraction:
        """The denominator at these weights."""
        if not self.divided:
            return self.constant
        return dot(self.denominator, weights) + self.constant

    def actual(self, weights: Sequence[Fraction]) -> Fraction | None:
        """What the weights make of it, in `unit`; None where the denominator is zero."""
        if self.members:
            return Fraction(sum(1 for place in self.members if weights[place] > 0))
        if self.kind == "ingredient":
            return weights[self.subject.place]
        below = self.divisor(weights)
        return dot(self.numerator, weights) / below if below else None

    @cached_property
    def divided(self) -> bool:
        """Whether the denominator depends on the weights."""
        return any(amount is not ZERO and amount for amount in self.denominator)

    def slack(self, actual: Fraction) -> Fraction:
        """How far an actual value is from binding, in `unit`; >= 0 when the limit is kept."""
        return actual - self.bound if self.sense == MORE else self.bound - actual

    def keeps(self, actual: Fraction) -> bool:
        """Whether an actual value keeps the limit."""
        return actual >= self.bound if self.sense == MORE else actual <= self.bound

    @property
    def prescribed(self) -> bool:
        """Whether it is one that a physician or dietitian sets: the ratio, net carbs, a least protein, a share of
        the energy."""
        return bool(self.nutrient) and self.sense in quantity_of(self.nutrient).prescribed

    @property
    def least_protein(self) -> bool:
        """Whether this is a minimum of the protein that is prescribed: what a body does not go without."""
        return self.prescribed and self.nutrient == PROTEIN and self.sense == MORE

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
        over = weights[self.subject.place] - self.bound if self.kind == "ingredient" else \
            dot(self.numerator, weights) - self.bound * self.divisor(weights)
        return over if self.sense == MORE else -over

    def row(self) -> tuple[Vector, Fraction]:
        """Coefficients and right-hand side of the linear row, in the limit's own sense."""
        return self._row

    @cached_property
    def _row(self) -> tuple[Vector, Fraction]:
        if not self.divided:
            return self.numerator, self.bound * self.constant
        pairs = zip(self.numerator, self.denominator, strict=True)
        return (tuple(above - self.bound * below if below else above for above, below in pairs),
                self.bound * self.constant)


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
        *group_limits(recipe), *_ingredient_limits(recipe),
    )
    collected(faults)
    return limits


def _bounds_of(low: float | None, high: float | None) -> list[tuple[str, Fraction]]:
    return [(sense, exact(end)) for sense, end in ((MORE, low), (LESS, high)) if end is not None]


def _target_limit(recipe: Recipe, nutrient: str, sense: str, bound: Fraction, kind: Kind | None,
                  faults: list[Fault]) -> Limit:
    quantity = recipe.policy.quantity(nutrient)
    if nutrient != RATIO:
        above = _safe_sum(recipe, quantity, quantity.above, sense, sense, kind, faults)
        below = _safe_sum(recipe, quantity, quantity.below, LESS if sense == MORE else MORE, sense, kind, faults)
    else:
        if sense == MORE:  # it cannot be kept for sure where a term below is unknown: total carbohydrate without fibre
            faults.extend(_unknown_figure(recipe, place, column, "a least ratio")
                          for column in quantity.below if not _may_be_none(recipe, column)
                          for place, amount in enumerate(known_amounts(recipe, column)) if amount is None)
        above, below = ratio_vectors(recipe) if kind is None else \
            worst_ratio_vectors(recipe, sense == MORE, bound, kind)
    return Limit(quantity.words, "target", sense, bound, quantity.unit, above, below or zeros(recipe),
                 ZERO if quantity.quotient else Fraction(recipe.servings),
                 subject=Subject(nutrient, words=quantity.words))


def _safe_sum(recipe: Recipe, quantity: Quantity, terms: Terms, helps: str, sense: str, kind: Kind | None,
              faults: list[Fault]) -> Vector:
    """A sum of nutrients per g of each ingredient, each figure at the end of its interval that is worst for a target.

    The figures are taken as if they lay freely, which is never looser than it may be. `helps` says of which the sum
    helps the target, of more or of less.
    """
    what = f"a {'least' if sense == MORE else 'maximum on'} {quantity.words}"
    return summed(terms, lambda column: _target_amounts(
        recipe, column, helps == MORE, terms[column].startswith("-"), kind, what, faults))


def _target_amounts(recipe: Recipe, column: str, more_helps: bool, taken_off: bool, kind: Kind | None, what: str,
                    faults: list[Fault]) -> Vector:
    """Per g of each ingredient, at the safe-side end of its interval.

    Unknown counts as none where more of it helps; else as the most that it can be, unless the policy says that it
    counts as none, and where nothing bounds it, it is a fault. What is `taken_off` works the other way, and counts as
    none where it is unknown, as it does in energy.
    """
    end = most(kind)
    if more_helps or taken_off:
        return least_amounts(recipe, column, end if more_helps and taken_off else least(kind))
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
                faults.append(_unknown_figure(recipe, place, column, what))
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


def group_limits(recipe: Recipe) -> Iterator[Limit]:
    """What limits several weights alone: parts, proportions, then choices."""
    nothing, labels = zeros(recipe), [ingredient.label for ingredient in recipe.ingredients]
    for place, part in enumerate(recipe.parts):
        members = _indicator(recipe, members_of(part, recipe.ingredients))
        for sense, bound in _bounds_of(part.minimum, part.maximum):
            yield Limit(f"{part.name} weight", "part", sense, bound, "g", members, nothing, ONE,
                        subject=Subject(place=place, words=part.name))
    for place, share in enumerate(recipe.proportions):
        name = f"{share.of_name} in {share.to_name}"
        for sense, bound in _bounds_of(share.minimum, share.maximum):
            yield Limit(name, "proportion", sense, bound, SHARE, _indicator(recipe, share.of),
                        _indicator(recipe, share.to), ZERO, subject=Subject(place=place, words=name))
    for place, choose in enumerate(recipe.chooses):
        words = ", ".join(choose.labels)
        yield Limit(f"choose {words}", "choose", LESS, Fraction(choose.at_most), "used",
                    _indicator(recipe, choose.labels), nothing, ONE,
                    tuple(labels.index(label) for label in choose.labels), Subject(place=place, words=words))


def _ingredient_limits(recipe: Recipe) -> Iterator[Limit]:
    nothing = zeros(recipe)
    for place, ingredient in enumerate(recipe.ingredients):
        alone = (*nothing[:place], ONE, *nothing[place + 1:])
        for sense, bound in _bounds_of(ingredient.minimum, ingredient.maximum):
            yield ingredient_limit(ingredient.label, place, sense, bound, alone, nothing)


def ingredient_limit(label: str, place: int, sense: str, bound: Fraction, alone: Vector = (),
                     nothing: Vector = ()) -> Limit:
    """One end of the weight of an ingredient; without its coefficients unless they are given."""
    return Limit(f"{label} {'min' if sense == MORE else 'max'}", "ingredient", sense, bound, "g", alone, nothing, ONE,
                 subject=Subject(place=place, words=label))
