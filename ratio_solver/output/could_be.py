"""Ranges in words: what a weight could be, what is equally good, what loosening a limit saves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from ratio_solver.dish.status import LimitState, Weight
from ratio_solver.output.numbers import decimal, short

WIDE = Fraction(1, 100)
"""Grams; a range that is narrower is no choice."""

MOST_NAMED = 4
"""Weights named as equally good; further ones are counted."""

STEPS = {":1": (0.1, "{}"), "share": (0.01, "{} point{}"), "g": (1.0, "{} g"), "mg": (100.0, "{} mg"),
         "kcal": (10.0, "{} kcal"), "ug": (1.0, "{} ug")}
"""Per unit, the loosening that a report states the saving for, and its words."""

LEAST_STEP = 1e-3
"""A price that holds for less than this share of such a step is not stated."""


def could_be(item: Weight) -> str:
    """The weights that keep all limits, rounded inwards: each weight named really is possible."""
    if item.lowest is None or item.highest is None or not item.maximum:
        return ""
    if item.highest - item.lowest < WIDE:
        return "no other"
    return span_text(item.lowest, item.highest)


def span_text(lowest: Fraction, highest: Fraction) -> str:
    """"12 to 31", rounded inwards.

    >>> span_text(Fraction(121, 10), Fraction(31)), span_text(Fraction(121, 10), Fraction(125, 10))
    ('13 to 31', '12.1 to 12.5')
    """
    decimals = 0 if math.floor(highest) > math.ceil(lowest) else 2
    scale = 10**decimals
    low, high = Fraction(math.ceil(lowest * scale), scale), Fraction(math.floor(highest * scale), scale)
    return f"{short(low, decimals)} to {short(high, decimals)}"


def best_line(weights: Sequence[Weight], exact: bool) -> str:
    """Whether other weights are as good, and which."""
    free = [item for item in weights if item.best_lowest is not None and item.best_highest is not None
            and item.best_highest - item.best_lowest >= WIDE]
    if not any(item.best_lowest is not None for item in weights):
        return ""
    if not free:
        return "the only best answer" if exact else "between the steps there is only one best answer"
    spans = ", ".join(f"{span_text(item.best_lowest or Fraction(0), item.best_highest or Fraction(0))} g of "
                      f"{item.ingredient}" for item in free[:MOST_NAMED])
    more = len(free) - MOST_NAMED
    others = f", and {more} other{'s' if more > 1 else ''}" if more > 0 else ""
    return f"equally good{'' if exact else ' between the steps'}: {spans}{others}"


def could_be_lines(weights: Sequence[Weight]) -> str:
    """What each weight could be, in one sentence, for a table without room for it."""
    ranged = [(item, text) for item in weights if (text := could_be(item))]
    return ", ".join(f"{item.ingredient} {text}" for item, text in ranged)


def loosening(state: LimitState) -> tuple[str, float]:
    """By how much to loosen a limit, in words, and how much less the objective then is; ("", 0) where nothing is.

    The step is shortened to what the saving is known for.
    """
    looser, limit = state.looser, state.limit
    if looser is None or not looser.price or limit.unit not in STEPS:
        return "", 0.0
    usual, words = STEPS[limit.unit]
    bound = float(limit.bound)
    room = math.inf if looser.until is None else abs(looser.until - bound)
    if limit.sense == ">=":
        room = min(room, bound)
    step = usual if room >= usual else _shortened(room, usual)
    if not step:
        return "", 0.0
    shown = step / usual if limit.unit == "share" else step
    figure = decimal(shown, 6).rstrip("0").rstrip(".")
    return words.format(figure, "" if shown == 1 else "s"), -looser.change(step if limit.sense == "<=" else -step)


def _shortened(room: float, usual: float) -> float:
    """The room, cut to one figure: a step that a cook can read."""
    if room < LEAST_STEP * usual:
        return 0.0
    unit = 10.0 ** math.floor(math.log10(room) + 1e-9)
    return math.floor(room / unit + 1e-9) * unit
