"""What is nearest to a band that no weights on the steps meet: as blocks of a report, and as data."""

from __future__ import annotations

import math
from fractions import Fraction

from ratio_solver.dish.constraints import Limit
from ratio_solver.output.blocks import QUIET, STRONG, Block, Cell, Text, section, table_of
from ratio_solver.output.json_csv import Data
from ratio_solver.output.numbers import decimal, in_unit, plain, short, weight, with_unit
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.result import Nearest, Reached

SIDES = ("below", "above")

SURE = {True: "All the weights that the bounds allow were gone through: none is nearer.",
        False: "None nearer was found around the best weights between the steps."}

BEYOND_SIGHT = 15
"""Decimals of a value that is told at most."""


def nearest_section(recipe: Recipe, nearest: Nearest) -> Block:
    """The values on both sides, the weights that have them, and the band that is met."""
    sides = [(side, reached) for side, reached in zip(SIDES, (nearest.below, nearest.above), strict=True) if reached]
    rows: list[list[Cell]] = [[Text(nearest.least.name), *(
        Text(value_words(nearest.least, reached.value), STRONG) for _, reached in sides)]]
    rows += [[Text(item.label), *(weight(reached.weights[place]) for _, reached in sides)]
             for place, item in enumerate(recipe.ingredients) if item.adjustable]
    return section("Nearest on the steps, every other limit kept",
                   table_of((("", "left"), *((f"{side} it", "right") for side, _ in sides)), rows),
                   *([Text(band_words(nearest))] if nearest.band else []), Text(SURE[nearest.proven], QUIET))


def value_words(limit: Limit, value: Fraction) -> str:
    """A value beside a bound with so many decimals that it is seen to miss it: "2.0003:1", cut and never rounded."""
    off = abs(in_unit(value - limit.bound, limit.unit))
    places = min(BEYOND_SIGHT, max(2, 1 + math.ceil(-math.log10(off)))) if off else 2
    scaled = math.floor(in_unit(value, limit.unit) * 10**places)
    return with_unit(decimal(Fraction(scaled, 10**places), places), limit.unit)


def band_words(nearest: Nearest) -> str:
    """The narrowest band that is met, and by which of the two: "A band of 2.00 to 2.01:1 is met by that above."""
    assert nearest.band is not None
    low, high = nearest.band
    side = SIDES[int(low == nearest.least.bound)]
    return f"A band of {_end(nearest.least, low)} to {with_unit(_end(nearest.most, high), nearest.most.unit)} " \
        f"is met by that {side}."


def _end(limit: Limit, value: Fraction) -> str:
    text = short(in_unit(value, limit.unit), 14)
    whole, _, rest = text.partition(".")
    return f"{whole}.{rest:0<2}" if limit.unit == ":1" else text


def nearest_data(recipe: Recipe, nearest: Nearest | None) -> Data | None:
    """The same in keys of the JSON."""
    if nearest is None:
        return None
    return {
        "limit": nearest.least.name, "min": plain(nearest.least.bound), "max": plain(nearest.most.bound),
        "unit": nearest.least.unit, "below": _side(recipe, nearest.below), "above": _side(recipe, nearest.above),
        "band": None if nearest.band is None else {"min": plain(nearest.band[0]), "max": plain(nearest.band[1])},
        "proven": nearest.proven,
    }


def _side(recipe: Recipe, reached: Reached | None) -> Data | None:
    if reached is None:
        return None
    return {"value": plain(reached.value), "weights": weights_data(recipe, reached.weights)}


def weights_data(recipe: Recipe, weights: tuple[Fraction, ...]) -> list[Data]:
    """Weights that are no answer: those beside a band, or between the steps."""
    return [{"ingredient": item.label, "grams": plain(grams)}
            for item, grams in zip(recipe.ingredients, weights, strict=True)]
