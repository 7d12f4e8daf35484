"""Best weights of many recipes at once: stacked linear programmes, vertices, and the exact check.

An adjustable weight is ``w = base + up - down``, base its start brought within its bounds: two variables in boxes
and no row, so that a recipe has as many rows as it has targets. What a stack cannot settle beyond doubt is left
`open`: those recipes go to the per-recipe solver.

**Equally good answers.** The first listed moves. And which of them does a price belong to? The cost of a dish is a
function of the bound b of a limit on a quotient. Its slope at b is the multiplier of the limit's row times the
denominator of the quotient, and where several answers are best, the slope to the right is that of the best answer with
the least denominator (of a maximum: the greatest; `ratio_solver.lp.parametric`). Among best answers the denominator
differs only where foods that are equally good at b are not so at another bound: an oil and a sugar at exactly 1:1, say.
Then one more stack looks for the best answer with that denominator.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ratio_solver.exact import Vector, dot, exact
from ratio_solver.lp.basis import common_point
from ratio_solver.lp.bounded_vertices import UNIT, Vertices, vertices
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.lp.stack import Stack, StackSolution, free_less_tight, solve_on_faces, solve_stack
from ratio_solver.menu.arrays import NANO, MenuArrays, ranges
from ratio_solver.menu.rows import FoodArrays, MenuRows, exact_total
from ratio_solver.solving.formulation import roots

STACKED = ("closest", "cheapest", "lightest", "lowest-carb")
"""Preferences that a stack can solve; `even` is left to the per-recipe solver."""

SUM_ROUNDING = 64 * UNIT
"""Rounding of a sum over a recipe's ingredients, relative to the sum of sizes, at most."""

LOOSE = 1e-6
"""How far a weight can be off that is the solver's alone, g."""


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

    def cost(self, up: Floats, down: Floats) -> Floats:
        """A cost of the variables from what a gram of each weight costs up and down."""
        cost = np.zeros(len(self.stack.cost))
        for places, each in ((self.up, up), (self.down, down)):
            cost[places[places >= 0]] = each[places >= 0]
        return cost


