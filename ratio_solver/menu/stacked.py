"""Best weights of many recipes at once: stacked linear programmes, vertices, and the exact check.

What a stack cannot settle beyond doubt is left `open`: those recipes take the single path.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ratio_solver.exact import Vector, exact
from ratio_solver.foods.policy import Policy
from ratio_solver.lp.basis import common_point
from ratio_solver.lp.bounded_vertices import UNIT, Vertices, vertices
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints, free_less_tight, solve_stack
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.food_arrays import FoodArrays
from ratio_solver.menu.moves import NANO, free_weights, gram_costs, moves_of, still_weights
from ratio_solver.menu.rows import MenuRows
from ratio_solver.menu.ties import divisors, ties_broken

STACKED = ("closest", "cheapest", "lightest", "lowest-carb")
"""Preferences that a stack can solve; `even` takes the single path."""


@dataclass(frozen=True)
class MenuSolution:
    """Best weights.

    Attributes
    ----------
    nano : ndarray of int, shape (rows,)
        Weight of each ingredient in 1e-9 g.
    price : ndarray, shape (target rows,)
        Multiplier of each target's linear row, in the row's own sense, and its error.
    price_error : ndarray, shape (target rows,)
    divisor, divisor_error : ndarray, shape (target rows,)
        Denominator of each target's quotient, which turns that into the price of the bound, and its error.
    open : ndarray of bool, shape (recipes,)
        Recipes that are not settled here.
    free, rise : ndarray of bool, shape (rows,)
        Weights between their bounds and start; of these, those above the start.
    still : ndarray, shape (rows,)
        Weights of the others, g.
    bound : ndarray, shape (recipes,)
        No weights cost less; rounding counted.
    """

    nano: Ints
    price: Floats
    price_error: Floats
    divisor: Floats
    divisor_error: Floats
    open: Bools
    free: Bools
    rise: Bools
    still: Floats
    bound: Floats


def solved(menu: MenuArrays, rows: MenuRows, foods: FoodArrays, policy: Policy, prefer: str) -> MenuSolution:
    """Weights, to the digits that `propose.solve` gives, with everything checked that it checks."""
    cost = None if prefer == "closest" else gram_costs(menu, foods, policy, prefer)
    moves = moves_of(menu, rows, cost)
    found = solve_stack(moves.stack)
    first, tied = found, ~found.missed & (free_less_tight(moves.stack, found) > 0)
    if prefer == "closest" and tied.any():
        found = ties_broken(menu, moves, first, tied)
    unsettled = found.missed | rows.undecided | (free_less_tight(moves.stack, found) != 0)
    if cost is not None:
        unsettled |= np.bincount(menu.owner[np.isnan(cost) & ~np.isnan(menu.high)], minlength=menu.count) > 0
    rise, fall = free_weights(moves, found)
    free, still = rise | fall, still_weights(menu, moves, found)
    slope = np.where(rise, menu.keep, -menu.keep) if cost is None else np.nan_to_num(cost)
    exactly = vertices(menu.count, menu.owner, rows.owner, rows.row, rows.ingredient, rows.value, rows.right, slope,
                       free, found.tight, still)
    unsettled |= ~exactly.known | _beside(menu, rows, moves.base, exactly, rise, fall, found.tight)
    nano, unsure = _rounded(exactly, free)
    for recipe in np.unique(menu.owner[unsure & ~unsettled[menu.owner]]):
        settled = _exact_weights(menu, rows, foods, policy, int(recipe), free, found.tight, still, nano)
        unsettled[recipe] |= not settled
    certified, bound = _certified(menu, rows, nano, exactly.prices, slope if cost is not None else None)
    divisor, divisor_error = divisors(menu, rows, moves, first, tied & ~unsettled, nano)
    return MenuSolution(nano, exactly.prices, exactly.price_error, divisor, divisor_error, unsettled | ~certified,
                        free, rise, still, bound)


def _beside(menu: MenuArrays, rows: MenuRows, base: Floats, found: Vertices, rise: Bools, fall: Bools,
            tight: Bools) -> Bools:
    """Recipes whose vertex may lie on a bound or a row that is not part of it (or beyond): not settled here."""
    margin = found.error + 4 * UNIT * np.abs(found.values)
    near = (rise | fall) & ~((found.values - menu.low > margin) & (menu.high - found.values > margin))
    near |= (rise & (found.values - base <= margin)) | (fall & (base - found.values <= margin))
    over = rows.total(rows.value * found.values[rows.ingredient]) - rows.right
    size = np.abs(rows.right) + rows.total(np.abs(rows.value * found.values[rows.ingredient]))
    doubt = 64 * UNIT * size + rows.total(np.abs(rows.value) * found.error[rows.ingredient])
    loose = ~tight & (over <= doubt)
    cheap = tight & (found.prices <= found.price_error)
    return (np.bincount(menu.owner[near], minlength=menu.count)
            + np.bincount(rows.owner[loose | cheap], minlength=menu.count)) > 0


def _rounded(found: Vertices, free: Bools) -> tuple[Ints, Bools]:
    """Weights in 1e-9 g, and the free ones whose last digit the error leaves open."""
    scaled = found.values * NANO
    nano = np.rint(scaled)
    to_half = np.abs(np.abs(scaled - nano) - 0.5) / NANO
    unsure = free & (to_half <= found.error + 4 * UNIT * np.abs(found.values))
    return nano.astype(np.int64), unsure


def _exact_weights(menu: MenuArrays, rows: MenuRows, foods: FoodArrays, policy: Policy, recipe: int, free: Bools,
                   tight: Bools, still: Floats, nano: Ints) -> bool:
    """Enter the weights of a recipe computed in rationals; False where its rows do not determine them."""
    items = range(int(menu.first[recipe]), int(menu.first[recipe + 1]))
    moving = [i for i in items if free[i]]
    equations: list[tuple[Vector, Fraction]] = []
    for line in np.flatnonzero(tight & (rows.owner == recipe)):
        column, bound = rows.columns[rows.column[line]], exact(float(rows.bound[line]))
        entry = {}
        for i in items:
            above, below = column.exact_terms(foods, policy, int(menu.food[i]))
            entry[i] = (above - bound * below) / exact(float(menu.yield_[i]))
        rest = sum((entry[i] * exact(float(still[i])) for i in items if not free[i]), Fraction(0))
        right = bound * int(rows.constant[line]) - rest
        equations.append((tuple(entry[i] for i in moving), right))
    values = common_point(equations, len(moving))
    if values is None:
        return False
    for i, value in zip(moving, values, strict=True):
        nano[i] = round(value * NANO)
    return True


def _certified(menu: MenuArrays, rows: MenuRows, nano: Ints, prices: Floats,
               slope: Floats | None) -> tuple[Bools, Floats]:
    """Whether every row holds at the weights and no weights cost less, within `TOLERANCE`; and the bound on the cost.

    Rounding is counted against both.

    The bound is that of `ratio_solver.lp.certificate`, with the moves eliminated: for multipliers y >= 0,

        cost  >=  sum y_r b_r + sum_i min over w_i in [low_i, high_i] of (cost_i(w_i) - g_i w_i),   g = A' y,

    and a convex cost of pieces is least at a bound or at the start.
    """
    tolerance = float(TOLERANCE)
    weights = nano / NANO
    products = rows.value * weights[rows.ingredient]
    over = rows.total(products) - rows.right
    size = np.zeros(len(rows.owner))
    np.maximum.at(size, rows.row, np.abs(rows.value))
    doubt = 64 * UNIT * (np.abs(rows.right) + rows.total(np.abs(products)))
    broken = over - doubt < -tolerance * np.where(size > 0, size, 1.0)
    y = np.maximum(prices, 0.0)
    g = np.bincount(rows.ingredient, rows.value * y[rows.row], minlength=len(menu.owner))
    g_size = np.bincount(rows.ingredient, np.abs(rows.value) * y[rows.row], minlength=len(menu.owner))
    adjustable = ~np.isnan(menu.high)
    low, high = np.where(adjustable, menu.low, menu.start), np.where(adjustable, menu.high, menu.start)
    middle = np.clip(menu.start, low, high)

    def cost(w: Floats) -> Floats:
        each = menu.keep * np.abs(w - menu.start) if slope is None else slope * w
        return np.where(adjustable, each, 0.0)

    least = np.minimum.reduce([cost(w) - g * w for w in (low, middle, high)])
    total = np.bincount(menu.owner, cost(weights), minlength=menu.count)
    bound = np.bincount(rows.owner, y * rows.right, minlength=menu.count) + \
        np.bincount(menu.owner, least, minlength=menu.count)
    rounding = 64 * UNIT * (
        np.bincount(rows.owner, y * np.abs(rows.right), minlength=menu.count)
        + np.bincount(menu.owner, cost(low) + cost(high) + g_size * np.maximum(high, 1.0), minlength=menu.count)
    )
    within = total - bound + rounding <= tolerance * np.maximum(1.0, np.abs(total))
    within &= np.bincount(menu.owner[(weights < low) | (weights > high)], minlength=menu.count) == 0
    return np.asarray(within & (np.bincount(rows.owner[broken], minlength=menu.count) == 0)), bound - rounding
