"""What the scale's own error does to the ratio, the net carbs and the targets: exact worst cases.

Every weight w_i may really be anything in [w_i - e_i, w_i + e_i] (never below 0). A limit is a quotient
(a . w) / (b . w + c) with b, c >= 0; over a box its largest value t* is where

    max over w of  a . w - t (b . w + c)  =  0,

and that maximum takes each weight at its upper end where a_i > t b_i and at its lower end elsewhere.
Starting from the weights themselves t rises from corner to corner of the box until none is better
(Dinkelbach 1967, Management Science 13:492), all in rationals, so the ends of the interval are exact.

Its report, and household measures, are parts of what a dish with weights is told by as well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.dish.cautions import cautions_for, in_a_cell
from ratio_solver.dish.check import DishAtWeights
from ratio_solver.dish.constraints import Limit, limits_of, zeros
from ratio_solver.dish.nutrition import facts_of, per_gram, ratio_vectors
from ratio_solver.dish.status import Weight
from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.exact import ZERO, Vector, dot, exact
from ratio_solver.foods.csv_file import number
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS, spoken
from ratio_solver.foods.quantities import SHARE
from ratio_solver.foods.sizes import sensible
from ratio_solver.outcome import Outcome
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    Block,
    Cell,
    Text,
    caution_lines,
    limit_words,
    section,
    table_of,
)
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import in_unit, plain, short, short_weight, until, with_unit
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe

if TYPE_CHECKING:
    from ratio_solver.solving.result import Impossible

OIML, OIML_NEW = "oiml", "oiml-new"

_CLASS_III = ((500, Fraction(1, 2)), (2000, Fraction(1)), (10_000, Fraction(3, 2)))
"""Divisions up to which a class III scale may be off by so many divisions when first verified (OIML R 76).

In use it may be off by twice that. The last line, above 2,000 divisions, is from memory.
"""


@dataclass(frozen=True)
class Scale:
    """How far off the kitchen's scale may be.

    Attributes
    ----------
    name : str
        As it is told: "± 1 g on each weight".
    grams : Fraction or None
        The same for each weight, g; None for the class III figures.
    times : int
        1 for a scale just verified, 2 for one in use.
    """

    name: str
    grams: Fraction | None
    times: int = 2

    def error(self, ingredient: Ingredient, weight: Fraction) -> Fraction:
        """Largest error of one weighing, g; nothing is weighed where the weight is 0.

        An ingredient with a step below 1 g is weighed on a scale of that division.
        """
        if not weight:
            return ZERO
        if self.grams is not None:
            return self.grams
        division = min(Fraction(1), exact(ingredient.step)) if ingredient.step else Fraction(1)
        off = next((off for most, off in _CLASS_III if weight <= most * division), _CLASS_III[-1][1])
        return self.times * off * division


@dataclass(frozen=True)
class Interval:
    """Everything a figure can be; `high` None is without end."""

    low: Fraction | None
    high: Fraction | None


@dataclass(frozen=True)
class LimitInterval:
    """A target under the scale's error, and whether it is kept whatever the error."""

    limit: Limit
    interval: Interval
    kept: bool


