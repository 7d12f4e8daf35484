"""One limit changed alone: the least relaxation of it with which a recipe without an answer has one.

A limit is a quotient (`ratio_solver.dish.constraints.Limit`), and the least change of it that does is the best that
this comes to while every other limit is kept: "accept 1.74:1" is the highest ratio within the other limits. Where
targets are kept with a probability, a change is found by trying.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.foods.quantities import UNIT_TABLE, quantity_of
from ratio_solver.lp.fractional import best_quotient
from ratio_solver.recipe.groups import HIGHEST_SHARE
from ratio_solver.recipe.model import RATIO, Part, Proportion, Recipe, Target
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.result import Repair

Ended = TypeVar("Ended", Target, Part, Proportion)

SPARE = Fraction(1, 125)
"""Share of a change by which its rounding may exceed it: with 1 % less of the change there is no answer."""

SOLVER_NOISE = Fraction(1, 10**7)
"""Share of a limit below which two values of it count as the same."""

DECIMALS_TRIED = 12

DOUBLINGS = 12
"""So many times the change of a target is doubled in search of one that does."""

TRIES = 12
"""Steps of a limit given up one after the other where weights on the steps do not reach its best value."""


def first_change(domain: SearchDomain, limits: Sequence[Limit],
                 members: Sequence[tuple[Limit, float]]) -> Repair | None:
    """The most modest change of one limit alone that does.

    Each limit comes with the least share by which a change of it must move it: where one found is less, none is sought.

    A limit of which a search ends without an answer is passed over.
    """
    best, at = None, 0
    for place, (limit, least) in sorted(enumerate(members), key=lambda one: (one[1][1], one[0])):
        if best is not None and least > best.relative:
            break
        change = None
        with suppress(NotProven):
            value = reachable(domain, limits, limit)
            change = None if value is None else least_change(domain, limits, limit, value)
        if change is not None and (best is None or (change.relative, place) < (best.relative, at)):
            best, at = change, place
    return best


def reachable(domain: SearchDomain, limits: Sequence[Limit], limit: Limit) -> Fraction | None:
    """The best that a limit's quantity comes to within all the other limits.

    Returns
    -------
    Fraction or None
        None where the other limits cannot be kept either, or where it has no end.
    """
    if limit.members:
        return _fewest(domain, limits, limit)
    others = [other for other in limits if other is not limit]
    value = _best(domain.anywhere, others, limit)
    if value is not None and limit.kind == "ingredient" and limit.sense != MORE and any(o.members for o in others):
        # On the steps what a choice is allowed stands in its row as "most of it, if used": the tighter, the surer.
        others.append(replace(limit, bound=value + 1000 + value))
    return _best(domain, others, limit, near=value) if domain.on_steps and value is not None else value


def _best(
    domain: SearchDomain, others: Sequence[Limit], limit: Limit, near: Fraction = ZERO
) -> Fraction | None:
    formulation = domain.formulated(others)
    return best_quotient(domain.seeker(formulation), formulation.quotient(limit), most=limit.sense == MORE, near=near)


def _fewest(domain: SearchDomain, limits: Sequence[Limit], limit: Limit) -> Fraction | None:
    """Of a choice: the fewest of its members that a dish within the other limits uses."""
    def possible(count: int) -> bool:
        return domain.feasible(moved(limits, Repair(limit, Fraction(count))))

    everything = len(limit.members)
    if not possible(everything):
        return None
    return Fraction(next(count for count in range(everything + 1) if count == everything or possible(count)))


def moved(limits: Sequence[Limit], *changes: Repair) -> list[Limit]:
    """The limits with the changes made."""
    bounds = {id(change.limit): change.to for change in changes}
    return [replace(limit, bound=bounds[id(limit)]) if id(limit) in bounds else limit for limit in limits]


def modest_first(changes: Iterable[Repair | None]) -> tuple[Repair, ...]:
    """The changes there are, the smallest share of its limit first."""
    return tuple(sorted(filter(None, changes), key=lambda change: change.relative))


def least_change(domain: SearchDomain, limits: Sequence[Limit], limit: Limit, value: Fraction,
                 known: Vector = ()) -> Repair | None:
    """The least change of one limit that does, as a decimal that was tried; first with weights that are known."""
    for bound in decimals_near(limit, value):
        change = Repair(limit, bound)
        tried = moved(limits, change)
        kept = known and all(other.margin(known) >= 0 for other in tried)
        if writable(change) and (kept or domain.feasible(tried)):
            return change
    return None


def decimals_near(limit: Limit, value: Fraction) -> list[Fraction]:
    """Decimals on the looser side of a value, the shortest first, none far beyond it."""
    change = abs(value - limit.bound)
    found: list[Fraction] = []
    for places in range(DECIMALS_TRIED + 1):
        scaled = value * 10**places
        near = Fraction(round(scaled))
        if abs(scaled - near) > SOLVER_NOISE * max(ONE, min(abs(scaled), change * 10**places)):
            near = Fraction(math.floor(scaled) if limit.sense == MORE else math.ceil(scaled))
        bound = near / 10**places
        if abs(bound - value) <= SPARE * change and bound not in found and bound != limit.bound:
            found.append(bound)
    return found


def writable(change: Repair) -> bool:
    """Whether a recipe file may hold the new bound in the place of the limit's; no ratio is 0."""
    return 0 <= change.to <= highest_writable(change.limit) and bool(change.to or change.limit.nutrient != RATIO)


