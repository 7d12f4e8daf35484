"""Best weights of many recipes at once: stacked linear programmes, vertices, and the exact check.

An adjustable weight is ``w = base + up - down``, base its start brought within its bounds: two variables in boxes
and no row, so that a recipe has as many rows as it has targets. What a stack cannot settle beyond doubt is left
`open`: those recipes take the single path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from ratio_solver.foods.food import exact
from ratio_solver.foods.policy import Policy
from ratio_solver.linear.bounded_vertices import UNIT, Vertices, vertices
from ratio_solver.linear.certificate import TOLERANCE
from ratio_solver.linear.exact_vertex import solve_exactly
from ratio_solver.linear.model import Floats
from ratio_solver.linear.stack import Bools, Ints, Stack, StackSolution, solve_stack
from ratio_solver.proposals.formulate import COSTS, roots
from ratio_solver.proposals.menus.arrays import MenuArrays
from ratio_solver.proposals.menus.foods import FoodArrays
from ratio_solver.proposals.menus.limits import MenuRows

NANO = 10**9
"""Weights are whole numbers of 1e-9 g: the digits of `propose.DIGITS`."""

STACKED = ("closest", "cheapest", "lightest", "lowest-carb")
"""Preferences that a stack can solve; `even` takes the single path."""


@dataclass(frozen=True)
class MenuSolution:
    """Best weights.

    Attributes
    ----------
    nano : ndarray of int, shape (rows,)
        Weight of each ingredient in 1e-9 g.
    linear : ndarray of int, shape (rows,)
        The same in the linear programme, which the prices belong to.
    price : ndarray, shape (target rows,)
        Multiplier of each target's linear row, in the row's own sense, and its error.
    price_error : ndarray, shape (target rows,)
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
    linear: Ints
    price: Floats
    price_error: Floats
    open: Bools
    free: Bools
    rise: Bools
    still: Floats
    bound: Floats


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


def solved(menu: MenuArrays, rows: MenuRows, foods: FoodArrays, policy: Policy, prefer: str) -> MenuSolution:
    """Weights, to the digits that `propose.solve` gives, with everything checked that it checks."""
    cost = None if prefer == "closest" else gram_costs(menu, foods, policy, prefer)
    moves = moves_of(menu, rows, cost)
    found = solve_stack(moves.stack)
    tied = ~found.missed & (_count(moves.stack, found) > 0)
    parting = tied & _parting(menu, rows, moves, found)
    if prefer == "closest" and tied.any():
        found = _ties_broken(menu, moves, found, tied)
    unsettled = found.missed | rows.undecided | (_count(moves.stack, found) != 0) | parting
    if cost is not None:
        unsettled |= np.bincount(menu.owner[np.isnan(cost) & ~np.isnan(menu.high)], minlength=menu.count) > 0
    rise, fall = _at(found.free, moves.up), _at(found.free, moves.down)
    free = rise | fall
    slope = np.where(rise, menu.keep, -menu.keep) if cost is None else np.nan_to_num(cost)
    still = np.where(_at(found.at_upper, moves.up), menu.high, moves.base)
    still = np.where(_at(found.at_upper, moves.down), menu.low, still)
    exactly = vertices(menu.count, menu.owner, rows.owner, rows.row, rows.ingredient, rows.value, rows.right, slope,
                       free, found.tight, still)
    unsettled |= ~exactly.known | _beside(menu, rows, moves.base, exactly, rise, fall, found.tight)
    nano, unsure = _rounded(exactly, free)
    for recipe in np.unique(menu.owner[unsure & ~unsettled[menu.owner]]):
        settled = _exact_weights(menu, rows, foods, policy, int(recipe), free, found.tight, still, nano)
        unsettled[recipe] |= not settled
    certified, bound = _certified(menu, rows, nano, exactly.prices, slope if cost is not None else None)
    return MenuSolution(nano, nano, exactly.prices, exactly.price_error, unsettled | ~certified, free, rise, still,
                        bound)


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


def _count(stack: Stack, found: StackSolution) -> Ints:
    """Free variables less tight rows of each problem: 0 where these determine one vertex."""
    free = np.bincount(stack.owner[found.free], minlength=stack.count)
    return np.asarray(free - np.bincount(stack.row_owner[found.tight], minlength=stack.count))