@dataclass(frozen=True, repr=False)
class ScaleError(Outcome):
    """The effect of the scale's error on a dish; its `outcome` is "kept" or "missed".

    Attributes
    ----------
    recipe : Recipe
    weights : tuple of Fraction, one per ingredient
        g for the batch, as read off the scale.
    scale : Scale
    errors : tuple of Fraction, one per ingredient
        g.
    ratio, net_carbs : Interval
        Ratio by the recipe's formula; net carbs per serving, g.
    targets : tuple of LimitInterval
    """

    recipe: Recipe
    weights: Vector
    scale: Scale
    errors: Vector
    ratio: Interval
    net_carbs: Interval
    targets: tuple[LimitInterval, ...]

    @property
    def outcome(self) -> str:
        """Whether every target is kept whatever the error, in a word."""
        return "kept" if all(target.kept for target in self.targets) else "missed"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the highest ratio that there may be."""
        return cautions_for(self.recipe, replace(facts_of(self.recipe, self.weights), ratio=self.ratio.high))


def scale_named(text: str) -> Scale:
    """A scale from an option's text: grams, "oiml" (class III in use) or "oiml-new" (just verified).

    Parameters
    ----------
    text : str

    Returns
    -------
    Scale

    Raises
    ------
    BadInput
        Where it is none of these.

    Examples
    --------
    >>> from ratio_solver import scale_named
    >>> scale_named("2 g").name
    '± 2 g on each weight'
    """
    wanted = text.strip().lower()
    if wanted in (OIML, OIML_NEW):
        state, times = ("in use", 2) if wanted == OIML else ("newly verified", 1)
        return Scale(f"OIML R 76 class III {state}, division 1 g or a finer step", None, times)
    grams = number(wanted.removesuffix("g"))
    if grams is None or not 0 <= grams <= 1000 or not sensible(grams):
        raise BadInput([Fault("--scale-error", "", shown(text), "expected g, 0 to 1,000, or oiml or oiml-new")])
    return Scale(f"± {grams:g} g on each weight", exact(grams))


def scale_error(recipe: Recipe, weights: Sequence[Fraction], scale: Scale, *,
                guaranteed: Guaranteed = None) -> ScaleError:
    """Ratio, net carbs and every target at the worst that the scale's error can make of these weights.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient, as read off the scale.
    scale : Scale
    guaranteed : {"mean", "food"}, optional
        Judge the targets by the safe-side ends of the table's intervals as well.

    Returns
    -------
    ScaleError

    Raises
    ------
    BadInput
        Where a maximum is set on a nutrient that is unknown for an ingredient.

    Examples
    --------
    >>> from ratio_solver import check, load_foods, read_recipe, scale_error, scale_named
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> found = scale_error(gratin, check(gratin).grams_of_each, scale_named("oiml"))
    >>> f"net carbs {float(found.net_carbs.low):.1f} to {float(found.net_carbs.high):.1f} g"
    'net carbs 30.2 to 30.5 g'
    """
    errors = tuple(scale.error(i, weight) for i, weight in zip(recipe.ingredients, weights, strict=True))
    low = tuple(max(ZERO, weight - error) for weight, error in zip(weights, errors, strict=True))
    high = tuple(weight + error for weight, error in zip(weights, errors, strict=True))
    above, below = ratio_vectors(recipe)
    net = tuple(per_gram(i, NET_CARBS, recipe) or ZERO for i in recipe.ingredients)
    targets = []
    for limit in limits_of(recipe, guaranteed):
        if limit.kind == "target":
            interval = quotient_interval(limit.numerator, limit.denominator, limit.constant, low, high)
            worst = _least_margin(limit, low, high)
            targets.append(LimitInterval(limit, interval, worst >= 0))
    return ScaleError(
        recipe, tuple(weights), scale, errors, quotient_interval(above, below, ZERO, low, high),
        quotient_interval(net, zeros(recipe), Fraction(recipe.servings), low, high), tuple(targets),
    )


def _least_margin(limit: Limit, low: Vector, high: Vector) -> Fraction:
    """The least that the linear row can leave over in the box: every limit is linear, so this is exact."""
    coefficients, bound = limit.row()
    sign = 1 if limit.sense == ">=" else -1
    worst = tuple(lo if sign * c > 0 else hi for c, lo, hi in zip(coefficients, low, high, strict=True))
    return sign * (dot(coefficients, worst) - bound)


def quotient_interval(numerator: Vector, denominator: Vector, constant: Fraction, low: Vector, high: Vector
                      ) -> Interval:
    """Least and greatest of (numerator . w) / (denominator . w + constant) for low <= w <= high, exact.

    The denominator must not be negative. Where it can be zero the quotient has no greatest value (None);
    where it is zero throughout it has no value at all.
    """
    negative = tuple(-a for a in numerator)
    least = _greatest(negative, denominator, constant, low, high)
    return Interval(None if least is None else -least, _greatest(numerator, denominator, constant, low, high))


def _greatest(numerator: Vector, denominator: Vector, constant: Fraction, low: Vector,
              high: Vector) -> Fraction | None:
    if not dot(denominator, high) + constant:
        return None
    corner = tuple(lo if b else (hi if a > 0 else lo)
                   for a, b, lo, hi in zip(numerator, denominator, low, high, strict=True))
    if not dot(denominator, low) + constant and dot(numerator, corner) > 0:
        return None
    best = dot(numerator, high) / (dot(denominator, high) + constant)
    while True:
        corner = tuple(hi if a > best * b else lo
                       for a, b, lo, hi in zip(numerator, denominator, low, high, strict=True))
        below = dot(denominator, corner) + constant
        if not below or dot(numerator, corner) / below <= best:
            return best
        best = dot(numerator, corner) / below


SCALE_COLUMNS = ("name", "sense", "limit", "unit", "low", "high", "kept", "caution")


def text(found: ScaleError) -> Block:
    """Ratio, net carbs and targets at the worst that the scale can do, with what goes with a ratio."""
    return (Text(found.recipe.title, STRONG), _section(found), Text(""), *caution_lines(found.cautions))


def _section(found: ScaleError) -> Block:
    """The same as a part of a report; ends are rounded outwards."""
    return section(f"With the scale's error: {found.scale.name}",
                   table_of((("", "left"), ("from", "right"), ("to", "right"), ("", "left")), _interval_rows(found)))


def _interval_rows(found: ScaleError) -> Iterator[Sequence[Cell]]:
    for name, unit, interval in _without_target(found):
        yield name, *_interval_ends(interval, unit), ""
    for target in found.targets:
        limit = target.limit
        yield (f"{limit.name}, {limit_words(limit)}", *_interval_ends(target.interval, limit.unit, limit),
               Text("kept whatever the error", GOOD) if target.kept else Text("may be missed", BAD))


def _without_target(found: ScaleError) -> list[tuple[str, str, Interval]]:
    """Name, unit and interval of the ratio and the net carbs, where the recipe sets no target of them."""
    targets = {target.limit.nutrient for target in found.targets}
    figures = ((RATIO, ":1", found.ratio), (NET_CARBS, "g", found.net_carbs))
    return [(spoken(nutrient), unit, interval) for nutrient, unit, interval in figures if nutrient not in targets]


def _interval_ends(interval: Interval, unit: str, *limits: Limit) -> tuple[str, str]:
    def told(end: Fraction, way: Callable[[Fraction], int]) -> str:
        text = outwards(end, way, *limits, decimals=4 if unit == SHARE else 0 if unit == "kcal" else 2)
        return with_unit(short(in_unit(Fraction(text), unit), 4) if unit == SHARE else text, unit)

    return ("none" if interval.low is None else told(interval.low, math.floor),
            "no end" if interval.high is None else told(interval.high, math.ceil))


def outwards(value: Fraction, way: Callable[[Fraction], int], *limits: Limit, decimals: int = 2) -> str:
    """A value rounded away from the middle of its interval, but never across a limit it keeps or misses.

    >>> outwards(Fraction(19999, 10000), math.floor), outwards(Fraction(20001, 10000), math.ceil)
    ('1.99', '2.01')
    """
    def sides(of: Fraction) -> list[tuple[bool, bool]]:
        return [(of >= limit.bound, of <= limit.bound) for limit in limits]

    return until(value, decimals, lambda seen: sides(seen) == sides(value), way)


def data(found: ScaleError) -> Data:
    """The same in the keys of the JSON of `solve` under "scale_error"; an end without limit is null."""
    return _error_data(found) | {"cautions": list(found.cautions)}


def _error_data(found: ScaleError) -> Data:
    return {
        "scale": found.scale.name,
        "errors_g": [plain(error) for error in found.errors],
        "ratio": _interval_data(found.ratio),
        "net_carbs_g": _interval_data(found.net_carbs),
        "targets": [_target_data(target) for target in found.targets],
    }


def _target_data(target: LimitInterval) -> Data:
    limit = target.limit
    return {"name": limit.name, "sense": limit.sense, "limit": plain(limit.bound), "unit": limit.unit,
            **_interval_data(target.interval), "kept": target.kept}


def _interval_data(interval: Interval) -> Data:
    return {"low": plain(interval.low), "high": plain(interval.high)}


def rows(found: ScaleError) -> Rows:
    """A row a target, after a ratio and net carbs that are none."""
    caution = {"caution": in_a_cell(found.cautions)}
    named: Iterator[Data] = ({"name": name, "unit": unit, **_interval_data(interval)}
                             for name, unit, interval in _without_target(found))
    return SCALE_COLUMNS, [row | caution for row in (*named, *map(_target_data, found.targets))]


def bench_sections(dish: DishAtWeights | Impossible, scale: str | None, measures: bool) -> list[Block]:
    """What `--measures` and `--scale-error` add to the report of a dish; nothing where it has no weights."""
    found = _error_of(dish, scale)
    told = [_section(found)] if found else []
    return [_measures_section(dish.weights), *told] if measures and isinstance(dish, DishAtWeights) else told


def bench_data(dish: DishAtWeights | Impossible, scale: str | None) -> Data:
    """What `--scale-error` adds to the JSON of a dish."""
    found = _error_of(dish, scale)
    return {} if scale is None else {"scale_error": found and _error_data(found)}


def _error_of(dish: DishAtWeights | Impossible, scale: str | None) -> ScaleError | None:
    """The effect of the scale that is named; None where none is, or where there are no weights."""
    named = None if scale is None else scale_named(scale)
    return scale_error(dish.recipe, dish.grams_of_each, named, guaranteed=dish.guaranteed) \
        if named and isinstance(dish, DishAtWeights) else None


def _measures_section(weights: Sequence[Weight]) -> Block:
    """Weights in household measures where the food has one that fits."""
    cells = [(Text(item.ingredient), short_weight(item.grams), f"≈ {item.measure}") for item in weights if item.measure]
    if not cells:
        return section("In household measures", Text("No ingredient has a measure that fits.", QUIET))
    return section("In household measures (a help; the weights are the truth)",
                   table_of((("ingredient", "left"), ("g", "right"), ("about", "left")), cells))
