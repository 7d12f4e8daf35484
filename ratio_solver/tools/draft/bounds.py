"""How far each ingredient of a draft may move, and which foods carry less carbohydrate in the same use."""

from __future__ import annotations

import math
from fractions import Fraction

from ratio_solver.exact import exact
from ratio_solver.foods.content import content
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import FoodTable
from ratio_solver.tools.draft.model import Drafted

FIXED = frozenset(("spice", "herb", "leavening", "supplement", "binder"))
"""Roles that season or raise a dish: they stay as they are."""

LEFT_OUT = frozenset(("sugar", "flour", "grain", "pasta", "bread", "starchy vegetable", "legume"))
"""Roles of sugars, flours, grains and starchy foods: they may be left out."""

LEAST_MOVED = 2.0
"""What weighs less than so many g stays as it is: it moves no ratio."""

FINE_BELOW, FINE_STEP = 20.0, 0.1
"""What weighs less than so many g is weighed on steps of so many."""

THICKENS = Fraction(1, 15)
"""A flour that is at most this share of its part thickens it; more is its body. Common practice, no source."""

MOST_TOLD = 3
"""Foods that are named for one that may be left out."""

_USES = {"sugar": "sweetness", "grain": "grains", "pasta": "noodles", "bread": "crumbs", "starchy vegetable": "bulk",
         "legume": "pulses", "flour": "crust"}
"""What a food of a role does in a dish: its use hangs on the dish, not on the food (`use_of`), so it has no column."""


def bounds_of(item: Drafted, percent: float) -> tuple[float, float] | None:
    """Least and greatest weight of an ingredient in g that may move by so many percent; None for a fixed one.

    Parameters
    ----------
    item : Drafted
    percent : float
        How far to each side. Fats may go from nothing to double, sugars, flours, grains and starchy foods from nothing
        to what they are, eggs in whole pieces; seasonings and leavening stay.
    """
    role, grams, share = item.food.role, item.grams, percent / 100
    if role in LEFT_OUT:
        return 0.0, grams
    if role in FIXED or (role != "fat" and grams < LEAST_MOVED):
        return None
    if role == "fat":
        return 0.0, 2 * grams
    piece = piece_of(item)
    if piece:
        count = grams / piece
        return math.floor(count * (1 - share) + 1e-9) * piece, math.ceil(count * (1 + share) - 1e-9) * piece
    step = step_of(item) or 1.0
    return (round(math.ceil(grams * max(1 - share, 0) / step - 1e-9) * step, 4),
            round(math.floor(grams * (1 + share) / step + 1e-9) * step, 4))


def piece_of(item: Drafted) -> float | None:
    """The weight of one where it can only be used whole, g: an egg."""
    whole = item.counted is not None and item.counted.denominator == 1
    return float(item.weighed.piece) if item.food.role == "egg" and whole and item.weighed.piece else None


def step_of(item: Drafted) -> float | None:
    """The step of the scale that a small amount needs, g; None where the usual one will do."""
    return FINE_STEP if item.grams < FINE_BELOW and not piece_of(item) else None


def use_of(item: Drafted, part: Fraction) -> str:
    """What a source of carbohydrate does in the dish: "thickener", "crust", "sweetness", ...; empty where it is none.

    Parameters
    ----------
    item : Drafted
    part : Fraction
        Weight of all that stands under the same heading, g: the flour of a crumble is its body.
    """
    use = _USES.get(item.food.role, "")
    pastry = item.food.role == "bread" and any(word in item.food.name for word in ("pastry", "phyllo", "pie crust"))
    if use == "crust" and part and exact(item.grams) <= THICKENS * part:
        return "thickener"
    return "crust" if pastry else use


def lower(item: Drafted, part: Fraction, foods: FoodTable) -> tuple[tuple[Food, Fraction], ...]:
    """Up to three foods of the same use, by the table's column, with fewer net carbs: each with those of 100 g, g.

    The fewest come first.
    """
    own, use = content(item.food, NET_CARBS, Policy()), use_of(item, part)
    told = [(food, net) for food in foods if use and use in food.use
            and (net := content(food, NET_CARBS, Policy())) is not None and own is not None and net < own]
    return tuple(sorted(told, key=lambda pair: pair[1])[:MOST_TOLD])
