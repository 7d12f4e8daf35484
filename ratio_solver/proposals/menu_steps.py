"""Weights on the steps for many recipes at once, each proven the best of all.

For any multipliers y >= 0 and any weights that keep the rows, with g = A' y,

    moved(w)  =  bound + sum_j excess_j(w_j) + y . over(w),      excess_j >= 0,   over >= 0,

bound being the dual bound of `menu_stack`. On the steps ``moved`` is a whole number of steps, so none has less than
``best = ceil(bound)``, and a point that has just that much keeps ``sum_j excess_j <= best - bound < 1``. An
ingredient that the linear programme leaves at its start or at a bound has an excess of d_j per step away from
there: there are few ways to spend less than one step on these, and they are all tried. For each the one or two
ingredients between have a sum of moves that is known, so that they lie on a line; its last point that keeps the
rows moves the first listed most. Of all these points the one with the least listed moves is the answer of
`proposals.whole`. Where there is none, ``best + 1`` is tried in the same way; what is not settled then is left open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratio_solver.linear.model import Floats
from ratio_solver.linear.stack import Bools, Ints
from ratio_solver.linear.vertices import UNIT
from ratio_solver.proposals.formulate import roots
from ratio_solver.proposals.menu_arrays import MenuArrays
from ratio_solver.proposals.menu_limits import MenuRows
from ratio_solver.proposals.menu_stack import NANO, MenuSolution

FEW_WAYS, MOST_WAYS = 2_000, 300_000
"""Ways to spend the excess that are tried for one recipe: at first, and where that is too few; then it is left open."""

TOGETHER = 2
"""Recipes with many ways that are looked at at a time, which bounds the memory."""

MOST_EXCESS = 2.0
"""A second round spends less than this many steps, so that no ingredient crosses its start (excess 2 a step)."""

TIE = 1e-5
"""Sums of listed moves nearer than this are left to the single path to tell apart."""


Changes = tuple[Ints, Floats]


@dataclass(frozen=True)
class _Lines:
    """Recipes with one or two ingredients between their steps, as dense arrays.

    Attributes
    ----------
    recipe : ndarray of int, shape (n,)
    step : ndarray, shape (n,)
        g.
    bound : ndarray, shape (n,)
        Dual bound in steps.
    moved : ndarray of int, shape (n,)
        Moves, in steps, of the ingredients that are not between.
    listed : ndarray, shape (n,)
        The same weighed by the roots.
    over, size : ndarray, shape (n, rows)
        What is left of each row when the ingredients between are at their starts; and the size of its terms.
    places : ndarray of int, shape (n, 2)
        Rows of the ingredients between, -1 where there is no second.
    side, root, least, most : ndarray, shape (n, 2)
        The way they move, +1 up or -1 down; root, fewest and most moves.
    slope : ndarray, shape (n, rows, 2)
        What a move adds to each row.
    """

    recipe: Ints
    step: Floats
    bound: Floats
    moved: Floats
    listed: Floats
    over: Floats
    size: Floats
    places: Ints
    side: Floats
    root: Floats
    least: Floats
    most: Floats
    slope: Floats


@dataclass(frozen=True)
class _Shifts:
    """Ways of one ingredient away from where the linear programme leaves it, by recipe, cheapest first step first.

    Attributes
    ----------
    line : ndarray of int, shape (shifts,)
        Place in `_Lines`.
    ingredient : ndarray of int, shape (shifts,)
    direction : ndarray, shape (shifts,)
        +1 up, -1 down.
    near, far : ndarray, shape (shifts,)
        Excess of a step as far as the start, and of one beyond it (or of any, where it leads away from the start).
    turn, room : ndarray, shape (shifts,)
        Steps as far as the start (0 where it leads away from it), and steps there are.
    root : ndarray, shape (shifts,)
    over : ndarray, shape (shifts, rows)
        What a step adds to each row.
    """

    line: Ints
    ingredient: Ints
    direction: Floats
    near: Floats
    far: Floats
    turn: Floats
    room: Floats
    root: Floats
    over: Floats

    @property
    def first(self) -> Floats:
        """Excess of the first step."""
        return np.where(self.turn > 0, self.near, self.far)

    def steps(self, shift: Ints, spare: Floats) -> Ints:
        """Steps of each shift that cost no more than is to spare."""
        near, far, turn = self.near[shift], self.far[shift], self.turn[shift]
        with np.errstate(divide="ignore", invalid="ignore"):
            inside = np.where(near > 0, np.floor(spare / near), np.inf)
            beyond = np.where(far > 0, np.floor((spare - near * turn) / far), np.inf)
        count = np.where(inside < turn, inside, turn + np.maximum(beyond, 0.0))
        return np.asarray(np.minimum(count, self.room[shift]).astype(np.int64))

    def excess(self, shift: Ints, steps: Floats) -> Floats:
        """Excess of so many steps."""
        inside = np.minimum(steps, self.turn[shift])
        return np.asarray(self.near[shift] * inside + self.far[shift] * (steps - inside))

    def moved(self, shift: Ints, steps: Floats) -> Floats:
        """What they add to the moves: steps towards the start take away."""
        return np.asarray(steps - 2 * np.minimum(steps, self.turn[shift]))


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


def _searched(lines: _Lines, shifts: _Shifts, moves: Floats, waiting: Bools) -> tuple[Bools, Changes, Bools]:
    """`_best`, at first with few ways for all, then with many for those that need them."""
    won, changes, doubtful, crowded = _best(lines, shifts, moves, waiting, FEW_WAYS)
    parts = [changes]
    for first in range(0, int(crowded.sum()), TOGETHER):
        some = np.zeros(len(waiting), dtype=bool)
        some[np.flatnonzero(crowded)[first:first + TOGETHER]] = True
        more_won, changes, more_doubtful, still_crowded = _best(lines, shifts, moves, some, MOST_WAYS)
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


def _arranged(menu: MenuArrays, rows: MenuRows, found: MenuSolution, chosen: Bools) -> tuple[_Lines, _Shifts]:
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
    lines = _Lines(
        recipe, step, found.bound[recipe] / step, moved, listed, over, size, places, side[places],
        np.where(there, root[places], 0.0), np.where(there, fewest[places], 0.0), np.where(there, most[places], 0.0),
        np.where(there[:, None, :], (coefficient * (side * steps_of_row)[:, None])[places].transpose(0, 2, 1), 0.0),
    )
    worth = rows.value * np.maximum(found.price, 0.0)[rows.row]
    gain = np.bincount(rows.ingredient, worth, minlength=len(menu.owner)).astype(float)
    return lines, _shifts(menu, number, others, still, low, high, gain, root, coefficient * steps_of_row[:, None])


def _shifts(menu: MenuArrays, number: Ints, others: Bools, still: Floats, low: Floats, high: Floats, gain: Floats,
            root: Floats, per_step: Floats) -> _Shifts:
    parts = []
    for direction in (1.0, -1.0):
        room = high - still if direction > 0 else still - low
        turn = np.where(still * direction < 0, np.minimum(room, np.abs(still)), 0.0)
        near, far = np.maximum(-1.0 - gain * direction, 0.0), np.maximum(1.0 - gain * direction, 0.0)
        take = np.flatnonzero(others & (room > 0) & (np.where(turn > 0, near, far) < MOST_EXCESS))
        parts.append((number[menu.owner[take]], take, np.full(len(take), direction), near[take], far[take], turn[take],
                      room[take], root[take], per_step[take] * direction))
    shifts = _Shifts(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))
    order = np.lexsort((shifts.first, shifts.line))
    return _Shifts(*(getattr(shifts, name)[order] for name in _Shifts.__annotations__))


def _best(lines: _Lines, shifts: _Shifts, moves: Floats, waiting: Bools,
          most: int) -> tuple[Bools, Changes, Bools, Bools]:
    """The best point with just so many moves.

    Returns who has one, what it changes, for whom it cannot be told, and who has more ways than `most`.
    """
    n = len(lines.recipe)
    spare = moves - lines.bound + 1e-9
    ways, crowded = _ways(lines, shifts, spare, waiting, most)
    where, t, listed, kept, doubtful = _last_points(lines, ways, moves)
    listed = np.where(kept | doubtful, listed, np.inf)
    order = np.lexsort((listed, where))
    heads = np.concatenate(([True], where[order][1:] != where[order][:-1])) if len(order) else np.zeros(0, dtype=bool)
    best = order[heads]
    following = np.full(len(best), np.inf)
    nexts = np.flatnonzero(heads) + 1
    inside = nexts < len(order)
    same = np.zeros(len(best), dtype=bool)
    same[inside] = where[order[nexts[inside]]] == where[best[inside]]
    following[same] = listed[order[nexts[same]]]
    apart = listed[best] + TIE * lines.step[where[best]] < following
    unsure = np.isfinite(listed[best]) & (doubtful[best] | ~apart)
    won, unclear = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    unclear[where[best[unsure]]] = True
    good = best[np.isfinite(listed[best]) & ~unsure]
    good = good[~crowded[where[good]]]
    won[where[good]] = True
    return won, _changes(lines, shifts, ways, good, t, moves), unclear & ~crowded, crowded


@dataclass(frozen=True)
class _Ways:
    """Ways to spend excess, in levels; each adds one shift to its parent.

    Attributes
    ----------
    line, parent, shift : ndarray of int, shape (ways,)
        Recipe; the way that this one goes on from; the shift added, -1 for none.
    steps, spare, moved, listed : ndarray, shape (ways,)
        Steps of the shift; excess still to spare; moves and listed moves, in steps.
    over : ndarray, shape (ways, rows)
    """

    line: Ints
    parent: Ints
    shift: Ints
    steps: Floats
    spare: Floats
    moved: Floats
    listed: Floats
    over: Floats


def _ways(lines: _Lines, shifts: _Shifts, spare: Floats, waiting: Bools,
          most_ways: int) -> tuple[_Ways, Bools]:
    """All ways to spend no more than the spare excess of each recipe, and the recipes that have too many."""
    line = np.flatnonzero(waiting)
    crowded = np.zeros(len(lines.recipe), dtype=bool)
    level = _Ways(line, np.full(len(line), -1), np.full(len(line), -1), np.zeros(len(line)), spare[line],
                  lines.moved[line], lines.listed[line], lines.over[line])
    levels, offset = [level], 0
    number = np.bincount(line, minlength=len(lines.recipe))
    keys = shifts.line * 8.0 + shifts.first
    first_shift = np.searchsorted(shifts.line, np.arange(len(lines.recipe)))
    while len(level.line):
        begin = np.maximum(first_shift[level.line], level.shift + 1)
        end = np.searchsorted(keys, level.line * 8.0 + level.spare, side="right")
        parent, shift = _counted(begin, np.maximum(end - begin, 0))
        most = shifts.steps(shift, level.spare[parent])
        number += np.bincount(level.line[parent], most, minlength=len(lines.recipe)).astype(np.int64)
        crowded |= number > most_ways
        pair, steps_ = _counted(np.ones(len(parent), dtype=np.int64), np.where(crowded[level.line[parent]], 0, most))
        parent, shift, steps = parent[pair], shift[pair], steps_.astype(float)
        moved = shifts.moved(shift, steps)
        offset_here, offset = offset, offset + len(level.line)
        level = _Ways(level.line[parent], parent + offset_here, shift, steps,
                      level.spare[parent] - shifts.excess(shift, steps), level.moved[parent] + moved,
                      level.listed[parent] + shifts.root[shift] * moved,
                      level.over[parent] + shifts.over[shift] * steps[:, None])
        levels.append(level)
    return _Ways(*(np.concatenate([getattr(part, name) for part in levels]) for name in _Ways.__annotations__)), crowded


def _counted(begin: Ints, size: Ints) -> tuple[Ints, Ints]:
    """For each place its number, `size` times, beside begin, begin + 1, ..."""
    place = np.repeat(np.arange(len(begin)), size)
    return place, np.arange(len(place)) - np.repeat(np.cumsum(size) - size, size) + begin[place]


def _last_points(lines: _Lines, ways: _Ways, moves: Floats) -> tuple[Ints, Floats, Floats, Bools, Bools]:
    """Per way the point of its line that moves the first listed most and keeps the rows.

    Returns recipe, moves of the first ingredient between, listed moves, whether the point keeps the rows, and
    whether that cannot be told.
    """
    where = ways.line
    left = moves[where] - ways.moved
    two = lines.places[where, 1] >= 0
    root, least, most = lines.root[where], lines.least[where], lines.most[where]
    low = np.where(two, np.maximum(least[:, 0], left - most[:, 1]), left)
    high = np.where(two, np.minimum(most[:, 0], left - least[:, 1]), left)
    slope = lines.slope[where]
    at_zero = ways.over + np.where(two[:, None], slope[:, :, 1] * left[:, None], 0.0)
    tilt = slope[:, :, 0] - np.where(two[:, None], slope[:, :, 1], 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = np.where(np.isinf(at_zero) | (tilt == 0), np.nan, -at_zero / tilt)
    last = np.floor(np.fmin(high, np.fmin.reduce(np.where(tilt < 0, crossing, np.inf), axis=1)) + 1e-7)
    first = np.ceil(np.fmax(low, np.fmax.reduce(np.where(tilt > 0, crossing, -np.inf), axis=1)) - 1e-7)
    last, first = np.minimum(last, high), np.maximum(first, low)
    fits = (left >= 0) & (low <= high) & (first <= last) & (left >= least[:, 0]) & (two | (left <= most[:, 0]))
    doubt = 256 * UNIT * lines.size[where]
    t, kept, doubtful = last, np.zeros(len(where), dtype=bool), np.zeros(len(where), dtype=bool)
    undecided = fits
    for back in (0.0, 1.0):
        here = last - back
        over = at_zero + tilt * here[:, None]
        clear = (over > doubt).all(axis=1)
        near = ~clear & (over >= -doubt).all(axis=1)
        usable = undecided & (here >= first)
        t = np.where(usable & (clear | near), here, t)
        kept |= usable & clear
        doubtful |= usable & near
        undecided = undecided & ~(clear | near)
    listed = (ways.listed + root[:, 0] * t + np.where(two, root[:, 1] * (left - t), 0.0)) * lines.step[where]
    return where, t, listed, kept, doubtful


def _changes(lines: _Lines, shifts: _Shifts, ways: _Ways, good: Ints, t: Floats, moves: Floats) -> Changes:
    """Rows and steps (from the start of an ingredient between, else from its place) of the winning ways."""
    line = ways.line[good]
    places, side = lines.places[line], lines.side[line]
    second = places[:, 1] >= 0
    rest = moves[line] - ways.moved[good] - t[good]
    rows = [places[:, 0], places[second, 1]]
    steps = [side[:, 0] * t[good], (side[:, 1] * rest)[second]]
    way = good
    while len(way := way[ways.shift[way] >= 0]):
        shift = ways.shift[way]
        rows.append(shifts.ingredient[shift])
        steps.append(shifts.direction[shift] * ways.steps[way])
        way = ways.parent[way]
    return np.concatenate(rows), np.concatenate(steps)