def _parting(menu: MenuArrays, rows: MenuRows, moves: Moves, found: StackSolution) -> Bools:
    """Recipes with a tie that parts as a quotient limit moves: then its price to one side is another food's.

    Foods that are equally good at this bound stay so at another only where a unit of what they do for the row
    takes the same share of its denominator.
    """
    free = _at(found.free, moves.up) | _at(found.free, moves.down)
    entries = found.tight[rows.row] & free[rows.ingredient] & (rows.value != 0)
    row, share = rows.row[entries], rows.below[entries] / rows.value[entries]
    least, most = np.full(len(rows.owner), np.inf), np.full(len(rows.owner), -np.inf)
    np.minimum.at(least, row, share)
    np.maximum.at(most, row, share)
    apart = (most > least) & (most - least > 1e-9 * (1 + np.abs(most)))
    return np.bincount(rows.owner[apart], minlength=menu.count) > 0


def _at(flags: Bools, places: Ints) -> Bools:
    """Flags of variables by their places; False where there is none."""
    return np.append(flags, False)[places]


def _ties_broken(menu: MenuArrays, moves: Moves, found: StackSolution, tied: Bools) -> StackSolution:
    """Among equally good answers those in which the first listed moves: a second stack, on the best faces."""
    adjustable = ~np.isnan(menu.high)
    before = np.cumsum(adjustable) - adjustable
    nth = before - before[menu.first[:-1]][menu.owner]
    weights = np.array([float(root) for root in roots(int(nth.max(initial=0)) + 1)])[nth]
    cost = np.zeros(len(moves.stack.cost))
    for places in (moves.up, moves.down):
        cost[places[places >= 0]] = weights[places >= 0]
    stack = moves.stack
    still = np.where(found.at_upper, stack.upper, stack.lower)
    face = replace(
        stack, cost=cost, lower=np.where(found.free, stack.lower, still),
        upper=np.where(found.free, stack.upper, still), equal=found.tight,
    )
    part, variables, lines = _chosen(face, tied)
    second = solve_stack(part)
    free, at_upper, tight, missed = (a.copy() for a in (found.free, found.at_upper, found.tight, found.missed))
    at_upper[variables] = np.where(found.free[variables], second.at_upper, found.at_upper[variables])
    free[variables] &= second.free
    tight[lines] |= second.tight
    missed[np.flatnonzero(tied)] |= second.missed
    return StackSolution(found.values, free, at_upper, tight, missed)


def _chosen(stack: Stack, chosen: Bools) -> tuple[Stack, Bools, Bools]:
    """The chosen problems of a stack, and which variables and rows are theirs."""
    number = np.cumsum(chosen) - 1
    variables, lines = chosen[stack.owner], chosen[stack.row_owner]
    entries = lines[stack.row]
    part = Stack(
        int(chosen.sum()), stack.cost[variables], stack.lower[variables], stack.upper[variables],
        number[stack.owner[variables]], stack.bound[lines], stack.equal[lines], number[stack.row_owner[lines]],
        (np.cumsum(lines) - 1)[stack.row[entries]], (np.cumsum(variables) - 1)[stack.column[entries]],
        stack.value[entries],
    )
    return part, variables, lines


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
    equations: list[Sequence[Fraction]] = []
    for line in np.flatnonzero(tight & (rows.owner == recipe)):
        column, bound = rows.columns[rows.column[line]], exact(float(rows.bound[line]))
        entry = {}
        for i in items:
            above, below = column.exact_terms(foods, policy, int(menu.food[i]))
            entry[i] = (above - bound * below) / exact(float(menu.yield_[i]))
        rest = sum((entry[i] * exact(float(still[i])) for i in items if not free[i]), Fraction(0))
        right = bound * int(rows.constant[line]) - rest
        equations.append([*(entry[i] for i in moving), right])
    values = solve_exactly(equations, len(moving))
    if values is None:
        return False
    for i, value in zip(moving, values, strict=True):
        if value is None:
            return False
        nano[i] = round(value * NANO)
    return True


def _certified(menu: MenuArrays, rows: MenuRows, nano: Ints, prices: Floats,
               slope: Floats | None) -> tuple[Bools, Floats]:
    """Whether every row holds at the weights and no weights cost less, within `TOLERANCE`; and the bound on the cost.

    Rounding is counted against both.

    The bound is that of `ratio_solver.linear.certificate`, with the moves eliminated: for multipliers y >= 0,

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