@dataclass(frozen=True)
class Standing:
    """Where the weights of an answer stand.

    Attributes
    ----------
    rise, fall : ndarray of bool, shape (rows,)
        Weights that no multiplier holds at a bound or at the start: those above the start, those below.
    still : ndarray, shape (rows,)
        Where the others stand, g.
    """

    rise: Bools
    fall: Bools
    still: Floats

    @property
    def free(self) -> Bools:
        """Weights between their bounds and start."""
        return self.rise | self.fall


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
    open, missed : ndarray of bool, shape (recipes,)
        Recipes that are not settled here, and those of them for which nothing was found.
    cost, least : ndarray, shape (recipes,)
        What the weights cost, without what the fixed ingredients do, and what no weights cost less than.
    tight : ndarray of bool, shape (target rows,)
        Rows that are met to the last digit and determine the weights, with those of `standing` that are not free.
    standing : Standing
    """

    nano: Ints
    price: Floats
    price_error: Floats
    divisor: Floats
    divisor_error: Floats
    open: Bools
    missed: Bools
    cost: Floats
    least: Floats
    tight: Bools
    standing: Standing

    def taken(self, rows: MenuRows, recipes: Ints) -> MenuSolution:
        """Those of some of the recipes, whose rows these are."""
        menu = rows.menu
        items = ranges(menu.first[recipes], np.diff(menu.first)[recipes])
        depth = np.bincount(rows.owner, minlength=menu.count)[recipes]
        lines = ranges(np.searchsorted(rows.owner, recipes), depth)
        standing = Standing(*(getattr(self.standing, name)[items] for name in Standing.__annotations__))
        of_rows = {name: getattr(self, name)[lines] for name in ("price", "price_error", "divisor", "divisor_error",
                                                                 "tight")}
        of_recipes = {name: getattr(self, name)[recipes] for name in ("open", "missed", "cost", "least")}
        return MenuSolution(nano=self.nano[items], standing=standing, **of_rows, **of_recipes)

    @property
    def grams(self) -> Floats:
        """The weights in g, shape (rows,)."""
        return self.nano / NANO


def solved(rows: MenuRows, foods: FoodArrays, prefer: str) -> MenuSolution:
    """Weights, to the digits that `solve` gives, with everything checked that it checks."""
    menu = rows.menu
    cost = None if prefer == "closest" else gram_costs(menu, foods, prefer)
    moves = moves_of(rows, cost)
    first = found = solve_stack(moves.stack)
    tied = ~first.missed & (free_less_tight(moves.stack, first) > 0)
    listed = listed_roots(menu)
    for weight in (listed,) if cost is None else (menu.keep, listed):
        several = ~found.missed & (free_less_tight(moves.stack, found) > 0)
        if several.any():  # among equally good answers the fewest grams moved, then the first listed
            found = solve_on_faces(moves.stack, found, moves.cost(weight, weight), several)
    unsettled = found.missed | rows.undecided | (free_less_tight(moves.stack, found) != 0)
    if cost is not None:
        unsettled |= menu.any(np.isnan(cost) & menu.adjustable)
    standing = _standing(menu, moves, found)
    slope = np.where(standing.rise, menu.keep, -menu.keep) if cost is None else np.nan_to_num(cost)
    corner = _corner(rows, standing, found.tight, slope)
    unsettled |= ~corner.known | _near_others(rows, moves.base, corner, standing, found.tight)
    nano, unsure = _in_nano(corner, standing.free)
    for recipe in np.unique(menu.owner[unsure & ~unsettled[menu.owner]]):
        unsettled[recipe] |= not _exact_weights(rows, int(recipe), standing, found.tight, nano)
    certified, total, least = _certified(rows, nano, corner.prices, None if cost is None else slope)
    divisor, divisor_error = _divisors(rows, moves, first, tied & ~unsettled, nano)
    return MenuSolution(nano, corner.prices, corner.price_error, divisor, divisor_error, unsettled | ~certified,
                        first.missed, total, least, found.tight, standing)


def gram_costs(menu: MenuArrays, foods: FoodArrays, prefer: str) -> Floats:
    """Cost of 1 g of each ingredient, in the unit of the preference; NaN without a price."""
    batch = 1.0 if prefer == "cheapest" else menu.servings[menu.owner]
    return np.asarray(foods.costs(prefer)[menu.food] / menu.yield_ / batch)


def exact_cost(menu: MenuArrays, foods: FoodArrays, prefer: str, nano: Ints, recipe: int) -> Fraction:
    """What a batch costs by a preference, in its unit, in rationals."""
    batch = 1 if prefer == "cheapest" else int(menu.servings[recipe])
    return exact_total(menu, nano, recipe, foods.exact_costs(prefer)) / batch


def listed_roots(menu: MenuArrays) -> Floats:
    """What a gram of each adjustable ingredient costs where the first listed is to move: dearer down the list."""
    return np.array([float(root) for root in roots(int(menu.nth.max()) + 1)])[menu.nth]


def moves_of(rows: MenuRows, cost: Floats | None) -> Moves:
    """The two variables of each weight, and the stack of all recipes; without costs per g, moved grams are counted."""
    menu, adjustable = rows.menu, rows.menu.adjustable
    base = np.where(adjustable, np.clip(menu.start, menu.low, menu.high), menu.start)
    room = np.column_stack((menu.high - base, base - menu.low))
    has = room > 0  # a fixed weight has none
    place = np.where(has.ravel(), np.cumsum(has.ravel()) - 1, -1).reshape(has.shape)
    slopes = np.column_stack((menu.keep, menu.keep) if cost is None else (np.nan_to_num(cost), -np.nan_to_num(cost)))
    entries = has[rows.ingredient]
    stack = Stack(
        count=menu.count, cost=slopes[has], lower=np.zeros(int(has.sum())), upper=room[has],
        owner=np.repeat(menu.owner, has.sum(axis=1)),
        bound=rows.right - rows.total(rows.value * base[rows.ingredient]),
        equal=np.zeros(len(rows.owner), dtype=bool), row_owner=rows.owner,
        row=np.repeat(rows.row, entries.sum(axis=1)), column=place[rows.ingredient][entries],
        value=np.column_stack((rows.value, -rows.value))[entries],
    )
    return Moves(base, place[:, 0], place[:, 1], stack)


def _standing(menu: MenuArrays, moves: Moves, found: StackSolution) -> Standing:
    free, at_upper = np.append(found.free, False), np.append(found.at_upper, False)
    still = np.where(at_upper[moves.up], menu.high, moves.base)
    return Standing(free[moves.up], free[moves.down], np.where(at_upper[moves.down], menu.low, still))


def _corner(rows: MenuRows, standing: Standing, tight: Bools, slope: Floats) -> Vertices:
    """The vertex of each recipe at which these weights stand still and these rows are tight."""
    menu = rows.menu
    return vertices(menu.count, menu.owner, rows.owner, rows.row, rows.ingredient, rows.value, rows.right, slope,
                    standing.free, tight, standing.still)


def _near_others(rows: MenuRows, base: Floats, found: Vertices, standing: Standing, tight: Bools) -> Bools:
    """Recipes whose vertex may lie on a bound or a row that is not part of it (or beyond): not settled here."""
    menu = rows.menu
    margin = found.error + 4 * UNIT * np.abs(found.values)
    near = standing.free & ~((found.values - menu.low > margin) & (menu.high - found.values > margin))
    near |= (standing.rise & (found.values - base <= margin)) | (standing.fall & (base - found.values <= margin))
    products = rows.value * found.values[rows.ingredient]
    doubt = SUM_ROUNDING * (np.abs(rows.right) + rows.total(np.abs(products)))
    doubt += rows.total(np.abs(rows.value) * found.error[rows.ingredient])
    over = rows.total(products) - rows.right
    beyond, touching = ~tight & (over < -doubt), ~tight & (np.abs(over) <= doubt)
    # Where no row has a price, a maximum that is met to the last digit has none either: raised, nothing changes.
    priced = rows.any(tight & (found.prices > found.price_error))[rows.owner]
    return menu.any(near) | rows.any(beyond | (tight & (found.prices < -found.price_error))
                                     | (touching & (priced | (rows.sign > 0))))


def _in_nano(found: Vertices, free: Bools) -> tuple[Ints, Bools]:
    """Weights in 1e-9 g, and the free ones whose last digit the error leaves open."""
    scaled = found.values * NANO
    nano = np.rint(scaled)
    to_half = np.abs(np.abs(scaled - nano) - 0.5) / NANO
    return nano.astype(np.int64), free & (to_half <= found.error + 4 * UNIT * np.abs(found.values))


def _exact_weights(rows: MenuRows, recipe: int, standing: Standing, tight: Bools, nano: Ints) -> bool:
    """Enter the weights of a recipe computed in rationals; False where its rows do not determine them."""
    items = rows.menu.items(recipe)
    weights = _vertex(rows, recipe, standing, tight)
    if weights is not None:
        free = [i for i in items if standing.free[i]]
        nano[free] = [round(weights[i - items.start] * NANO) for i in free]
    return weights is not None


def _vertex(rows: MenuRows, recipe: int, standing: Standing, tight: Bools) -> Vector | None:
    """The weights of a recipe at which these stand still and these rows are tight, in rationals."""
    items = rows.menu.items(recipe)
    free = [bool(standing.free[i]) for i in items]
    still = [exact(0.0 if moving else float(standing.still[i])) for i, moving in zip(items, free, strict=True)]
    equations = []
    for line in np.flatnonzero(tight & (rows.owner == recipe)):
        coefficients, right = rows.limit(int(line)).row()
        moving = tuple(value for value, is_free in zip(coefficients, free, strict=True) if is_free)
        equations.append((moving, right - dot(coefficients, still)))
    values = common_point(equations, sum(free))
    if values is None:
        return None
    found = iter(values)
    return tuple(next(found) if moving else weight for moving, weight in zip(free, still, strict=True))


def exact_price(rows: MenuRows, foods: FoodArrays, prefer: str, found: MenuSolution, line: int) -> Fraction | None:
    """The price of a limit in rationals; None where the tight rows do not determine it."""
    recipe, menu = int(rows.owner[line]), rows.menu
    lines = [int(one) for one in np.flatnonzero(found.tight & (rows.owner == recipe))]
    weights = _vertex(rows, recipe, found.standing, found.tight)
    if line not in lines or weights is None or found.divisor_error[line]:
        return None
    columns = [rows.limit(one).row()[0] for one in lines]
    equations = []
    for place, i in enumerate(menu.items(recipe)):
        if found.standing.free[i]:
            if prefer == "closest":
                cost = exact(float(menu.keep[i])) * (1 if found.standing.rise[i] else -1)
            else:
                cost = foods.exact_costs(prefer)[menu.food[i]] / exact(float(menu.yield_[i]))
                cost /= 1 if prefer == "cheapest" else int(menu.servings[recipe])
            equations.append((tuple(column[place] for column in columns), cost))
    prices = common_point(equations, len(lines))
    return None if prices is None else prices[lines.index(line)] * rows.limit(line).divisor(weights)


def _certified(rows: MenuRows, nano: Ints, prices: Floats,
               slope: Floats | None) -> tuple[Bools, Floats, Floats]:
    """Whether every row holds at the weights and no weights cost less, within `TOLERANCE`, rounding counted.

    With that what the weights cost, and what no weights cost less than.

    The bound is that of `ratio_solver.lp.certificate`, with the moves eliminated: for multipliers y >= 0,

        cost  >=  sum y_r b_r + sum_i min over w_i in [low_i, high_i] of (cost_i(w_i) - g_i w_i),   g = A' y,

    and a convex cost of pieces is least at a bound or at the start.
    """
    menu, tolerance, weights = rows.menu, float(TOLERANCE), nano / NANO
    products = rows.value * weights[rows.ingredient]
    doubt = SUM_ROUNDING * (np.abs(rows.right) + rows.total(np.abs(products)))
    broken = rows.total(products) - rows.right - doubt < -tolerance * rows.largest(rows.value)
    y = np.maximum(prices, 0.0)
    g, g_size = (np.bincount(rows.ingredient, values * y[rows.row], minlength=len(menu.owner))
                 for values in (rows.value, np.abs(rows.value)))
    low, high = np.where(menu.adjustable, menu.low, menu.start), np.where(menu.adjustable, menu.high, menu.start)

    def cost(w: Floats) -> Floats:
        each = menu.keep * np.abs(w - menu.start) if slope is None else slope * w
        return np.where(menu.adjustable, each, 0.0)

    least = np.minimum.reduce([cost(w) - g * w for w in (low, np.clip(menu.start, low, high), high)])
    total = menu.sum(cost(weights))
    bound, size = (np.bincount(rows.owner, y * right, minlength=menu.count).astype(float)
                   for right in (rows.right, np.abs(rows.right)))
    rounding = SUM_ROUNDING * (size + menu.sum(cost(low) + cost(high) + g_size * np.maximum(high, 1.0)))
    bound = bound + menu.sum(least)
    within = total - bound + rounding <= tolerance * np.maximum(1.0, np.abs(total))
    kept = ~menu.any((weights < low) | (weights > high)) & ~rows.any(broken)
    return np.asarray(within & kept), total, bound - rounding


def _divisors(rows: MenuRows, moves: Moves, found: StackSolution, tied: Bools, nano: Ints) -> tuple[Floats, Floats]:
    """Denominator of the quotient of each row at the answer that its price belongs to, and how far it can be off.

    Parameters
    ----------
    found : StackSolution
        Before ties are broken.
    tied : ndarray of bool, shape (recipes,)
        Recipes with more than one best answer.
    nano : ndarray of int, shape (ingredient rows,)
        The answer given.

    Returns
    -------
    divisor, error : ndarray, shape (rows,)
        An infinite error where this way of reckoning cannot tell.
    """
    menu = rows.menu
    divisor = rows.total(rows.below * (nano / NANO)[rows.ingredient]) + rows.constant
    error = np.zeros(len(rows.owner))
    apart = _apart(rows, _standing(menu, moves, found), found.tight) & tied[rows.owner]
    if not apart.any():
        return divisor, error
    toward = rows.sign[rows.row] * np.where(apart[rows.row], rows.below, 0.0)
    grams = np.bincount(rows.ingredient, toward, minlength=len(menu.owner)).astype(float)
    several = np.bincount(rows.owner[apart], minlength=menu.count)
    ended = solve_on_faces(moves.stack, found, moves.cost(grams, -grams), several > 0)
    # Weights of those answers, and how far each can be off: those of a vertex, else what the solver says.
    corner = _corner(rows, _standing(menu, moves, ended), ended.tight, np.zeros(len(menu.owner)))
    values = np.append(ended.values, 0.0)
    known = (corner.known & (free_less_tight(moves.stack, ended) == 0))[menu.owner]
    weights = np.where(known, corner.values, moves.base + values[moves.up] - values[moves.down])
    lost = (ended.missed | (several > 1))[rows.owner]
    there = rows.total(rows.below * weights[rows.ingredient]) + rows.constant
    doubt = rows.total(rows.below * np.where(known, corner.error, LOOSE)[rows.ingredient])
    other = apart & (np.abs(there - divisor) > np.where(lost, 0.0, doubt))
    return np.where(other, there, divisor), np.where(other, np.where(lost, np.inf, doubt), error)


def _apart(rows: MenuRows, standing: Standing, tight: Bools) -> Bools:
    """Tight rows whose denominator may not be the same in all best answers.

    It is the same where a unit of what each free food does for the row takes the same share of the denominator;
    else it may still be, where another tight row holds those foods together that differ.
    """
    inside = tight[rows.row] & standing.free[rows.ingredient]
    entries = inside & (rows.value != 0)
    row, share = rows.row[entries], rows.below[entries] / rows.value[entries]
    least, most = np.full(len(rows.owner), np.inf), np.full(len(rows.owner), -np.inf)
    np.minimum.at(least, row, share)
    np.maximum.at(most, row, share)
    apart = (most > least) & (most - least > 1e-9 * (1 + np.abs(most)))
    apart[rows.row[inside & (rows.value == 0) & (rows.below != 0)]] = True  # a food whose own quotient is the bound
    return np.asarray(apart)