def highest_writable(limit: Limit) -> Fraction:
    """The highest bound that a recipe file may hold in the place of a limit's."""
    if limit.nutrient:
        return exact(quantity_of(limit.nutrient).highest)
    return exact(HIGHEST_SHARE if limit.kind == "proportion" else HEAVIEST)


def tried_change(domain: SearchDomain, limit: Limit, solves: Callable[[Recipe], bool]) -> Repair | None:
    """The smallest change of a target, kept with a probability, with which the recipe solves."""
    unit = UNIT_TABLE[limit.unit].step
    way = -1 if limit.sense == MORE else 1
    start = limit.bound / unit
    nearest = math.floor(start) if limit.sense == MORE else math.ceil(start)

    def value(steps: int) -> Fraction:
        return (nearest + way * steps) * unit

    def possible(steps: int) -> bool:
        return value(steps) >= 0 and _feasible_at(domain, limit, value(steps))

    most = next((2**times for times in range(DOUBLINGS + 1) if possible(2**times)), None)
    if most is None:
        return None
    least = most // 2
    while most - least > 1:
        middle = (least + most) // 2
        least, most = (least, middle) if possible(middle) else (middle, most)
    for steps in range(most, most + TRIES):
        if value(steps) < 0:
            break
        if solves(relaxed(domain.recipe, limit, value(steps))):
            return Repair(limit, value(steps))
    return None


def _feasible_at(domain: SearchDomain, limit: Limit, bound: Fraction) -> bool:
    changed = replace(domain.anywhere, recipe=relaxed(domain.recipe, limit, bound))
    try:
        return changed.feasible(limits_of(changed.recipe))
    except NotProven:
        return False


def relaxed(recipe: Recipe, limit: Limit, value: Fraction | None) -> Recipe:
    """The recipe with one end of a target, of a part's weight or of a proportion at another value, or without it."""
    place, end = limit.subject.place, None if value is None else float(value)

    def at(items: Sequence[Ended], kind: str) -> tuple[Ended, ...]:
        return tuple(_ended(item, limit, end) if limit.kind == kind and other == place else item
                     for other, item in enumerate(items))

    return replace(recipe, parts=at(recipe.parts, "part"), proportions=at(recipe.proportions, "proportion"),
                   targets=tuple(_ended(target, limit, end) if target.nutrient == limit.nutrient else target
                                 for target in recipe.targets))


def _ended(item: Ended, limit: Limit, value: float | None) -> Ended:
    return replace(item, minimum=value) if limit.sense == MORE else replace(item, maximum=value)
