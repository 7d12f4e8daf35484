"""The most modest change that cures impossible recipes, for many at once: what `solve` names first.

Of each limit in conflict it is known how near to it the others let a dish come (`ratio_solver.menu.conflicts`); on the
steps a branch and bound finds the nearest point, by Dinkelbach's iterations (1967) where the limit is a quotient. The
change is that value as a short decimal, and it is shown to cure: by the weights themselves on the steps, where every
limit is reckoned in rationals, else as such a conflict is shown not to be one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from ratio_solver.dish.constraints import LESS, MORE, Limit, ingredient_limit
from ratio_solver.exact import exact
from ratio_solver.lp.branching import searched
from ratio_solver.lp.fractional import NIL
from ratio_solver.lp.model import Floats, Ints
from ratio_solver.menu.choices import dishes_of
from ratio_solver.menu.conflicts import Conflict, can_be_kept
from ratio_solver.menu.rows import FoodArrays, MenuRows, exact_weights
from ratio_solver.menu.steps import OnSteps, in_steps, shapes
from ratio_solver.solving.formulation import HEAVY
from ratio_solver.solving.infeasible.one_change import decimals_near, writable
from ratio_solver.solving.result import Repair

NEARLY_SAME = 1e-10
"""A value that is so near to another, relative, must come to the same decimal as that."""

TURNS = 8
"""Of Dinkelbach's iterations on the steps, at most."""


@dataclass
class _Sought:
    """The change of a recipe as far as it is found."""

    recipe: int
    why: Conflict
    members: list[int]
    best: Repair | None = None
    place: int = -1
    lost: bool = False

    def waits(self) -> bool:
        """Whether a change of the next member may be more modest than the best."""
        return bool(self.members) and not self.lost and self.why.least[self.members[0]] < np.inf and (
            self.best is None or self.why.least[self.members[0]] <= self.best.relative)


def first_changes(rows: MenuRows, why: Mapping[int, Conflict], foods: FoodArrays,
                  on_steps: bool) -> dict[int, Conflict]:
    """The conflicts, with the first change where it is known beyond doubt."""
    sought = [_Sought(recipe, conflict, sorted(range(len(conflict.least)), key=lambda at: conflict.least[at]))
              for recipe, conflict in why.items() if conflict.members]
    while waiting := [one for one in sought if one.waits()]:
        asked = [(one.recipe, one.why.members[one.members[0]]) for one in waiting]
        limits = [_limit(rows, recipe, _place_of(rows, recipe, member)) for recipe, member in asked]
        values = [one.why.values[one.members[0]] for one in waiting]
        best = _on_steps(rows, asked, values, foods) if on_steps else [
            None if value != value else exact(value) for value in values]
        for one, limit, value in zip(waiting, limits, best, strict=True):
            place = one.members.pop(0)
            change = None if value is None else _change(limit, value, on_steps)
            one.lost |= change is None
            if change is not None and (one.best is None or (change.relative, place) < (one.best.relative, one.place)):
                one.best, one.place = change, place
    done = [one for one in sought if one.best is not None and not one.lost]
    if done and not on_steps:
        cured = can_be_kept(_relaxed(rows, done))
        done = [one for one, cures in zip(done, cured, strict=True) if cures]
    return {**why, **{one.recipe: replace(one.why, first=one.best, limits=tuple(
        _limit(rows, one.recipe, _place_of(rows, one.recipe, member)) for member in one.why.members)) for one in done}}


@dataclass(frozen=True)
class _Place:
    """Where a limit stands: its row, or the ingredient whose bound it is; -1 for what it is not."""

    line: int = -1
    item: int = -1
    of_max: bool = False


def _place_of(rows: MenuRows, recipe: int, member: int) -> _Place:
    """Where a limit stands, by its place in `limits_of` of the recipe."""
    menu, (line, end) = rows.menu, np.searchsorted(rows.owner, (recipe, recipe + 1)).tolist()
    if line + member < end:
        return _Place(line=line + member)
    nth, of_max = divmod(line + member - end, 2)
    return _Place(item=next(i for i in menu.items(recipe) if menu.adjustable[i] and menu.nth[i] == nth),
                  of_max=bool(of_max))


def _limit(rows: MenuRows, recipe: int, place: _Place) -> Limit:
    """The limit that stands at a place; of a row without its coefficients."""
    menu = rows.menu
    if place.line >= 0:
        limit: Limit = rows.limits[rows.kind[place.line]]
        return replace(limit, bound=exact(float(rows.bound[place.line])))
    end = (menu.high if place.of_max else menu.low)[place.item]
    return ingredient_limit(str(menu.labels[place.item]), place.item - int(menu.first[recipe]),
                            LESS if place.of_max else MORE, exact(float(end)))


def _change(limit: Limit, value: Fraction, reached: bool) -> Repair | None:
    """The change to the shortest decimal on the looser side of a value; None where that is in doubt.

    A value that is not known to be reached must come to the same decimal as all that are near it.
    """
    near = [value] if reached else [value * (1 + exact(off)) for off in (-NEARLY_SAME, NEARLY_SAME)]
    to, *others = dict.fromkeys(next(iter(decimals_near(limit, each)), None) for each in near)
    if others or to is None or not writable(Repair(limit, to)):
        return None
    if reached and (to > value if limit.sense == MORE else to < value):
        return None  # nearer to the limit than any weights, by less than counts: the per-recipe solver decides
    return Repair(limit, to)


