"""Weights on the steps for many recipes at once, each proven the best of all.

For any multipliers y >= 0 and any weights that keep the rows, with g = A' y,

    moved(w)  =  bound + sum_j excess_j(w_j) + y . over(w),      excess_j >= 0,   over >= 0,

bound being the dual bound of `menu.stacked`. On the steps ``moved`` is a whole number of steps, so none has less than
``best = ceil(bound)``, and a point that has just that much keeps ``sum_j excess_j <= best - bound < 1``. An
ingredient that the linear programme leaves at its start or at a bound has an excess of d_j per step away from
there: there are few ways to spend less than one step on these, and they are all tried. For each the one or two
ingredients between have a sum of moves that is known, so that they lie on a line; its last point that keeps the
rows moves the first listed most. Of all these points the one with the least listed moves is the answer of
`solving.scale_steps`. Where there is none, ``best + 1`` is tried in the same way; what is not settled then is
left open.
Here everything is in steps, one length for all the ingredients of a recipe.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TypeVar

import numpy as np

from ratio_solver.lp.bounded_vertices import UNIT
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints
from ratio_solver.menu.arrays import NANO
from ratio_solver.menu.rows import MenuRows
from ratio_solver.menu.stacked import MenuSolution, listed_roots

FEW_WAYS, MANY_WAYS = 2_000, 300_000
"""Ways to spend the excess that are tried for one recipe: at first, and where that is too few; then it is left open."""

AT_A_TIME = 2
"""Recipes with many ways that are looked at at a time, which bounds the memory."""

MOST_EXCESS = 2.0
"""The second round spends less than this many steps."""

LINE_APART = 2 * MOST_EXCESS
"""What parts the keys of two recipes' shifts, above any excess that there is."""

LISTED_TIE = 1e-5
"""Sums of listed moves nearer than this are left to the per-recipe solver to tell apart."""

Dense = TypeVar("Dense", bound="Shifts | Ways")


@dataclass(frozen=True)
class Lines:
    """Recipes with one or two ingredients between their steps, as dense arrays.

    Attributes
    ----------
    recipe : ndarray of int, shape (n,)
    bound : ndarray, shape (n,)
        Dual bound.
    moved, listed : ndarray, shape (n,)
        Moves of the ingredients that are not between; the same weighed by the roots.
    over, size : ndarray, shape (n, rows)
        What is left of each row when the ingredients between are at their starts; and the size of its terms.
    places : ndarray of int, shape (n, 2)
        Rows of the ingredients between, -1 where there is no second.
    side, root, least, most : ndarray, shape (n, 2)
        The way they move, +1 up or -1 down; root, fewest and most moves, 0 where there is none.
    slope : ndarray, shape (n, rows, 2)
        What a move adds to each row, 0 where there is none.
    """

    recipe: Ints
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
    """Ways of one ingredient away from where the linear programme leaves it, by recipe, cheapest step first.

    One that leads towards the start ends there: beyond, a step has an excess of 2 or more, which is never to spare.

    Attributes
    ----------
    line : ndarray of int, shape (shifts,)
        Place in `Lines`.
    ingredient : ndarray of int, shape (shifts,)
    direction : ndarray, shape (shifts,)
        +1 up, -1 down.
    excess : ndarray, shape (shifts,)
        Of a step.
    moves : ndarray, shape (shifts,)
        What a step adds to the moves: 1, or -1 towards the start.
    room : ndarray, shape (shifts,)
        Steps there are.
    root : ndarray, shape (shifts,)
    over : ndarray, shape (shifts, rows)
        What a step adds to each row.
    """

    line: Ints
    ingredient: Ints
    direction: Floats
    excess: Floats
    moves: Floats
    room: Floats
    root: Floats
    over: Floats


