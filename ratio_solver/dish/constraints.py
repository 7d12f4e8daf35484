"""Everything an answer must respect, as exact rows over the weights.

One place turns names into numbers. Every limit is a quotient that is linear in numerator and denominator,

    (numerator . w) / (denominator . w + constant)   >=  or  <=   bound,

with w the weights of all ingredients in g for the batch: a nutrient per serving has the servings as
constant; the weight of a part has 1; the ratio and a proportion have a denominator. As the denominator is
never negative, the limit is the linear row ``(numerator - bound * denominator) . w >= bound * constant``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.content import FREE, Held, content, least_content
from ratio_solver.foods.ends import End, Guaranteed, Kind, kind_of, least, most
from ratio_solver.foods.nutrients import NET_CARBS, spoken, unit_of
from ratio_solver.foods.policy import RATIO_TERMS
from ratio_solver.foods.worst import FIGURES, Corner, worst_corner
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe, Target

MORE, LESS = ">=", "<="
FIBRE = "fibre_g"
"""Unknown fibre counts as none, with a warning: net carbohydrate can only be lower. Total carbohydrate can be higher
where a table leaves fibre out, so there it counts as unknown."""
CARBS = "carbs_g"

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
    def key(self) -> tuple[str, str]:
        """Name and sense: together unique in a recipe."""
        return self.name, self.sense

    def divisor(self, weights: Sequence[Fraction]) -> Fraction:
        """The denominator at these weights."""
        return dot(self.denominator, weights) + self.constant

    def actual(self, weights: Sequence[Fraction]) -> Fraction | None:
        """What the weights make of it, in `unit`; None where the denominator is zero."""
        if self.members:
            return Fraction(sum(1 for place in self.members if weights[place] > 0))
        below = self.divisor(weights)
        return dot(self.numerator, weights) / below if below else None

    def slack(self, weights: Sequence[Fraction]) -> Fraction | None:
        """How far from binding, >= 0 when kept; None where the denominator is zero."""
        actual = self.actual(weights)
        if actual is None:
            return None
        return actual - self.bound if self.sense == MORE else self.bound - actual

    @property
    def substance(self) -> Vector:
        """Of a ratio: what it is made of, above and below together, per g of each ingredient."""
        return tuple(above + below for above, below in zip(self.numerator, self.denominator, strict=True))

    def hollow(self, weights: Sequence[Fraction]) -> bool:
        """Whether this is a ratio, and the weights those of an empty dish: of nothing to nothing there is none."""
        return self.unit == ":1" and dot(self.substance, weights) < EMPTY

    def margin(self, weights: Sequence[Fraction]) -> Fraction:
        """What the linear row leaves over, >= 0 when kept; defined for every weight. An empty dish keeps no ratio."""
        if self.members:
            return self.bound - Fraction(sum(1 for place in self.members if weights[place] > 0))
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


def per_gram(ingredient: Ingredient, column: str, recipe: Recipe, end: End = "", held: Held = FREE) -> Fraction | None:
    """Amount of a nutrient in 1 g of the ingredient as weighed, or None where it is unknown."""
    amount = content(ingredient.food, column, recipe.policy, end, held)
    return None if amount is None else amount / 100 / exact(ingredient.yield_)


def least_per_gram(ingredient: Ingredient, column: str, recipe: Recipe, end: End = "",
                   held: Held = FREE) -> Fraction:
    """The same, and where it is unknown the least that it can be."""
    return least_content(ingredient.food, column, recipe.policy, end, held) / 100 / exact(ingredient.yield_)


def prescribed(limit: Limit) -> bool:
    """Whether a limit is one that a physician or dietitian sets: the ratio, the net carbs, a least protein."""
    return limit.kind == "target" and (limit.name in (RATIO, spoken(NET_CARBS)) or limit.key == ("protein", MORE))


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
    faults: list[Fault] = []
    kind = kind_of(guaranteed)
    limits = [
        *(limit for target in recipe.targets for limit in _target(recipe, target, kind, faults)),
        *_parts(recipe),
        *_proportions(recipe),
        *_chooses(recipe),
        *_bounds(recipe),
    ]
    if faults:
        raise BadInput(faults)
    return tuple(limits)


def _ends(low: float | None, high: float | None) -> list[tuple[str, Fraction]]:
    return [(sense, exact(end)) for sense, end in ((MORE, low), (LESS, high)) if end is not None]


def _target(recipe: Recipe, target: Target, kind: Kind | None, faults: list[Fault]) -> list[Limit]:
    found: list[Limit] = []
    for sense, bound in _ends(target.minimum, target.maximum):
        if target.nutrient == RATIO:
            corners = None if kind is None else [
                worst_corner(item.food, recipe.policy, sense == MORE, bound, kind) for item in recipe.ingredients]
            above, below = ratio_vectors(recipe, corners)
            found.append(Limit(RATIO, "target", sense, bound, ":1", above, below, ZERO,
                               subject=Subject(nutrient=RATIO, words=RATIO)))
            if sense == MORE:
                faults.extend(_unsure_ratio(recipe))
        else:
            amounts = _amounts(recipe, target.nutrient, sense, kind, faults)
            found.append(Limit(spoken(target.nutrient), "target", sense, bound,
                               unit_of(target.nutrient) or "g", amounts, zeros(recipe), Fraction(recipe.servings),
                               subject=Subject(nutrient=target.nutrient, words=spoken(target.nutrient))))
    return found


def ratio_vectors(recipe: Recipe, corners: Sequence[Corner] | None = None) -> tuple[Vector, Vector]:
    """Numerator and denominator of the ratio per g of each ingredient, by the recipe's formula.

    Parameters
    ----------
    recipe : Recipe
    corners : sequence of Corner, one per ingredient, optional
        Where each is taken; else each figure as the table has it.
    """
    above_terms, below_terms = RATIO_TERMS[recipe.policy.ratio_formula]
    places = corners or [FIGURES] * len(recipe.ingredients)

    def vector(terms: Mapping[str, str]) -> Vector:
        return tuple(
            sum((Fraction(share) * least_per_gram(item, column, recipe, corner.ends.get(column, ""), corner.held)
                 for column, share in terms.items()), ZERO)
            for item, corner in zip(recipe.ingredients, places, strict=True)
        )

    return vector(above_terms), vector(below_terms)


def _unsure_ratio(recipe: Recipe) -> list[Fault]:
    """A least ratio cannot be kept for sure where a term below is unknown (total carbohydrate without fibre)."""
    return [
        _unknown(recipe, place, column, "a least ratio")
        for column in RATIO_TERMS[recipe.policy.ratio_formula][1] if not _counted(recipe, column, LESS)
        for place, ingredient in enumerate(recipe.ingredients, 1) if per_gram(ingredient, column, recipe) is None
    ]


def _counted(recipe: Recipe, column: str, sense: str) -> bool:
    """Whether what is unknown may count as none (of total carbohydrate: as what is known of it)."""
    named = recipe.policy.unknown_as_zero
    return sense == MORE or column == FIBRE or column in named or (column == CARBS and FIBRE in named)


def _unknown(recipe: Recipe, place: int, column: str, what: str) -> Fault:
    missing = FIBRE if column == CARBS else column
    whole = f" ({spoken(CARBS)} include fibre, which its table leaves out)" if column == CARBS else ""
    return Fault(
        recipe.source, f"ingredients[{place}]", recipe.ingredients[place - 1].label,
        f"has no figure for {missing}, so {what} cannot be kept for sure{whole}: "
        f"add it in a table of your own, or list it in policy.unknown_as_zero",
    )


def _amounts(recipe: Recipe, column: str, sense: str, kind: Kind | None, faults: list[Fault]) -> Vector:
    """Per g of each ingredient, at the safe-side end of its interval.

    Unknown counts as none for a minimum; for a maximum as the most that it can be, where the table has a limit of
    detection, and else it is a fault.
    """
    end = least(kind) if sense == MORE else most(kind)
    found = []
    for place, ingredient in enumerate(recipe.ingredients, 1):
        amount = per_gram(ingredient, column, recipe, end)
        if amount is None and sense == LESS:
            amount = per_gram(ingredient, column, recipe, "high")
        if amount is None and not _counted(recipe, column, sense):
            faults.append(_unknown(recipe, place, column, f"a maximum on {spoken(column)}"))
        found.append(least_per_gram(ingredient, column, recipe, end) if amount is None else amount)
    return tuple(found)


def zeros(recipe: Recipe) -> Vector:
    """A zero per ingredient."""
    return (ZERO,) * len(recipe.ingredients)


def _indicator(recipe: Recipe, labels: Sequence[str]) -> Vector:
    chosen = set(labels)
    return tuple(ONE if ingredient.label in chosen else ZERO for ingredient in recipe.ingredients)


def _parts(recipe: Recipe) -> list[Limit]:
    found: list[Limit] = []
    for place, part in enumerate(recipe.parts):
        members = [ingredient.label for ingredient in recipe.ingredients if ingredient.part == part.name]
        found.extend(
            Limit(f"{part.name} weight", "part", sense, bound, "g", _indicator(recipe, members),
                  zeros(recipe), ONE, subject=Subject(place=place, words=part.name))
            for sense, bound in _ends(part.minimum, part.maximum)
        )
    return found


def _proportions(recipe: Recipe) -> list[Limit]:
    return [
        Limit(f"{share.of_name} in {share.to_name}", "proportion", sense, bound, "share",
              _indicator(recipe, share.of), _indicator(recipe, share.to), ZERO,
              subject=Subject(place=place, words=f"{share.of_name} in {share.to_name}"))
        for place, share in enumerate(recipe.proportions)
        for sense, bound in _ends(share.minimum, share.maximum)
    ]


def _chooses(recipe: Recipe) -> list[Limit]:
    labels = [ingredient.label for ingredient in recipe.ingredients]
    return [
        Limit(f"choose {', '.join(choose.labels)}", "choose", LESS, Fraction(choose.at_most), "used",
              _indicator(recipe, choose.labels), zeros(recipe), ONE,
              tuple(labels.index(label) for label in choose.labels),
              Subject(place=place, words=", ".join(choose.labels)))
        for place, choose in enumerate(recipe.chooses)
    ]


def _bounds(recipe: Recipe) -> list[Limit]:
    return [
        Limit(f"{ingredient.label} {end}", "ingredient", sense, exact(bound), "g",
              _indicator(recipe, [ingredient.label]), zeros(recipe), ONE,
              subject=Subject(place=place, words=ingredient.label))
        for place, ingredient in enumerate(recipe.ingredients)
        for end, sense, bound in (("min", MORE, ingredient.minimum), ("max", LESS, ingredient.maximum))
        if bound is not None
    ]
