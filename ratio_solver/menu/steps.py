"""Weights on the steps for many recipes at once, each proven the best of all.

For any multipliers y >= 0 and any weights that keep the rows, with g = A' y,

    moved(w)  =  bound + sum_j excess_j(w_j) + y . over(w),      excess_j >= 0,   over >= 0,

bound being the dual bound of `menu.stacked`. On the steps ``moved`` is a whole number of steps, so none has less than
``best = ceil(bound)``, and a point that has just that much keeps ``sum_j excess_j <= best - bound < 1``. An
ingredient that the linear programme leaves at its start or at a bound has an excess of d_j per step away from
there: there are few ways to spend less than one step on these, and they are all tried. For each the one or two
ingredients between have a sum of moves that is known, so that they lie on a line; its last point that keeps the
rows moves the first listed most. Of all these points the one with the least listed moves is the answer of
`solving.scale_steps`. Where there is none, ``best + 1`` is tried in the same way; what is not settled then is left
open.
"""

from __future__ import annotations

import numpy as np

from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.moves import NANO
from ratio_solver.menu.rows import MenuRows
from ratio_solver.menu.stacked import MenuSolution
from ratio_solver.menu.ways import Changes, Lines, Shifts, best
from ratio_solver.solving.formulation import roots

FEW_WAYS, MOST_WAYS = 2_000, 300_000
"""Ways to spend the excess that are tried for one recipe: at first, and where that is too few; then it is left open."""

TOGETHER = 2
"""Recipes with many ways that are looked at at a time, which bounds the memory."""

MOST_EXCESS = 2.0
"""A second round spends less than this many steps, so that no ingredient crosses its start (excess 2 a step)."""


def on_steps(menu: MenuArrays, rows: MenuRows, found: MenuSolution) -> tuple[Ints, Bools]:
    """Weights in 1e-9 g on the steps, and the recipes that are not settled here."""
    nano = found.nano.copy()
    open_ = found.open | ~_even_grid(menu)
    between = np.bincount(menu.owner[found.free], minlength=menu.count)
    open_ |= between > 2
    chosen = ~open_ & (between > 0)
    if not chosen.any():
        return nano, open_
    lines, shifts = _arranged(menu, rows, found, chosen)
    grid = np.rint(np.where(np.isnan(menu.step), 1.0, menu.step) * NANO).astype(np.int64)
    between_now = found.free & chosen[menu.owner]
    nano[between_now] = np.rint(menu.start[between_now] * NANO).astype(np.int64)
    waiting = np.ones(len(lines.recipe), dtype=bool)
    least = np.ceil(lines.bound)
    unclear = np.ceil(lines.bound + 1e-9) != least
    open_[lines.recipe[unclear]] = True
    waiting &= ~unclear
    for more in (0.0, 1.0):
        won, (changed, steps), doubtful = _searched(lines, shifts, least + more, waiting)
        np.add.at(nano, changed, np.rint(steps).astype(np.int64) * grid[changed])
        open_[lines.recipe[doubtful]] = True
        waiting &= ~won & ~doubtful
        if not waiting.any():
            break
    open_[lines.recipe[waiting]] = True
    return nano, open_


def _searched(lines: Lines, shifts: Shifts, moves: Floats, waiting: Bools) -> tuple[Bools, Changes, Bools]:
    """`best`, at first with few ways for all, then with many for those that need them."""
    won, changes, doubtful, crowded = best(lines, shifts, moves, waiting, FEW_WAYS)
    parts = [changes]
    for first in range(0, int(crowded.sum()), TOGETHER):
        some = np.zeros(len(waiting), dtype=bool)
        some[np.flatnonzero(crowded)[first:first + TOGETHER]] = True
        more_won, changes, more_doubtful, still_crowded = best(lines, shifts, moves, some, MOST_WAYS)
        parts.append(changes)
        won, doubtful = won | more_won, doubtful | more_doubtful | still_crowded
    rows, steps = zip(*parts, strict=True)
    return won, (np.concatenate(rows), np.concatenate(steps)), doubtful


def _even_grid(menu: MenuArrays) -> Bools:
    """Recipes with one step for all, starts and bounds on it, and every gram equally dear."""
    adjustable = ~np.isnan(menu.high)
    step = np.rint(np.where(np.isnan(menu.step), 1.0, menu.step) * NANO).astype(np.int64)
    seen = np.zeros(menu.count, dtype=np.int64)
    seen[menu.owner[adjustable]] = step[adjustable]
    first = seen[menu.owner]
    good = (step == first) & (step > 0) & (menu.keep == 1) & (step / NANO == np.where(np.isnan(menu.step), 1.0,
                                                                                     menu.step))
    for figures in (menu.start, menu.low, menu.high):
        whole = np.rint(np.nan_to_num(figures) * NANO).astype(np.int64)
        good &= (whole % np.maximum(step, 1) == 0) & (whole / NANO == np.nan_to_num(figures))
    return np.asarray(np.bincount(menu.owner[adjustable & ~good], minlength=menu.count) == 0)


