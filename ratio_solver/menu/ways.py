"""The ways to spend what is left between a dual bound and a whole number of steps, all of them.

See `menu.steps` for what is spent and why; here are the arrays and the enumeration.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratio_solver.lp.bounded_vertices import UNIT
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints

TIE = 1e-5
"""Sums of listed moves nearer than this are left to the single path to tell apart."""

Changes = tuple[Ints, Floats]


@dataclass(frozen=True)
class Lines:
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
class Shifts:
    """Ways of one ingredient away from where the linear programme leaves it, by recipe, cheapest first step first.

    Attributes
    ----------
    line : ndarray of int, shape (shifts,)
        Place in `Lines`.
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


def best(lines: Lines, shifts: Shifts, moves: Floats, waiting: Bools,
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


def _ways(lines: Lines, shifts: Shifts, spare: Floats, waiting: Bools,
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


def _last_points(lines: Lines, ways: _Ways, moves: Floats) -> tuple[Ints, Floats, Floats, Bools, Bools]:
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


def _changes(lines: Lines, shifts: Shifts, ways: _Ways, good: Ints, t: Floats, moves: Floats) -> Changes:
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
