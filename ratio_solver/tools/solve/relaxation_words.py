"""A diagnosis in the cook's words: one sentence for the conflict, one line for each change that cures it.

And what is nearest to a band that no weights on the steps meet, as a section of a report and as data.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from ratio_solver.dish.constraints import MORE, Limit
from ratio_solver.foods.nutrients import ENERGY
from ratio_solver.foods.quantities import SHARE
from ratio_solver.output.blocks import QUIET, STRONG, Block, Cell, Text, section, table_of
from ratio_solver.output.json_csv import Data
from ratio_solver.output.numbers import decimal, in_unit, plain, short, weight, with_unit
from ratio_solver.output.side_by_side import EMPTY_SIDE, OPEN_SIDE
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.solving.result import Diagnosis, Nearest, Reached, Repair

ALL_DECIMALS = 14
"""More than a bound has that can be written into a recipe file."""

MOST_NAMED = 12
"""Limits of a conflict that its sentence names, targets aside: of more a reader loses the thread. The data have all."""

ASKED = {RATIO: "a ratio of {end} {size}", "target": "{end} {size} {nutrient}per serving",
         "proportion": "{end} {size} {name}"}
"""A limit as a noun, by kind: of any other kind it is of something."""

ORDERS = {
    (RATIO, True): "accept {to} instead of {was}",
    (RATIO, False): "allow a ratio of up to {to} instead of {was}",
    ("target", True): "accept {to} {nutrient}per serving instead of {was}",
    ("target", False): "allow {to} {nutrient}per serving instead of {was}",
    (SHARE, True): "accept {to} of {name} instead of {was}",
    (SHARE, False): "allow {to} of {name} instead of {was}",
    ("part", True): "let the {name} weigh {to} instead of {was}",
    ("part", False): "let the {name} weigh {to} instead of {was}",
    ("proportion", True): "accept {to} {name} instead of {was}",
    ("proportion", False): "allow {to} {name} instead of {was}",
    ("choose", False): "use up to {to} of {name} instead of {was}",
    ("ingredient", True): "lower {owner} minimum from {was} to {to}",
    ("ingredient", False): "raise {owner} maximum from {was} to {to}",
}
"""What to change, as an order, by kind and whether it is a minimum."""


def sentence(diagnosis: Diagnosis) -> str:
    """The conflict in one sentence.

    "With at least 120 g of stale rolls, no weights give at most 5 g net carbs per serving."
    """
    if diagnosis.undecided:
        return undecided_sentence(diagnosis)
    if not diagnosis.conflict:
        return _as_sentence(EMPTY_SIDE)
    targets = _all_asked(diagnosis, "target")
    others = _all_asked(diagnosis, "part", "proportion", "choose", "ingredient")
    if len(others) > MOST_NAMED:
        others[MOST_NAMED - 1:] = [f"{len(others) - MOST_NAMED + 1} more limits"]
    weights = "weights on the steps" if diagnosis.steps else "dish" if diagnosis.empty else "weights"
    verb = "gives" if diagnosis.empty else "give"
    if not targets:
        return f"No {weights} {verb} {listed(others)}{' together' if len(others) > 1 else ''}."
    both = "both " if len(targets) == 2 else ""
    given = f"With {listed(others)}, no" if others else "No"
    return f"{given} {weights} {verb} {both}{listed(targets)}."


def _as_sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."


def _all_asked(diagnosis: Diagnosis, *kinds: str) -> list[str]:
    """The limits of the conflict of some kinds as nouns; the two ends of a narrow band as one."""
    near, conflict = diagnosis.nearest, [limit for limit in diagnosis.conflict if limit.kind in kinds]
    if near is None or not {near.least, near.most} <= set(conflict):
        return [asked(limit) for limit in conflict]
    return [asked(limit, near.most if limit == near.least else None) for limit in conflict if limit != near.most]


def undecided_sentence(diagnosis: Diagnosis) -> str:
    """What is said where no weights were found in the time, and it is not known that there are none."""
    where = " on the steps" if diagnosis.between else ""
    open_ = _as_sentence(OPEN_SIDE.format(where))
    return f"{open_} Weights between the steps do (--exact), and a wider band or a finer step may." if where else open_


def empty_sentence(diagnosis: Diagnosis) -> str:
    """What is missing where only an empty dish would do."""
    only = "Only an empty dish breaks none of the limits, and that has no ratio. " if diagnosis.conflict else ""
    return f"{only}A least weight of the batch is missing: give an ingredient or a part a minimum."


def steps_sentence(diagnosis: Diagnosis) -> str:
    """What is in the way where weights between the steps would do, and what does without a change of the limits.

    "In whole pieces: egg, 50 g each. Weights between the steps do (--exact), and a finer step may."
    """
    said = []
    for piece, size, each in ((True, "whole pieces", " each"), (False, "steps", "")):
        found = [f"{one.ingredient}, {short(one.grams, ALL_DECIMALS)} g{each}" for one in diagnosis.stepped
                 if one.piece is piece]
        said += [f"In {size}: {'; '.join(found)}."] if found else []
    whole = {one.ingredient for one in diagnosis.stepped if one.piece}
    pieces = all(limit.kind == "ingredient" and limit.subject.words in whole for limit in diagnosis.conflict)
    return " ".join([*said, "Weights between the pieces do (--exact)." if pieces else
                     "Weights between the steps do (--exact), and a finer step may."])


def asked(limit: Limit, most: Limit | None = None) -> str:
    """A limit as a noun: "a ratio of at least 2:1", "at most 60 g of olive oil"; with its most as a band.

    "a ratio of exactly 2:1", "between 20 and 20.1 g protein per serving".
    """
    end, size = "at least" if limit.sense == MORE else "at most", measure(limit, limit.bound)
    if most:
        end, size = ("exactly", size) if limit.bound == most.bound else (
            "between", f"{size} and {measure(most, most.bound)}")
    return ASKED.get(_kind_of_words(limit), "{end} {size} of {name}").format(end=end, size=size, **_names(limit))


def told(repair: Repair) -> str:
    """What to change, as an order: "raise olive oil's maximum from 60 g to 84 g"."""
    limit = repair.limit
    return ORDERS[_kind_of_words(limit), limit.sense == MORE].format(
        to=measure(limit, repair.to), was=measure(limit, limit.bound), **_names(limit))


def _kind_of_words(limit: Limit) -> str:
    """The kind of its words: of a target that is a quotient its unit's."""
    return RATIO if limit.unit == ":1" else SHARE if limit.nutrient and limit.unit == SHARE else limit.kind