def _relaxed(rows: MenuRows, done: list[_Sought]) -> MenuRows:
    """The rows of these recipes, each with its change."""
    found = rows.taken(np.array([one.recipe for one in done]))
    low, high, bound = found.menu.low.copy(), found.menu.high.copy(), found.bound.copy()
    for number, one in enumerate(done):
        place = _place_of(found, number, one.why.members[one.place])
        figures, at = (bound, place.line) if place.line >= 0 else (high if place.of_max else low, place.item)
        figures[at] = np.nan if one.best is None else float(one.best.to)
    return found.bounded(bound, low, high)


def _on_steps(rows: MenuRows, asked: list[tuple[int, int]], values: list[float],
              foods: FoodArrays) -> list[Fraction | None]:
    """The best that the quantities of limits come to on the steps within all other limits; None where it is open."""
    found = rows.taken(np.array([recipe for recipe, _ in asked]))
    menu = found.menu
    low, high, idle = menu.low.copy(), menu.high.copy(), found.idle.copy()
    above, below = np.zeros((2, len(menu.owner)))
    constant, limits = np.ones(len(asked)), list[Limit]()
    for number, (_, member) in enumerate(asked):
        place = _place_of(found, number, member)
        if place.line < 0:
            limits.append(_limit(found, number, place))
            above[place.item] = 1.0
            (high if place.of_max else low)[place.item] = float(HEAVY) if place.of_max else 0.0
        else:
            limits.append(found.limit(place.line))
            entries = slice(*np.searchsorted(found.row, (place.line, place.line + 1)))
            above[found.ingredient[entries]] = found.above[entries]
            below[found.ingredient[entries]] = found.below[entries]
            constant[number], idle[place.line] = found.constant[place.line], True
    within = found.bounded(found.bound, low, high, idle)
    dishes, pair = dishes_of(within)
    sought, steps = _Reached(limits, constant, np.array(values)), in_steps(dishes)
    shape = shapes(dishes, steps)
    for each in np.unique(shape[steps.good]):
        mine = np.flatnonzero(steps.good & (shape == each))
        items = menu.rows_of(pair[mine])
        search = OnSteps(dishes.taken(mine), steps.taken(dishes.menu, mine), pair[mine], foods, "")
        sought.search(search, pair[mine], above[items], below[items])
    return sought.best


class _Reached:
    """The best that quotients come to on the steps.

    Parameters
    ----------
    limits : list of Limit
    constant, values : ndarray, shape (limits,)
        Of the denominator; a value that no point betters, NaN where there is none.
    """

    def __init__(self, limits: list[Limit], constant: Floats, values: Floats) -> None:
        self.limits, self.constant, self.values = limits, constant, values.copy()
        self.sign = np.array([1.0 if limit.sense == MORE else -1.0 for limit in limits])
        self.best: list[Fraction | None] = [None] * len(limits)

    def search(self, search: OnSteps, pair: Ints, above: Floats, below: Floats) -> None:
        """Enter the best of the limits that some dishes are about, by Dinkelbach's iterations.

        Parameters
        ----------
        search : OnSteps
        pair : ndarray of int, shape (dishes,)
            Which of the limits each is about.
        above, below : ndarray, shape (ingredients,)
            What a gram does for the quotient.
        """
        given = search.programmes()
        active = np.zeros(len(self.limits), dtype=bool)
        active[pair] = ~np.isnan(self.values[pair])
        for turn in range(TURNS):
            going = active[pair]
            if not going.any():
                return
            cost, offset, near = self._costs(search, pair, above, below)
            known = np.full(given.count, np.inf) if turn == 0 else -offset
            found = searched(replace(given, cost=cost), lambda best, near=near: best - near,  # type: ignore[misc]
                             search.keeps, going, known)
            better = np.where(going & (found.cost < known), found.cost + offset, np.inf)
            active[:] = False
            for dish in map(int, np.flatnonzero(np.isfinite(better))):
                active[pair[dish]] |= self._reached(search, dish, pair[dish], found.values[dish])
            for lost in np.unique(pair[going & ~found.complete]):
                self.best[lost], active[lost] = None, False
        for lost in np.flatnonzero(active):
            self.best[lost] = None

    def _costs(self, search: OnSteps, pair: Ints, above: Floats, below: Floats) -> tuple[Floats, Floats, Floats]:
        """What is lost of the values so far, as a cost of the columns; that at their base; how much counts as none."""
        menu, sign, value = search.menu, self.sign[pair], np.nan_to_num(self.values)[pair]
        per_gram = (sign * value)[menu.owner] * below - sign[menu.owner] * above
        offset = menu.sum(per_gram * search.standing) + sign * value * self.constant[pair]
        size = menu.sum(np.abs(per_gram) * search.standing)
        return search.linear(menu.laid(per_gram)), offset, NEARLY_SAME * np.maximum(1.0, size)

    def _reached(self, search: OnSteps, dish: int, number: int, k: Floats) -> bool:
        """Enter what a quotient comes to at a point, in rationals, where that is better."""
        limit, weights = self.limits[number], exact_weights(search.menu, search.nano_of(dish, k), dish)
        value, best = limit.actual(weights), self.best[number]
        if value is None or limit.divisor(weights) <= NIL:
            return False
        if best is not None and limit.slack(value) <= limit.slack(best):
            return False
        self.best[number], self.values[number] = value, float(value)
        return True
