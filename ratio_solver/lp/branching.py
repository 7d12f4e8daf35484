"""The ways to choose, part by part: branch and bound (Land AH, Doig AG, Econometrica 28 (1960) 497-520; from memory).

A choice has 0-or-1 variables "used", each tied to a weight by a row ``most used - w >= 0``. A part of the ways to
choose has some of them fixed. A weight that is not used is held at nothing by its own bound: a row that has `most` in
it would let through as much of it as the solver's tolerance of that row is, and the more the greater `most` is. So
nothing here depends on `most`, which may be as great as a weight can be.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import count

from ratio_solver.exact import ONE, ZERO, Vector
from ratio_solver.lp.model import Floats, LinearModel, Row
from ratio_solver.lp.solve import Infeasible, on_face, whole_set
from ratio_solver.lp.solve import settle as searched

NOTHING = 1e-9
"""A weight of this or less (g) is not used, and a cost that is better by less (relative) is none better."""

MOST_PARTS = 256
"""Parts of the ways to choose that are looked at; of more HiGHS searches."""


def tied(model: LinearModel) -> dict[int, int]:
    """Place of each variable "used" to that of its weight."""
    found: dict[int, int] = {}
    for row in model.rows:
        entries = [(place, a) for place, a in enumerate(row.coefficients) if a] if row.definition else []
        if row.sense == ">=" and not row.bound and len(entries) == 2:
            (one, a), (other, b) = sorted(entries, key=lambda entry: entry[1])
            if a < 0 < b and model.variables[one].step is None and model.variables[other].step == ONE:
                found[other] = one
    return found


def part_of(model: LinearModel, fixed: Mapping[int, Fraction], ties: Mapping[int, int]) -> LinearModel:
    """The model with some variables "used" fixed; the weights of those that are not used are nothing."""
    bounds = {place: (value, value) for place, value in fixed.items()}
    bounds |= {ties[place]: (model.variables[ties[place]].lower, ZERO) for place, value in fixed.items() if not value}
    return model.with_bounds(bounds)


def chosen(model: LinearModel, values: Floats, ties: Mapping[int, int]) -> dict[int, Fraction]:
    """The least that a point needs of each variable "used": 1 where its weight is anything."""
    return {place: max(model.variables[place].lower, ONE if values[weight] > NOTHING else ZERO)
            for place, weight in ties.items()}


def overfull(model: LinearModel, used: Mapping[int, Fraction]) -> Iterator[tuple[Row, Fraction]]:
    """The rows that choose among the variables "used", and by how much these are too many for them."""
    for row in model.rows:
        terms = [a * used[place] for place, a in enumerate(row.coefficients) if a and place in used]
        if terms and not row.definition and row.sense == "<=" and sum(terms) > row.bound:
            yield row, sum(terms, -row.bound)


def to_split(model: LinearModel, values: Floats, used: Mapping[int, Fraction], ties: Mapping[int, int]) -> int | None:
    """The variable "used" to fix next: of an overfull choice the one with the least weight; None where none is open."""
    open_ones = {place for row, _ in overfull(model, used) for place, value in used.items()
                 if value and row.coefficients[place] and not model.variables[place].lower}
    return min(open_ones, key=lambda place: (float(values[ties[place]]), place), default=None)


def settle(model: LinearModel) -> LinearModel | Infeasible:
    """The model with its stepped variables fixed where its first cost is least; the model itself if it has none.

    Variables "used" cost nothing of themselves.
    Beside variables "used", others may have steps that stand in rows with these alone (by how many a choice is
    exceeded). Where any other has, and where the ways to choose are too many, HiGHS searches.
    """
    if not model.stepped:
        return model
    ties = tied(model)
    others = [place for place, v in enumerate(model.variables) if v.step is not None and place not in ties]
    if any(_beside_others(model, place) for place in others):
        return searched(model)
    tie = count()
    parts = [(-math.inf, next(tie), dict[int, Fraction]())]
    best: tuple[float, LinearModel] | None = None
    for _ in range(MOST_PARTS):
        if not parts or (best is not None and parts[0][0] >= best[0] - NOTHING * max(1.0, abs(best[0]))):
            return Infeasible() if best is None else best[1]
        _, _, fixed = heapq.heappop(parts)
        part = part_of(model, fixed, ties)
        if any(variable.lower > variable.upper for variable in part.variables):
            continue
        found = on_face(part.arrays, part.float_costs[0], whole_set(part.arrays))
        if isinstance(found, Infeasible):
            continue
        used = chosen(part, found.values, ties)
        whole = used | _following(part, used, others)
        changes = {place: float(value) - float(found.values[place]) for place, value in whole.items()}
        cost = found.objective + sum(part.float_costs[0][place] * change for place, change in changes.items())
        if not any(_broken(part, whole)) and (best is None or cost < best[0]):
            best = cost, part_of(part, {place: value for place, value in whole.items() if place in ties}, ties) \
                .with_bounds({place: (whole[place], whole[place]) for place in others})
        place = to_split(part, found.values, used, ties)
        if place is not None:
            for value in (ONE, ZERO):
                heapq.heappush(parts, (found.objective, next(tie), {**fixed, place: value}))
    return searched(model)


def _beside_others(model: LinearModel, place: int) -> bool:
    """Whether a variable stands in a row with one that has no step."""
    return any(row.coefficients[place] and any(a and model.variables[j].step is None
                                               for j, a in enumerate(row.coefficients)) for row in model.rows)


def _following(model: LinearModel, used: Mapping[int, Fraction], others: list[int]) -> dict[int, Fraction]:
    """The least whole numbers of the other stepped variables: by how many the choices are exceeded."""
    found: dict[int, Fraction] = {}
    for place in others:
        needed = [over / -row.coefficients[place] for row, over in overfull(model, used) if row.coefficients[place] < 0]
        found[place] = min(model.variables[place].upper, max([model.variables[place].lower, *map(_up, needed)]))
    return found


def _up(value: Fraction) -> Fraction:
    return Fraction(math.ceil(value))


def _broken(model: LinearModel, whole: Mapping[int, Fraction]) -> Iterator[Row]:
    """The rows over stepped variables alone that their values do not keep."""
    values: Vector = tuple(whole.get(place, ZERO) for place in range(len(model.variables)))
    for row in model.rows:
        places = [place for place, a in enumerate(row.coefficients) if a]
        if places and all(place in whole for place in places) and row.over(values) < 0:
            yield row


def closed(model: LinearModel) -> LinearModel:
    """The model with the weights of variables "used" that are fixed at 0 held at nothing."""
    ties = tied(model)
    fixed = {place: ZERO for place in ties if not model.variables[place].upper}
    return part_of(model, fixed, ties) if fixed else model
