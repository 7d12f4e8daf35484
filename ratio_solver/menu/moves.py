"""Adjustable weights as the variables of a stack.

An adjustable weight is ``w = base + up - down``, base its start brought within its bounds: two variables in boxes
and no row, so that a recipe has as many rows as it has targets.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratio_solver.foods.policy import Policy
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints, Stack, StackSolution
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.food_arrays import FoodArrays
from ratio_solver.menu.rows import MenuRows
from ratio_solver.solving.formulation import COSTS

NANO = 10**9
"""Weights are whole numbers of 1e-9 g: the digits of `propose.DIGITS`."""


@dataclass(frozen=True)
class Moves:
    """The two variables of each adjustable weight.

    Attributes
    ----------
    base : ndarray, shape (rows,)
        The start, brought within the bounds; of a fixed ingredient its weight.
    up, down : ndarray of int, shape (rows,)
        Place of the variable, -1 where the weight cannot move that way.
    stack : Stack
    """

    base: Floats
    up: Ints
    down: Ints
    stack: Stack


def moves_of(menu: MenuArrays, rows: MenuRows, cost: Floats | None) -> Moves:
    """The two variables of each weight, and the stack of all recipes."""
    adjustable = ~np.isnan(menu.high)
    base = np.where(adjustable, np.clip(menu.start, menu.low, menu.high), menu.start)
    if cost is not None:
        base = np.where(adjustable, menu.low, base)
    room_up = np.where(adjustable, menu.high - base, 0.0)
    room_down = np.where(adjustable, base - menu.low, 0.0)
    has = np.column_stack((room_up > 0, room_down > 0))
    place = np.where(has.ravel(), np.cumsum(has.ravel()) - 1, -1).reshape(has.shape)
    up, down = place[:, 0], place[:, 1]
    width = np.column_stack((room_up, room_down))[has]
    slopes = np.column_stack((menu.keep, menu.keep)) if cost is None else \
        np.column_stack((np.nan_to_num(cost), -np.nan_to_num(cost)))
    entry_has = has[rows.ingredient]
    values = np.column_stack((rows.value, -rows.value))[entry_has]
    stack = Stack(
        count=menu.count, cost=slopes[has], lower=np.zeros(len(width)), upper=width,
        owner=np.repeat(menu.owner, has.sum(axis=1)),
        bound=rows.right - rows.total(rows.value * base[rows.ingredient]),
        equal=np.zeros(len(rows.owner), dtype=bool), row_owner=rows.owner,
        row=np.repeat(rows.row, entry_has.sum(axis=1)), column=place[rows.ingredient][entry_has], value=values,
    )
    return Moves(base, up, down, stack)


def flags_at(flags: Bools, places: Ints) -> Bools:
    """Flags of variables by their places; False where there is none."""
    return np.append(flags, False)[places]


def free_weights(moves: Moves, found: StackSolution) -> tuple[Bools, Bools]:
    """Weights that no multiplier holds at a bound or at the start: those above the start, those below."""
    return flags_at(found.free, moves.up), flags_at(found.free, moves.down)


def still_weights(menu: MenuArrays, moves: Moves, found: StackSolution) -> Floats:
    """Where the others stand, g."""
    still = np.where(flags_at(found.at_upper, moves.up), menu.high, moves.base)
    return np.where(flags_at(found.at_upper, moves.down), menu.low, still)


def gram_costs(menu: MenuArrays, foods: FoodArrays, policy: Policy, prefer: str, *, zero: bool = False) -> Floats:
    """Cost of 1 g of each ingredient, in the unit of the preference; NaN (or 0) where unknown."""
    if prefer == "cheapest":
        table = np.array([np.nan if f.price is None else f.price / 1000 / (1 - (f.refuse or 0.0) / 100)
                          for f in foods.foods])
        costs = table[menu.food] / menu.yield_
        return np.asarray(np.nan_to_num(costs) if zero else costs)
    column = {"lightest": "energy_kcal", "lowest-carb": "net_carbs_g"}[prefer]
    assert prefer in COSTS
    return np.nan_to_num(foods.amounts(column, policy))[menu.food] / menu.yield_ / menu.servings[menu.owner]