def _names(limit: Limit) -> dict[str, str]:
    """What a limit is about: as it is called, as a nutrient in a sentence, as the owner of a bound."""
    name = limit.subject.words
    return {"name": name, "nutrient": "" if limit.nutrient == ENERGY else f"{name} ",
            "owner": f"{name}'" if name.endswith("s") else f"{name}'s"}


def measure(limit: Limit, value: Fraction) -> str:
    """A bound in its unit, with all its decimals: "5 g", "1.74:1", "12.5 %"."""
    return with_unit(_all_decimals(limit, value), limit.unit)


def _all_decimals(limit: Limit, value: Fraction, *, of_a_band: bool = False) -> str:
    """The same without its unit; two decimals at least of a ratio that is not whole, or is an end of a band."""
    whole, point, rest = short(in_unit(value, limit.unit), ALL_DECIMALS).partition(".")
    return f"{whole}.{rest:0<2}" if limit.unit == ":1" and (point or of_a_band) else f"{whole}{point}{rest}"


def listed(words: Sequence[str]) -> str:
    """Words as a list in a sentence.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


BEYOND_SIGHT = 15
"""Decimals of a value that is told at most."""


def nearest_section(recipe: Recipe, nearest: Nearest) -> Block:
    """The values on both sides, the weights that have them, and the band that is met."""
    sides = [(side, reached) for side, reached in sides_of(nearest) if reached]
    rows: list[list[Cell]] = [[Text(nearest.least.name), *(
        Text(value_words(nearest.least, reached.value), STRONG) for _, reached in sides)]]
    rows += [[Text(item.label), *(weight(reached.weights[place]) for _, reached in sides)]
             for place, item in enumerate(recipe.ingredients) if item.adjustable]
    sure = "All the weights that the bounds allow were gone through: none is nearer." if nearest.proven else \
        "None nearer was found around the best weights between the steps."
    return section("Nearest on the steps, every other limit kept",
                   table_of((("", "left"), *((f"{side} it", "right") for side, _ in sides)), rows),
                   *([Text(band_words(nearest))] if nearest.band else []), Text(sure, QUIET))


def sides_of(nearest: Nearest) -> tuple[tuple[str, Reached | None], ...]:
    """What is nearest below a band, and above it."""
    return ("below", nearest.below), ("above", nearest.above)


def value_words(limit: Limit, value: Fraction) -> str:
    """A value beside a bound with so many decimals that it is seen to miss it: "2.0003:1", cut and never rounded."""
    off = abs(in_unit(value - limit.bound, limit.unit))
    places = min(BEYOND_SIGHT, max(2, 1 + math.ceil(-math.log10(off)))) if off else 2
    scaled = math.floor(in_unit(value, limit.unit) * 10**places)
    return with_unit(decimal(Fraction(scaled, 10**places), places), limit.unit)


def band_words(nearest: Nearest) -> str:
    """The narrowest band that is met, and by which of the two: "A band of 2.00 to 2.01:1 is met by that above."""
    assert nearest.band is not None
    low, high = (_all_decimals(nearest.least, end, of_a_band=True) for end in nearest.band)
    side = "above" if nearest.band[0] == nearest.least.bound else "below"
    return f"A band of {low} to {with_unit(high, nearest.most.unit)} is met by that {side}."


def nearest_data(recipe: Recipe, nearest: Nearest | None) -> Data | None:
    """The same in keys of the JSON."""
    return None if nearest is None else {
        "limit": nearest.least.name, "min": plain(nearest.least.bound), "max": plain(nearest.most.bound),
        "unit": nearest.least.unit,
        **{side: reached and {"value": plain(reached.value), "weights": weights_data(recipe, reached.weights)}
           for side, reached in sides_of(nearest)},
        "band": None if nearest.band is None else {"min": plain(nearest.band[0]), "max": plain(nearest.band[1])},
        "proven": nearest.proven,
    }


def weights_data(recipe: Recipe, weights: tuple[Fraction, ...]) -> list[Data]:
    """Weights that are no answer: those beside a band, or between the steps."""
    return [{"ingredient": item.label, "grams": plain(grams)}
            for item, grams in zip(recipe.ingredients, weights, strict=True)]
