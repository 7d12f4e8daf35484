"""Solve a linear model: the best point, proven, or the proof that there is none; steps by branch and bound.

A part of a model with steps has some of its stepped variables in a narrower range. Each part is a linear programme
solved exactly, from the basis of the part that it was split from, and its costs are a bound for all that is in it; the
best part is split first, until nothing is left that could be better (Land AH, Doig AG, Econometrica 28 (1960) 497-520;
from memory). As parts are solved exactly, nothing hangs on how great the `most` is in a row ``most used - w >= 0`` that
ties a weight to whether it is used.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import count

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, Vector
from ratio_solver.lp import highs
from ratio_solver.lp.basis import CONSTANT, Basis, box_basis
from ratio_solver.lp.clock import out_of_time
from ratio_solver.lp.fractional import Seeker
from ratio_solver.lp.infeasible import LARGE, impossible_rows
from ratio_solver.lp.model import LinearModel, Mark, Slack
from ratio_solver.lp.simplex import MANY_VARIABLES, best_basis, best_or_none, starting_basis

MOST_BRANCHED = 256
"""Parts that are looked at; of more HiGHS searches."""

HALF = Fraction(1, 2)

AS_GOOD = 1e-7
"""By how much, relative, a search in doubles may exceed a cost that it is to keep."""

UNFOUND = "the solver finds no weights, and exact arithmetic does not show that there are none"


@dataclass(frozen=True)
class Solution:
    """The best point of a model, exact.

    Attributes
    ----------
    basis : Basis
        On which no cost can fall: the proof. Its model has every stepped variable fixed where it is best.
    bound : Fraction
        No point of the model as it was has a lower first cost.
    searched : float or None
        The same by the solver's own search, where the parts were too many; None where they were not.
    """

    basis: Basis
    bound: Fraction
    searched: float | None = None

    @property
    def model(self) -> LinearModel:
        """The model with its stepped variables fixed."""
        return self.basis.model

    @property
    def values(self) -> Vector:
        """The values of the variables."""
        return self.basis.point

    @cached_property
    def marginals(self) -> Mapping[Mark, float]:
        """Change of the first cost for one more unit of each tight row and bound; that of the others is nil."""
        cost, model, found = self.model.whole_costs[0], self.model, {}
        terms, unit = self.basis.cost_form(cost)
        for mark, n in terms.items():
            if n and mark != CONSTANT:
                price = n * model.slacks[mark].unit / (unit * cost.unit)
                fixed = mark.kind != "row" and mark in model.firm  # then both bounds are tight, and one has the price
                found[Mark("lower" if price > 0 else "upper", mark.place) if fixed else mark] = price
        return found

    @property
    def row_prices(self) -> list[float]:
        """The marginals of all rows."""
        return [self.marginals.get(Mark("row", place), 0.0) for place in range(len(self.model.rows))]


def solve_lp(model: LinearModel, start: Basis | None = None) -> Solution | None:
    """The best point, ties to the later costs; `start` is a basis to begin from.

    Returns
    -------
    Solution or None
        None where it is proven that there is no point, or of too many parts where HiGHS finds none.

    Raises
    ------
    NotProven
        Where the solver gives up, or exact arithmetic does not confirm what it finds.
    """
    most = 1 if _mixed(model) else MOST_BRANCHED
    found = branched(model, model.whole_costs, most, start or starting_basis(_on_grid(model)))
    if not found.complete:
        return _by_search(model, found.bound)
    return None if found.basis is None else Solution(found.basis, found.bound)


def continuous_prices(model: LinearModel) -> list[float] | None:
    """The multipliers of the rows for the first cost, steps left out; None where it is proven that there is none."""
    basis = best_basis(starting_basis(model), model.whole_costs[:1])
    return None if basis is None else Solution(basis, ZERO).row_prices


def has_point(model: LinearModel, most: int = MOST_BRANCHED) -> bool | None:
    """Whether any point keeps every row and bound, steps included, proven; None where it takes more parts to tell."""
    found = feasibility(model, most)
    return True if found.basis else False if found.complete else None


def feasibility(model: LinearModel, most: int = MOST_BRANCHED) -> Branched:
    """Any point of a model, steps included, or what none keeps together."""
    start = None
    if len(model.rows) >= LARGE or len(model.variables) >= MANY_VARIABLES:
        rows = impossible_rows(model)
        if rows is not None:
            return Branched(None, ZERO, True, frozenset(Mark("row", row) for row in rows))
        start = starting_basis(_on_grid(replace(model, costs=((ZERO,) * len(model.variables),))))
    return branched(model, (), most, start)


def seeker(model: LinearModel) -> Seeker:
    """What finds the point of a model with the least of a cost, for one cost after another."""
    tried, last = len(model.rows) < LARGE, None

    def seek(cost: Vector) -> Vector | None:
        nonlocal tried, last
        if not tried and has_point(model) is False:
            return None
        tried = True
        found = solve_lp(replace(model, costs=(cost,)), last)
        last = None if found is None or model.stepped else found.basis
        return None if found is None else found.values

    return seek


@dataclass(frozen=True)
class Branched:
    """How far branching came.

    Attributes
    ----------
    basis : Basis or None
        The best that was found.
    bound : Fraction
        No point has a lower first cost.
    complete : bool
        Whether nothing is left that could be better.
    proof : frozenset of Mark
        Where there is no point: rows and bounds that none keeps together, those of its parts among them.
    """

    basis: Basis | None
    bound: Fraction
    complete: bool
    proof: frozenset[Mark] = frozenset()


def branched(model: LinearModel, costs: Sequence[Slack], most: int = MOST_BRANCHED,
             start: Basis | None = None) -> Branched:
    """The best point of a model for costs one after the other; any point where there are none.

    Without a basis to start from it begins with every variable at its lower bound: few pivots where rows are few, and
    no call of the solver.
    """
    tie = count(0, -1)  # of equal parts the latest is looked at first
    first = start or box_basis(_on_grid(model), (False,) * len(model.variables))
    parts: list[tuple[list[Fraction], int, Basis]] = [([], next(tie), first)]
    best: tuple[list[Fraction], Basis, Vector] | None = None
    proofs = frozenset[Mark]()
    for number in range(most):
        if not parts or (best and parts[0][0] >= best[0]) or (number and out_of_time()):
            break
        found, proof = best_or_none(heapq.heappop(parts)[2], costs)
        proofs |= proof
        value = [] if proof else [found.value(cost) for cost in costs]
        if proof or (best and value >= best[0]):
            continue
        whole = _as_good_on_steps(found, costs)
        if whole is not None:
            best = value, found, whole
        else:
            for half in _halves(found):
                heapq.heappush(parts, (value, next(tie), found.under(half)))
    complete = not parts or (best is not None and parts[0][0] >= best[0])
    [least, *_] = [*(best[0] if best and complete else parts[0][0] if parts else []), ZERO]
    if best is None or not model.stepped:
        return Branched(best and best[1], least, complete, proofs)
    return Branched(best_basis(best[1].under(_with_steps_fixed(model, best[2])), costs), least, complete)


def _as_good_on_steps(basis: Basis, costs: Sequence[Slack]) -> Vector | None:
    """A point on the steps that costs as much as that of the basis, where rounding finds one: up, or to the nearest."""
    model, point = basis.model, basis.point
    if not model.stepped:
        return point
    off = [(j, v, x) for j, (v, x) in enumerate(zip(model.variables, point, strict=True))
           if v.step is not None and (x - v.base) % v.step]
    for rule in (math.ceil, round):
        moves = {j: v.rounded(x, rule) - x for j, v, x in off}
        if all(v.lower <= x + moves[j] <= v.upper for j, v, x in off) and _kept_when(basis, moves) and all(
                sum([a * moves[j] for j, a in cost.entries if j in moves]) == 0 for cost in costs):
            return tuple(x + moves[j] if j in moves else x for j, x in enumerate(point))
    return None


def _kept_when(basis: Basis, moves: Mapping[int, Fraction]) -> bool:
    """Whether every row is kept when some variables move from the point of a basis that keeps them."""
    changes: dict[Mark, Fraction] = {}
    for j, change in moves.items():
        for mark, a in basis.model.rows_of.get(j, ()):
            changes[mark] = changes.get(mark, ZERO) + a * change
    return all(not change if mark in basis.model.firm else basis.over(mark) + change >= 0
               for mark, change in changes.items())


def _halves(basis: Basis) -> tuple[LinearModel, LinearModel]:
    """The model split at a variable between its steps: of a choice the one least used, else the one farthest off."""
    model, apart = basis.model, []
    for place, (v, x) in enumerate(zip(model.variables, basis.point, strict=True)):
        if v.step is not None and (off := (x - v.base) / v.step % 1):
            apart.append((not v.choice, off if v.choice else abs(off - HALF), place, x - off * v.step, v.step))
    _, _, place, below, step = min(apart)
    variable = model.variables[place]
    return (model.with_bounds({place: (variable.lower, below)}),
            model.with_bounds({place: (below + step, variable.upper)}))


def _with_steps_fixed(model: LinearModel, values: Sequence[Fraction]) -> LinearModel:
    """The model with its stepped variables fixed at some values."""
    return model.with_bounds({place: (value, value) for place, value in enumerate(values)
                              if model.variables[place].step is not None})


def ways(model: LinearModel) -> Iterator[LinearModel]:
    """The model with its 0-or-1 variables fixed, in every way that allows as much as any other.

    A 1 only ever loosens the rows other than those over these variables alone, so a way that another allows and more
    is left out. A model without such variables is its own only way.
    """
    places = [place for place, variable in enumerate(model.variables) if variable.step is not None]
    rows = [row.slack for row in model.rows
            if row.slack.entries and all(place in places for place, _ in row.slack.entries)]
    ends = {place: (int(model.variables[place].lower), int(model.variables[place].upper)) for place in places}

    def allowed(used: Mapping[int, int]) -> bool:
        """Whether the rows can be kept, whatever of those that are open is used."""
        return all(constant + sum([a * used[place] if place in used else max(a * end for end in ends[place])
                                   for place, a in entries]) >= 0 for entries, constant, _ in rows)

    def made(used: dict[int, int]) -> Iterator[dict[int, int]]:
        if len(used) == len(places):
            if not any(used[place] < ends[place][1] and allowed(used | {place: 1}) for place in places):
                yield used
            return
        place = places[len(used)]
        for value in range(ends[place][1], ends[place][0] - 1, -1):
            if allowed(used | {place: value}):
                yield from made(used | {place: value})

    return (model.with_bounds({place: (Fraction(value),) * 2 for place, value in used.items()}) for used in made({}))


def _mixed(model: LinearModel) -> bool:
    """Whether variables with steps, other than those of a choice, stand in rows with others that have none."""
    whole = {place for place, variable in enumerate(model.variables) if variable.step is not None}
    others = {place for place in whole if not model.variables[place].choice}
    return any(places & others and places - whole
               for row in model.rows for places in [{place for place, _ in row.slack.entries}])


def _on_grid(model: LinearModel) -> LinearModel:
    """The model with the bounds of its stepped variables on their steps."""
    return model if not model.stepped else model.with_bounds({
        place: (v.rounded(v.lower, math.ceil), v.rounded(v.upper, math.floor))
        for place, v in enumerate(model.variables) if v.step is not None})


def _by_search(model: LinearModel, bound: Fraction) -> Solution | None:
    """The best point by HiGHS, ties to the later costs; None where it finds none."""
    arrays, first, values = model.arrays, None, np.zeros(0)
    whole, steps, bases = model.steps
    grid = _on_grid(model).arrays
    matrix, ends = arrays.matrix * steps, [end - arrays.matrix @ bases for end in arrays.ends]
    for cost in model.float_costs:
        found = highs.integer(cost * steps, matrix, (ends[0], ends[1]), (grid.lower - bases) / steps,
                              (grid.upper - bases) / steps, whole)
        if found is None:
            break
        first, values = first or found, found.values
        matrix = np.vstack((matrix, cost * steps))
        ends = [np.append(ends[0], -np.inf), np.append(ends[1], found.cost + AS_GOOD * max(1.0, abs(found.cost)))]
    if first is None:
        return None
    settled = _with_steps_fixed(model, [v.base + round(x) * (v.step or ONE)
                                        for v, x in zip(model.variables, values.tolist(), strict=True)])
    basis = best_basis(starting_basis(settled), settled.whole_costs)
    if basis is None:
        raise NotProven(UNFOUND)
    return Solution(basis, bound, first.bound + float(model.float_costs[0] @ bases))