@dataclass(frozen=True)
class Ways:
    """Ways to spend excess, in levels; each adds one shift to its parent.

    Attributes
    ----------
    line, parent, shift : ndarray of int, shape (ways,)
        Recipe; the way that this one goes on from; the shift added, -1 for none.
    steps, spare, moved, listed : ndarray, shape (ways,)
        Steps of the shift; excess still to spare; moves and listed moves.
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


@dataclass(frozen=True)
class Points:
    """The best point of each recipe that has one with just so many moves.

    Attributes
    ----------
    won, doubtful, crowded : ndarray of bool, shape (lines,)
        Recipes that have one, for which it cannot be told, and that have more ways than are tried.
    changed : ndarray of int, shape (changes,)
        Ingredients that move; one may come twice.
    by : ndarray, shape (changes,)
        From the start of an ingredient between, else from its place.
    """

    won: Bools
    doubtful: Bools
    crowded: Bools
    changed: Ints
    by: Floats


def nano_on_steps(rows: MenuRows, found: MenuSolution) -> tuple[Ints, Bools]:
    """Weights in 1e-9 g on the steps, and the recipes that are not settled here."""
    menu, nano = rows.menu, found.nano.copy()
    step, even = _one_step(rows)
    between = np.bincount(menu.owner[found.standing.free], minlength=menu.count)
    open_ = found.open | ~even | (between > 2)
    chosen = ~open_ & (between > 0)
    if not chosen.any():
        return nano, open_
    lines, shifts = _arranged(rows, found, chosen, step / NANO)
    starting = found.standing.free & chosen[menu.owner]
    nano[starting] = np.rint(menu.start[starting] * NANO).astype(np.int64)
    least = np.ceil(lines.bound)
    waiting = np.ceil(lines.bound + 1e-9) == least
    open_[lines.recipe[~waiting]] = True
    for more in (0.0, 1.0):
        if not waiting.any():
            break
        # At first with few ways for all, then with many for those that need them.
        tried = [_best_points(lines, shifts, least + more, waiting, FEW_WAYS)]
        crowded = np.flatnonzero(tried[0].crowded)
        for first in range(0, len(crowded), AT_A_TIME):
            some = np.isin(np.arange(len(waiting)), crowded[first:first + AT_A_TIME])
            tried.append(_best_points(lines, shifts, least + more, some, MANY_WAYS))
            open_[lines.recipe[tried[-1].crowded]] = True
            waiting &= ~tried[-1].crowded
        for points in tried:
            np.add.at(nano, points.changed, np.rint(points.by).astype(np.int64) * step[menu.owner[points.changed]])
            open_[lines.recipe[points.doubtful]] = True
            waiting &= ~points.won & ~points.doubtful
    open_[lines.recipe[waiting]] = True
    return nano, open_


def _one_step(rows: MenuRows) -> tuple[Ints, Bools]:
    """Step of each recipe in 1e-9 g; whether it is one for all, starts and bounds on it, every gram equally dear."""
    menu = rows.menu
    grams = np.where(np.isnan(menu.step), 1.0, menu.step)
    nano = np.rint(grams * NANO).astype(np.int64)
    step = np.ones(menu.count, dtype=np.int64)
    step[menu.owner[menu.adjustable]] = nano[menu.adjustable]
    good = (nano == step[menu.owner]) & (nano > 0) & (menu.keep == 1) & (nano / NANO == grams)
    for figures in map(np.nan_to_num, (menu.start, menu.low, menu.high)):
        whole = np.rint(figures * NANO).astype(np.int64)
        good &= (whole % np.maximum(nano, 1) == 0) & (whole / NANO == figures)
    return step, ~menu.any(menu.adjustable & ~good)


def _arranged(rows: MenuRows, found: MenuSolution, chosen: Bools, step: Floats) -> tuple[Lines, Shifts]:
    """The chosen recipes, with steps in g, as lines, and the ways of their other ingredients."""
    menu, free = rows.menu, found.standing.free & chosen[rows.menu.owner]
    number, recipe = np.cumsum(chosen) - 1, np.flatnonzero(chosen)
    line, root, grams = number[menu.owner], listed_roots(menu), step[menu.owner]

    depth = int(np.bincount(rows.owner, minlength=menu.count).max())
    slot = np.arange(len(rows.owner)) - np.searchsorted(rows.owner, rows.owner)
    base = np.where(found.standing.free, menu.start, found.standing.still)
    terms = rows.value * base[rows.ingredient]
    over, size = np.full((len(recipe), depth), np.inf), np.zeros((len(recipe), depth))
    mine = chosen[rows.owner]
    at = number[rows.owner[mine]], slot[mine]
    over[at] = (rows.total(terms) - rows.right)[mine]
    highest = np.nan_to_num(menu.high)[rows.ingredient]
    size[at] = (np.abs(rows.right) + rows.total(np.abs(rows.value) * highest + np.abs(terms)))[mine]
    per_step = np.zeros((len(menu.owner), depth))
    per_step[rows.ingredient, slot[rows.row]] = rows.value
    per_step *= grams[:, None]

    still, low, high = (np.rint((figures - menu.start) / grams) for figures in (base, menu.low, menu.high))
    others = menu.adjustable & ~found.standing.free & chosen[menu.owner]
    moved, listed = (np.bincount(line[others], (each * np.abs(still))[others], minlength=len(recipe)).astype(float)
                     for each in (np.ones(len(root)), root))

    places = np.full((len(recipe), 2), -1)
    between = np.flatnonzero(free)
    second = np.concatenate(([False], line[between][1:] == line[between][:-1]))
    places[line[between], second.astype(int)] = between
    there, side = places >= 0, np.where(found.standing.rise, 1.0, -1.0)
    root_, least, most = (np.where(there, figures[places], 0.0) for figures in (
        root, np.maximum(0.0, np.where(found.standing.rise, low, -high)), np.where(found.standing.rise, high, -low)))
    slope = np.where(there[:, None, :], (per_step * side[:, None])[places].transpose(0, 2, 1), 0.0)
    lines = Lines(recipe, found.bound[recipe] / step[recipe], moved, listed, over, size, places, side[places], root_,
                  least, most, slope)

    worth = rows.value * np.maximum(found.price, 0.0)[rows.row]
    gain = np.bincount(rows.ingredient, worth, minlength=len(menu.owner))
    parts = []
    for direction in (1.0, -1.0):
        to_start = still * direction < 0
        moves = np.where(to_start, -1.0, 1.0)
        excess = np.maximum(moves - gain * direction, 0.0)
        room = np.where(to_start, np.abs(still), np.inf)
        room = np.minimum(room, high - still if direction > 0 else still - low)
        take = np.flatnonzero(others & (room > 0) & (excess < MOST_EXCESS))
        parts.append(Shifts(line[take], take, np.full(len(take), direction), excess[take], moves[take], room[take],
                            root[take], per_step[take] * direction))
    shifts = _concatenated(parts)
    order = np.lexsort((shifts.excess, shifts.line))
    return lines, Shifts(*(getattr(shifts, field.name)[order] for field in fields(Shifts)))


def _concatenated(parts: list[Dense]) -> Dense:
    """One of a kind out of several."""
    kind = type(parts[0])
    return kind(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(kind)))


def _best_points(lines: Lines, shifts: Shifts, moves: Floats, waiting: Bools, most_ways: int) -> Points:
    """The best point with just so many moves of each recipe that waits."""
    ways, crowded = _ways_to_spend(lines, shifts, moves - lines.bound + 1e-9, waiting, most_ways)
    t, listed, kept, doubtful = _last_points(lines, ways, moves)
    listed = np.where(kept | doubtful, listed, np.inf)
    order = np.lexsort((listed, ways.line))
    line, ranked = ways.line[order], listed[order]
    heads = np.flatnonzero(np.concatenate(([True], line[1:] != line[:-1])))
    best = order[heads]
    # The next best of the same recipe, if there is one.
    follows = np.append(line[1:] == line[:-1], False)[heads]
    following = np.where(follows, np.append(ranked[1:], np.inf)[heads], np.inf)
    found = np.isfinite(listed[best]) & ~crowded[ways.line[best]]
    unsure = doubtful[best] | (listed[best] + LISTED_TIE >= following)
    won, unclear = np.zeros(len(crowded), dtype=bool), np.zeros(len(crowded), dtype=bool)
    unclear[ways.line[best[found & unsure]]] = True
    good = best[found & ~unsure]
    won[ways.line[good]] = True
    return Points(won, unclear, crowded, *_winning_changes(lines, shifts, ways, good, t[good], moves))


def _ways_to_spend(lines: Lines, shifts: Shifts, spare: Floats, waiting: Bools, most_ways: int) -> tuple[Ways, Bools]:
    """All ways to spend no more than the spare excess of each recipe, and the recipes that have too many."""
    line, count = np.flatnonzero(waiting), len(lines.recipe)
    crowded = np.zeros(count, dtype=bool)
    none = np.full(len(line), -1)
    levels = [Ways(line, none, none, np.zeros(len(line)), spare[line], lines.moved[line], lines.listed[line],
                   lines.over[line])]
    offset, number = 0, np.bincount(line, minlength=count)
    keys = shifts.line * LINE_APART + shifts.excess
    first_shift = np.searchsorted(shifts.line, np.arange(count))
    while len((level := levels[-1]).line):
        begin = np.maximum(first_shift[level.line], level.shift + 1)
        end = np.searchsorted(keys, level.line * LINE_APART + level.spare, side="right")
        parent, shift = _numbered(begin, np.maximum(end - begin, 0))
        with np.errstate(divide="ignore"):
            afford = np.floor(level.spare[parent] / shifts.excess[shift])
        most = np.minimum(afford, shifts.room[shift]).astype(np.int64)
        number += np.bincount(level.line[parent], most, minlength=count).astype(np.int64)
        crowded |= number > most_ways
        pair, count_ = _numbered(np.ones(len(parent), dtype=np.int64), np.where(crowded[level.line[parent]], 0, most))
        parent, shift, steps = parent[pair], shift[pair], count_.astype(float)
        moved = shifts.moves[shift] * steps
        levels.append(Ways(level.line[parent], parent + offset, shift, steps,
                           level.spare[parent] - shifts.excess[shift] * steps, level.moved[parent] + moved,
                           level.listed[parent] + shifts.root[shift] * moved,
                           level.over[parent] + shifts.over[shift] * steps[:, None]))
        offset += len(level.line)
    return _concatenated(levels), crowded


def _numbered(begin: Ints, size: Ints) -> tuple[Ints, Ints]:
    """For each place its number, `size` times, beside begin, begin + 1, ..."""
    place = np.repeat(np.arange(len(begin)), size)
    return place, np.arange(len(place)) - np.repeat(np.cumsum(size) - size, size) + begin[place]


def _last_points(lines: Lines, ways: Ways, moves: Floats) -> tuple[Floats, Floats, Bools, Bools]:
    """Per way the point of its line that moves the first listed most and keeps the rows.

    Returns moves of the first ingredient between, listed moves, whether the point keeps the rows, and whether that
    cannot be told.
    """
    root, least, most, slope = (figures[ways.line] for figures in (lines.root, lines.least, lines.most, lines.slope))
    left = moves[ways.line] - ways.moved
    at_zero = ways.over + slope[:, :, 1] * left[:, None]
    tilt = slope[:, :, 0] - slope[:, :, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = np.where(np.isinf(at_zero) | (tilt == 0), np.nan, -at_zero / tilt)
    low, high = np.maximum(least[:, 0], left - most[:, 1]), np.minimum(most[:, 0], left - least[:, 1])
    t = np.floor(np.fmin(high, np.fmin.reduce(np.where(tilt < 0, crossing, np.inf), axis=1)) + 1e-7)
    first = np.ceil(np.fmax(low, np.fmax.reduce(np.where(tilt > 0, crossing, -np.inf), axis=1)) - 1e-7)
    t, first = np.minimum(t, high), np.maximum(first, low)
    doubt = 256 * UNIT * lines.size[ways.line]
    kept, doubtful = np.zeros((2, len(t)), dtype=bool)
    for _ in range(2):  # the last point, or the one before it
        over = at_zero + tilt * t[:, None]
        usable = ~kept & ~doubtful & (t >= first)
        clear = (over > doubt).all(axis=1)
        doubtful |= usable & ~clear & (over >= -doubt).all(axis=1)
        kept |= usable & clear
        t = np.where(kept | doubtful, t, t - 1)
    return t, ways.listed + root[:, 0] * t + root[:, 1] * (left - t), kept, doubtful


def _winning_changes(lines: Lines, shifts: Shifts, ways: Ways, good: Ints, t: Floats,
                     moves: Floats) -> tuple[Ints, Floats]:
    """Ingredients that change by the winning ways, and by how much; a second between that is not there by nothing."""
    line = ways.line[good]
    by_between = lines.side[line] * np.column_stack((t, moves[line] - ways.moved[good] - t))
    changed, by = [lines.places[line].ravel()], [by_between.ravel()]
    way = good
    while len(way := way[ways.shift[way] >= 0]):
        shift = ways.shift[way]
        changed.append(shifts.ingredient[shift])
        by.append(shifts.direction[shift] * ways.steps[way])
        way = ways.parent[way]
    return np.concatenate(changed), np.concatenate(by)