def _arranged(menu: MenuArrays, rows: MenuRows, found: MenuSolution, chosen: Bools) -> tuple[Lines, Shifts]:
    adjustable = ~np.isnan(menu.high)
    number = np.cumsum(chosen) - 1
    recipe = np.flatnonzero(chosen)
    n = len(recipe)
    step_of = np.ones(menu.count)
    steps = np.where(np.isnan(menu.step), 1.0, menu.step)
    step_of[menu.owner[adjustable]] = steps[adjustable]
    step = step_of[recipe]
    before = np.cumsum(adjustable) - adjustable
    nth = before - before[menu.first[:-1]][menu.owner]
    root = np.array([float(value) for value in roots(int(nth.max()) + 1)])[nth]

    depth = int(np.bincount(rows.owner, minlength=menu.count).max())
    slot = np.arange(len(rows.owner)) - np.searchsorted(rows.owner, rows.owner)
    base = np.where(found.free, menu.start, found.still)
    terms = rows.value * base[rows.ingredient]
    over = np.full((n, depth), np.inf)
    size = np.zeros((n, depth))
    mine = chosen[rows.owner]
    over[number[rows.owner[mine]], slot[mine]] = (rows.total(terms) - rows.right)[mine]
    size[number[rows.owner[mine]], slot[mine]] = (
        np.abs(rows.right) + rows.total(np.abs(rows.value) * np.nan_to_num(menu.high)[rows.ingredient] + np.abs(terms))
    )[mine]
    coefficient = np.zeros((len(menu.owner), depth))
    coefficient[rows.ingredient, slot[rows.row]] = rows.value

    steps_of_row = step_of[menu.owner]
    still = np.rint((base - menu.start) / steps_of_row)
    others = adjustable & ~found.free & chosen[menu.owner]
    moved = np.bincount(number[menu.owner[others]], np.abs(still[others]), minlength=n).astype(float)
    listed = np.bincount(number[menu.owner[others]], (root * np.abs(still))[others], minlength=n).astype(float)

    places = np.full((n, 2), -1)
    free = np.flatnonzero(found.free & chosen[menu.owner])
    line = number[menu.owner[free]]
    second = np.concatenate(([False], line[1:] == line[:-1]))
    places[line, second.astype(int)] = free
    side = np.where(found.rise, 1.0, -1.0)
    low = np.rint((menu.low - menu.start) / steps_of_row)
    high = np.rint((menu.high - menu.start) / steps_of_row)
    fewest = np.maximum(0.0, np.where(found.rise, low, -high))
    most = np.where(found.rise, high, -low)
    there = places >= 0
    lines = Lines(
        recipe, step, found.bound[recipe] / step, moved, listed, over, size, places, side[places],
        np.where(there, root[places], 0.0), np.where(there, fewest[places], 0.0), np.where(there, most[places], 0.0),
        np.where(there[:, None, :], (coefficient * (side * steps_of_row)[:, None])[places].transpose(0, 2, 1), 0.0),
    )
    worth = rows.value * np.maximum(found.price, 0.0)[rows.row]
    gain = np.bincount(rows.ingredient, worth, minlength=len(menu.owner)).astype(float)
    return lines, _shifts(menu, number, others, still, low, high, gain, root, coefficient * steps_of_row[:, None])


def _shifts(menu: MenuArrays, number: Ints, others: Bools, still: Floats, low: Floats, high: Floats, gain: Floats,
            root: Floats, per_step: Floats) -> Shifts:
    parts = []
    for direction in (1.0, -1.0):
        room = high - still if direction > 0 else still - low
        turn = np.where(still * direction < 0, np.minimum(room, np.abs(still)), 0.0)
        near, far = np.maximum(-1.0 - gain * direction, 0.0), np.maximum(1.0 - gain * direction, 0.0)
        take = np.flatnonzero(others & (room > 0) & (np.where(turn > 0, near, far) < MOST_EXCESS))
        parts.append((number[menu.owner[take]], take, np.full(len(take), direction), near[take], far[take], turn[take],
                      room[take], root[take], per_step[take] * direction))
    shifts = Shifts(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))
    order = np.lexsort((shifts.first, shifts.line))
    return Shifts(*(getattr(shifts, name)[order] for name in Shifts.__annotations__))
