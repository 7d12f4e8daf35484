"""Best weights of many recipes at once: stacked linear programmes, vertices, and the exact check.

What a stack cannot settle beyond doubt is left `open`: those recipes go to the per-recipe solver.

**The price of a limit** is what the cost changes by for one more unit of its bound: the multiplier of its row times the
denominator of its quotient, at a best answer. Where there are several best answers, or several bases of one, they give
different ones, and that which holds is that of the basis which is best a little further on
(`ratio_solver.lp.parametric`). So the programme is solved again with the bound moved by a hair, and the price of its
basis is reckoned at the bound, where it must be one of the best as well: how long the hair is decides of no figure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.lp.basis import common_point
from ratio_solver.lp.bounded_vertices import SUM_ROUNDING, UNIT, Vertices, beside, bounds_of, vertices
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.lp.model import Bools, Floats, Ints
from ratio_solver.lp.stack import StackSolution, free_less_tight, solve_on_faces, solve_stack
from ratio_solver.menu.arrays import NANO
from ratio_solver.menu.moves import Moves, exact_share, gram_costs, moves_of, shared_by
from ratio_solver.menu.rows import FoodArrays, MenuRows, exact_per_gram
from ratio_solver.solving.formulation import COSTS

A_HAIR = 1e-6
"""By how much a bound is moved to see which basis is best there, relative (at least of 1)."""


@dataclass(frozen=True)
class Standing:
    """Where the weights of dishes stand: what is free and what is tight.

    Attributes
    ----------
    rows : MenuRows
    prefer : str
    moves : Moves
    at : StackSolution
    """

    rows: MenuRows
    prefer: str
    moves: Moves
    at: StackSolution

    def weights(self, values: Floats) -> Floats:
        """Weights from the values of the variables; those that do not move freely are at a bound or at `base`."""
        menu, moves = self.rows.menu, self.moves
        values, at_upper = np.append(values, 0.0), np.append(self.at.at_upper, False)
        found = moves.base + values[moves.up] - values[moves.down]
        found = np.where(at_upper[moves.up], menu.high, found)
        return np.where(at_upper[moves.down], menu.low, found)

    def exact_weights(self, dish: int) -> Vector | None:
        """The weights in rationals; None where rows and bounds do not determine them."""
        menu, (free, equations) = self.rows.menu, self._equations(dish)
        values = common_point(equations, len(free))
        if values is None:
            return None
        found, items = self._still(dish), menu.items(dish)
        for variable, value in zip(free, values, strict=True):
            item = int(self.moves.items[variable])
            if item >= 0:
                found[item - items.start] += value if variable == self.moves.up[item] else -value
        return tuple(found)

    def exact_price(self, dish: int, line: int, foods: FoodArrays) -> Fraction | None:
        """The price of a limit in rationals; None where what is tight does not determine it."""
        rows, weights = self.rows, self.exact_weights(dish)
        tight = self._tight(dish)
        if weights is None or self.moves.lines[line] not in tight:
            return None
        free, equations = self._equations(dish)
        columns = [tuple(coefficients[place] for coefficients, _ in equations) for place in range(len(free))]
        prices = common_point(list(zip(columns, self._costs(dish, free, foods), strict=True)), len(tight))
        if prices is None:
            return None
        return prices[tight.index(self.moves.lines[line])] * rows.limit(line).divisor(weights)

    def _tight(self, dish: int) -> list[int]:
        first, last = np.searchsorted(self.moves.stack.row_owner, (dish, dish + 1))
        return [int(row) for row in range(first, last) if self.at.tight[row]]

    def _still(self, dish: int) -> list[Fraction]:
        """The weights with nothing moved that moves freely."""
        still = self.weights(np.zeros(len(self.at.free)))
        return [exact(float(still[item])) for item in self.rows.menu.items(dish)]

    def _equations(self, dish: int) -> tuple[list[int], list[tuple[Vector, Fraction]]]:
        """The variables that are free, and what is tight as equations over them."""
        moves, rows, items = self.moves, self.rows, self.rows.menu.items(dish)
        first, last = np.searchsorted(moves.stack.owner, (dish, dish + 1))
        free = [variable for variable in range(first, last) if self.at.free[variable]]
        still, equations = self._still(dish), []
        for row in self._tight(dish):
            line = int(moves.line_of[row])
            if line >= 0:
                coefficients, right = rows.limit(line).row()
                parts, right = self._moved(dish, free, coefficients), right - dot(coefficients, still)
            else:
                own = int(moves.items[moves.stack.column[moves.stack.row == row]].max())
                share, start = exact_share(rows.menu, own), exact(float(rows.menu.start[own]))
                parts = [ONE if variable == moves.largest[dish] else -share if moves.items[variable] == own else ZERO
                         for variable in free]
                right = share * abs(still[own - items.start] - start)
            equations.append((tuple(parts), right))
        return free, equations

    def _moved(self, dish: int, free: list[int], per_gram: Vector) -> list[Fraction]:
        """Figures per gram of each ingredient as figures per gram of each move."""
        moves, first, found = self.moves, self.rows.menu.items(dish).start, []
        for variable in free:
            item = int(moves.items[variable])
            found.append(ZERO if item < 0 else per_gram[item - first] * (1 if variable == moves.up[item] else -1))
        return found

    def _costs(self, dish: int, free: list[int], foods: FoodArrays) -> list[Fraction]:
        """What each free variable costs."""
        menu, moves = self.rows.menu, self.moves
        if self.prefer == "even":
            return [ONE if variable == moves.largest[dish] else ZERO for variable in free]
        if self.prefer == "closest":
            return [exact(float(menu.keep[moves.items[variable]])) for variable in free]
        share = Fraction(1, int(shared_by(menu, self.prefer)[dish]))
        per_gram = exact_per_gram(menu, dish, foods.exact_costs(self.prefer))
        return self._moved(dish, free, tuple(cost * share for cost in per_gram))


@dataclass(frozen=True)
class MenuSolution:
    """Best weights.

    Attributes
    ----------
    nano : ndarray of int, shape (rows,)
        Weight of each ingredient in 1e-9 g.
    price, price_error : ndarray, shape (target rows,)
        Change of the cost for one more unit of each limit's bound as it is written; an infinite error where this way of
        reckoning cannot tell.
    open, missed : ndarray of bool, shape (recipes,)
        Recipes that are not settled here, and those of them for which nothing was found.
    cost, least : ndarray, shape (recipes,)
        What the weights cost, without what the fixed ingredients do, and what no weights cost less than.
    several : ndarray of bool, shape (recipes,)
        Recipes with several best answers, or several bases of one.
    dish : ndarray of int, shape (recipes,)
        Which dish of `corner` each is.
    corner : Standing
    beyond : mapping of (int, int) to (Standing, int, int)
        Of a limit of a dish with several best answers or bases, by its place among those of the dish: the corner with
        its bound moved by a hair, and the dish and the row there.
    """

    nano: Ints
    price: Floats
    price_error: Floats
    open: Bools
    missed: Bools
    cost: Floats
    least: Floats
    several: Bools
    dish: Ints
    corner: Standing
    beyond: Mapping[tuple[int, int], tuple[Standing, int, int]]

    def taken(self, recipes: Ints, rows: MenuRows) -> MenuSolution:
        """Those of some of the recipes, or dishes, whose rows these are."""
        items, lines = rows.menu.rows_of(recipes), rows.lines_of(recipes)
        return MenuSolution(self.nano[items], self.price[lines], self.price_error[lines], corner=self.corner,
                            beyond=self.beyond, **{name: getattr(self, name)[recipes] for name in (
                                "open", "missed", "cost", "least", "several", "dish")})

    def exact_price(self, rows: MenuRows, line: int, foods: FoodArrays) -> Fraction | None:
        """The price of a limit in rationals; None where the basis that is best does not tell it."""
        dish, nth = int(self.dish[rows.owner[line]]), int(rows.nth[line])
        first = int(np.searchsorted(self.corner.rows.owner, dish))
        corner, dish, at = self.beyond.get((dish, nth), (self.corner, dish, first + nth))
        price = corner.exact_price(dish, at, foods)
        return None if price is None or not np.isfinite(self.price_error[line]) else price


def solved(rows: MenuRows, foods: FoodArrays, prefer: str) -> MenuSolution:
    """Weights, to the digits that `solve` gives, with everything checked that it checks."""
    menu = rows.menu
    per_gram = gram_costs(menu, foods, prefer) if prefer in COSTS else None
    moves = moves_of(rows, prefer, per_gram)
    found = solve_stack(moves.stack)
    tied = free_less_tight(moves.stack, found) > 0
    found = _ties_broken(moves, found)
    corner, at = Standing(rows, prefer, moves, found), vertices(moves.stack, moves.size, found, moves.later)
    near = beside(moves.stack, moves.size, found, at)
    unsettled = rows.undecided | ~at.best | near.wrong
    if per_gram is not None:
        unsettled |= menu.any(np.isnan(per_gram) & menu.adjustable)
    nano, unsure = _in_nano(corner, at)
    for dish in np.unique(menu.owner[unsure & ~unsettled[menu.owner]]):
        exactly = corner.exact_weights(int(dish))
        unsettled[dish] |= exactly is None
        if exactly is not None:
            nano[menu.items(int(dish))] = [round(weight * NANO) for weight in exactly]
    kept, cost, least = _certified(rows, moves, nano, at.prices)
    unsettled |= ~kept
    several = (tied | near.alike) & ~unsettled
    price, error = _priced(corner, at)
    asked, beyond = near.rows[moves.lines] & several[rows.owner], dict[tuple[int, int], tuple[Standing, int, int]]()
    if asked.any():
        price, error = np.where(several[rows.owner], 0.0, price), np.where(several[rows.owner], 0.0, error)
        lines = np.flatnonzero(asked)
        price[lines], error[lines] = _beyond(rows, prefer, per_gram, lines, beyond)
    return MenuSolution(nano, price, error, unsettled, found.missed, cost, least, several, np.arange(menu.count),
                        corner, beyond)


def _priced(corner: Standing, at: Vertices) -> tuple[Floats, Floats]:
    """Prices of the limits at vertices that are not rounded, and how far they can be off, shape (rows,)."""
    rows, lines = corner.rows, corner.moves.lines
    divisor = rows.divisor(corner.weights(at.values))
    off = rows.total(rows.below * _errors(corner.moves, corner.at, at)[rows.ingredient])
    price = rows.sign * at.prices[lines] * divisor
    return price, at.price_error[lines] * divisor + np.abs(at.prices[lines]) * off + SUM_ROUNDING * np.abs(price)


def _ties_broken(moves: Moves, found: StackSolution) -> StackSolution:
    """Of equally good answers those with the fewest grams moved, then those that move what is listed first."""
    for cost in moves.later:
        ties = free_less_tight(moves.stack, found) > 0
        if ties.any():
            found = solve_on_faces(moves.stack, found, cost, ties)
    return found


def _in_nano(corner: Standing, at: Vertices) -> tuple[Ints, Bools]:
    """Weights in 1e-9 g, and those whose last digit the error leaves open."""
    moves, weights = corner.moves, corner.weights(at.values)
    free, off = np.append(corner.at.free, False), _errors(corner.moves, corner.at, at)
    scaled = weights * NANO
    nano = np.rint(scaled)
    to_half = np.abs(np.abs(scaled - nano) - 0.5) / NANO
    return nano.astype(np.int64), (free[moves.up] | free[moves.down]) & (to_half <= off + 4 * UNIT * np.abs(weights))


def _errors(moves: Moves, found: StackSolution, at: Vertices) -> Floats:
    """How far weights can be off."""
    error = np.append(np.where(found.free, at.error, 0.0), 0.0)
    return np.asarray(np.maximum(error[moves.up], error[moves.down]))


def _certified(rows: MenuRows, moves: Moves, nano: Ints, prices: Floats) -> tuple[Bools, Floats, Floats]:
    """Whether every row holds at the weights and no weights cost less, within `TOLERANCE`, rounding counted.

    With that what the weights cost, and what no weights cost less than.
    """
    menu, tolerance, weights = rows.menu, float(TOLERANCE), nano / NANO
    beyond, size = rows.asked_beyond(weights)
    broken = beyond + SUM_ROUNDING * size > tolerance * rows.largest(rows.value)
    outside = menu.adjustable & ((weights < menu.low) | (weights > menu.high))
    total, least, off = bounds_of(moves.stack, moves.size, moves.variables(menu, weights), prices)
    within = total - least + off <= tolerance * np.maximum(1.0, np.abs(total + moves.constant))
    return within & ~menu.any(outside) & ~rows.any(broken), total + moves.constant, least - off + moves.constant


def _beyond(rows: MenuRows, prefer: str, per_gram: Floats | None, lines: Ints,
            corners: dict[tuple[int, int], tuple[Standing, int, int]]) -> tuple[Floats, Floats]:
    """Prices of limits by the basis that is best with the bound a hair greater, or if it cannot be, a hair less.

    The corners are entered as in `MenuSolution.beyond`.

    Returns
    -------
    price, error : ndarray, shape (lines,)
        An infinite error where no basis is beyond doubt.
    """
    price, error, left = np.zeros(len(lines)), np.full(len(lines), np.inf), np.arange(len(lines))
    for way in (1, -1):
        recipes = rows.owner[lines[left]]
        here = rows.taken(recipes)
        mine = np.searchsorted(here.owner, np.arange(len(left))) + rows.nth[lines[left]]
        bound = here.bound.copy()
        bound[mine] += way * A_HAIR * np.maximum(1.0, np.abs(bound[mine]))
        menu = here.menu
        costs = None if per_gram is None else per_gram[rows.menu.rows_of(recipes)]
        there = moves_of(here.bounded(bound, menu.low, menu.high), prefer, costs)
        found = solve_stack(there.stack)
        found = _ties_broken(there, found)
        moves, known = moves_of(here, prefer, costs), ~found.missed
        for each in (there, moves):  # best with the bound moved, and one of the best at the bound
            at = vertices(each.stack, each.size, found, each.later)
            best = at.best if each is there else ~at.worse
            known &= at.known & best & ~beside(each.stack, each.size, found, at).wrong
        corner = Standing(here, prefer, moves, found)
        prices, doubt = _priced(corner, at)
        settled = np.flatnonzero(~found.missed)
        corners |= {(int(recipes[place]), int(here.nth[mine[place]])): (corner, int(place), int(mine[place]))
                    for place in settled}
        price[left[settled]] = prices[mine][settled]
        error[left[settled]] = np.where(known, doubt[mine], np.inf)[settled]
        left = left[found.missed]
        if not len(left):
            break
    return price, error
