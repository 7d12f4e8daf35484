"""Figures with intervals: targets that hold with a probability, and which figures of a dish are taken as exact.

The word *guaranteed* is for a dish whose every figure that a target counts lies in an interval. Where any is taken as
exact, the targets are kept for every figure that has one, and no more is said.

For a probability every figure with an interval has an error of its own, normal and independent of all others, whose
standard deviation is half the interval / 1.96 (of an interval that is cut at nought the wider half). A target's row
moves with each of them: with fat by as much as fat counts, and, as carbohydrate by difference is what the others
leave, by as much as that counts the other way round. In fat - R (protein + carbs) the error of protein cancels. The
row, linear in the weights, then is normal with the standard deviation of the root of summed squares, and

    row(w)  >=  z sqrt(sum_e (a_e . w)^2)

says that it is kept with probability p; z is the p quantile of the normal distribution, a_e what 1 standard deviation
of error e adds to the row per g of each ingredient. A food that stands in the list twice has one error. The set of
weights that keep this is convex (a second-order cone; Lobo, Vandenberghe, Boyd and Lebret, Linear Algebra and its
Applications 284:193, 1998, section 4.3 on robust linear programming, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from statistics import NormalDist

from ratio_solver.dish.constraints import MORE, Limit
from ratio_solver.dish.nutrition import least_per_gram
from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.exact import ZERO, Vector, dot, exact, square_root
from ratio_solver.foods.content import BESIDE_CARBS, POLYOLS_COLUMN, derived_carbs
from ratio_solver.foods.csv_file import number
from ratio_solver.foods.ends import KINDS, Guaranteed, Kind, kind_of, least, most
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import (
    ALCOHOL,
    CARBS,
    ENERGY,
    FAT,
    FIBRE,
    MCT,
    NET_CARBS,
    PROTEIN,
    WATER,
    WEIGHT,
    spoken,
)
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.quantities import CARBS_ENERGY, FATTY_ACIDS, MEDIUM_CHAIN, Terms
from ratio_solver.foods.substances import COLUMNS, POLYOLS, SUBSTANCE_KINDS, SUBSTANCES
from ratio_solver.recipe.model import Ingredient, Recipe

WHOSE = {"mean": "the table's means", "food": "single foods"}
"""Whose intervals those of a kind are."""

Z_95 = Fraction("1.96")
"""Standard deviations to either side of the mean of a normal distribution that hold 95 of 100."""

UNCUT = 1000.0
"""Grams of carbohydrate added to a food while its slopes are taken, so that nothing is cut at nought."""

ROOT_DECIMALS = 40
"""Decimals of a standard deviation."""

TANGENT_DECIMALS = 24
"""Decimals to which the coefficients of a tangent are cut, on the side that loses no answer."""

EXPECTED = "expected a probability above 0.5 and below 1, such as 0.95, or food:0.95 for the intervals of single foods"


@dataclass(frozen=True)
class Confidence:
    """How probable it is to be that a target is kept.

    Attributes
    ----------
    probability : float
        Above 0.5, below 1; of each target by itself.
    kind : {"mean", "food"}
        Whose intervals the errors are of.
    """

    probability: float
    kind: Kind = "mean"

    @property
    def z(self) -> Fraction:
        """So many standard deviations the row is to be away from its bound."""
        return exact(NormalDist().inv_cdf(self.probability))


def confidence_of(given: float | str | Confidence | None, guaranteed: Guaranteed = None) -> Confidence | None:
    """What is meant by a probability, or by the text of an option: "0.95", "food:0.95".

    Raises
    ------
    BadInput
        Where it is none, or where targets are to be held at the ends of the intervals too.

    >>> confidence_of("food:0.9")
    Confidence(probability=0.9, kind='food')
    """
    if given is None:
        return None
    if isinstance(given, Confidence):
        found = given
    else:
        before, _, after = str(given).rpartition(":")
        kind = next((kind for kind in KINDS if kind == (before.strip() or KINDS[0])), None)
        value = number(after.strip())
        if kind is None or value is None:
            raise BadInput([Fault("--confidence", "", shown(given), EXPECTED)])
        found = Confidence(value, kind)
    if not 0.5 < found.probability < 1:
        raise BadInput([Fault("--confidence", "", shown(found.probability), EXPECTED)])
    if kind_of(guaranteed):
        raise BadInput([Fault("--confidence", "", "", "expected without --guaranteed, which allows for every "
                              "composition within the intervals, however improbable")])
    return found


@dataclass(frozen=True)
class Cone:
    """A target and the errors of its row.

    Attributes
    ----------
    limit : Limit
        On the figures as the table has them.
    errors : tuple of tuple of Fraction, (errors, ingredients)
        What 1 standard deviation of each error adds to the row, per g.
    turning : tuple of tuple of Fraction, (errors, ingredients)
        How fast that changes with the bound (of a ratio or a share).
    z : Fraction
    """

    limit: Limit
    errors: tuple[Vector, ...]
    turning: tuple[Vector, ...]
    z: Fraction

    def holds(self, weights: Sequence[Fraction], tolerance: Fraction = ZERO) -> bool:
        """Whether the formula holds at these weights: both sides squared, in rationals.

        The tolerance is in units of the row's largest coefficient.
        """
        give = tolerance * max((abs(c) for c in self.limit.row()[0]), default=ZERO)
        margin = self.limit.margin(weights) + give
        return margin >= 0 and margin**2 >= self.z**2 * self.variance(weights)

    def variance(self, weights: Sequence[Fraction]) -> Fraction:
        """Of the row at these weights."""
        return sum((dot(error, weights) ** 2 for error in self.errors), ZERO)

    def tangent(self, weights: Sequence[Fraction], *, outer: bool = True) -> Limit:
        """The limit with the errors at these weights: a linear one, the same there and looser elsewhere.

        By Cauchy and Schwarz ``sqrt(sum (a_e . w)^2) >= s . w`` for ``s = sum (a_e . w') a_e / sqrt(sum (a_e . w')^2)``
        and every w, so no weights that keep the formula are lost; rounding is on that side (`outer`), or on the other.
        """
        spread = square_root(self.variance(weights), ROOT_DECIMALS, up=outer)
        if not spread:
            return self.limit
        moved = [dot(error, weights) for error in self.errors]
        steps = [sum((move * error[place] for move, error in zip(moved, self.errors, strict=True)), ZERO) / spread
                 for place in range(len(weights))]
        sign, scale = -1 if self.limit.sense == MORE else 1, 10**TANGENT_DECIMALS
        rounded = math.floor if outer else math.ceil
        return replace(self.limit, numerator=tuple(
            above + sign * Fraction(rounded(self.z * step * scale), scale)
            for above, step in zip(self.limit.numerator, steps, strict=True)))

    def divisor(self, weights: Sequence[Fraction]) -> Fraction:
        """How much one more unit of the bound takes from the row, its errors included."""
        spread = square_root(self.variance(weights), ROOT_DECIMALS, up=True)
        turned = sum((dot(error, weights) * dot(turn, weights)
                      for error, turn in zip(self.errors, self.turning, strict=True)), ZERO)
        sign = 1 if self.limit.sense == MORE else -1
        return self.limit.divisor(weights) + (sign * self.z * turned / spread if spread else ZERO)


def cones_of(recipe: Recipe, limits: Sequence[Limit], confidence: Confidence) -> tuple[Cone, ...]:
    """The targets among the limits, with their errors.

    Parameters
    ----------
    recipe : Recipe
    limits : sequence of Limit
        Of the recipe, on its figures (`limits_of`).
    confidence : Confidence
    """
    return tuple(_cone(recipe, limit, confidence) for limit in limits if limit.nutrient)


def touching(limits: Sequence[Limit], cones: Sequence[Cone], weights: Sequence[Fraction]) -> tuple[Limit, ...]:
    """The limits, each target as the formula has it at these weights, on the strict side of rounding."""
    tangents = {cone.limit.identity: cone.tangent(weights, outer=False) for cone in cones}
    return tuple(tangents.get(limit.identity, limit) for limit in limits)


def _cone(recipe: Recipe, limit: Limit, confidence: Confidence) -> Cone:
    quantity = recipe.policy.quantity(limit.nutrient)
    errors: dict[tuple[str, str], list[Fraction]] = {}
    turning: dict[tuple[str, str], list[Fraction]] = {}
    for place, item in enumerate(recipe.ingredients):
        for column, deviation in deviations(item.food, confidence.kind):
            up, down = (deviation * _slope(recipe, item, terms, column, confidence.kind)
                        for terms in (quantity.above, quantity.below))
            if up or down:
                key = item.food.id, column
                for rows, value in ((errors, up - limit.bound * down), (turning, -down)):
                    rows.setdefault(key, [ZERO] * len(recipe.ingredients))[place] = value
    return Cone(limit, tuple(map(tuple, errors.values())), tuple(map(tuple, turning.values())), confidence.z)


def deviations(food: Food, kind: Kind) -> Iterator[tuple[str, Fraction]]:
    """The figures of a food that have an error, and its standard deviation in 100 g."""
    for column in dict.fromkeys([*food.low, *food.high, *food.lowest, *food.highest]):
        figure, low, high = (food.at(column, end) for end in ("", least(kind), most(kind)))
        if figure is not None and low is not None and high is not None and high > low:
            yield column, max(high - figure, figure - low) / Z_95


def _slope(recipe: Recipe, item: Ingredient, terms: Terms, column: str, kind: Kind) -> Fraction:
    """What one more unit of a figure in 100 g adds to a sum of nutrients, per g of the ingredient as weighed."""
    energy = any(term == ENERGY for term in terms) and not item.food.has_end(ENERGY, most(kind))
    before, after = (replace(item, food=_with_figure_moved(item.food, column, by, kind, energy)) for by in (0.0, 1.0))
    return sum((Fraction(share) * (least_per_gram(after, term, recipe) - least_per_gram(before, term, recipe))
                for term, share in terms.items()), ZERO)


def _with_figure_moved(food: Food, column: str, by: float, kind: Kind, energy: bool) -> Food:
    """The food with one figure moved, and its carbohydrate by difference against it, far from where any is cut off."""
    amounts = dict(food.amounts)
    amounts[column] = round(amounts[column] + by, 9)
    beside = column in BESIDE_CARBS and derived_carbs(food, least(kind))
    amounts[CARBS] = round(amounts[CARBS] + UNCUT - (by if beside else 0.0), 9)
    if energy:
        amounts.pop(ENERGY, None)  # without an interval of its own it moves as the factors say
    return replace(food, amounts=amounts)


def confidence_notes(recipe: Recipe, weights: Sequence[Fraction], confidence: Confidence | None) -> tuple[str, ...]:
    """What a confidence means, and which foods are taken as exact."""
    if confidence is None:
        return ()
    exactly = taken_as_exact(recipe, weights, confidence.kind)
    words = (f"each target by itself is held with {float(100 * exact(confidence.probability)):g} % probability, for "
             f"independent normal errors within the intervals of {WHOSE[confidence.kind]}")
    return (f"{words}, taken as exact: {', '.join(exactly)}" if exactly else words,)


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
    nutrients = (column for target in recipe.targets
                 for column in recipe.policy.quantity(target.nutrient).columns)
    figures = dict.fromkeys(figure for column in nutrients
                            for figure in _figures_of(item.food, column, recipe.policy, kind))
    wide = {column for column in figures if _has_interval(item.food, column, kind)}
    points = ["carbs" if column == CARBS else spoken(column) for column in figures
              if column not in wide and item.food.amounts.get(column)]
    return f"{item.label} ({', '.join(points)})" if points and wide else item.label if points else ""


def _has_interval(food: Food, column: str, kind: Kind) -> bool:
    low, high = food.at(column, least(kind)), food.at(column, most(kind))
    return low is not None and high is not None and low < high


def _figures_of(food: Food, column: str, policy: Policy, kind: Kind) -> tuple[str, ...]:
    """The figures of the table that a nutrient of a food is reckoned from, as `foods.content` reckons it."""
    if column == WEIGHT:  # what the scale says, no figure of a table
        return ()
    if column == ENERGY and (policy.energy != "table" or not food.has_end(ENERGY, most(kind))):
        fats = () if policy.mct_energy is None else MEDIUM_CHAIN
        carbs = _figures_of(food, NET_CARBS, policy, kind) if policy.energy == "9/4/4" else \
            (*_carbs_of(food, kind), FIBRE, *COLUMNS,
             *(("soluble_fibre_g", "insoluble_fibre_g") if policy.energy == "us" else ()))
        return (FAT, PROTEIN, ALCOHOL, *fats, *carbs)
    if column == CARBS_ENERGY:
        return (*_carbs_of(food, kind), FIBRE, *COLUMNS)
    if column == MCT and MCT not in food.amounts:
        return FATTY_ACIDS
    if column == POLYOLS_COLUMN:
        return (column, *(substance.column for substance in SUBSTANCE_KINDS))
    if column == CARBS:
        return (*_carbs_of(food, kind), *(() if food.basis == "by_difference" else (FIBRE,)))
    if column == NET_CARBS:
        left_out = (substance.column for substance in SUBSTANCES  # kinds of polyol with all polyols, which include them
                    if policy.shares[substance.key] or (substance.kind and policy.shares[POLYOLS]))
        return (*_carbs_of(food, kind), *((FIBRE,) if food.basis == "by_difference" else ()), *left_out)
    return (column,)


def _carbs_of(food: Food, kind: Kind) -> tuple[str, ...]:
    """What the table's carbohydrate is known by: itself, or what it is the difference of."""
    if not derived_carbs(food, least(kind)) or not any(_has_interval(food, beside, kind) for beside in BESIDE_CARBS):
        return (CARBS,)
    # With water or ash unknown the difference is not known to move with them.
    return (*BESIDE_CARBS, *(() if {WATER, "ash_g"} <= food.amounts.keys() else (CARBS,)))
