"""Why no weights keep the limits, in the cook's own terms, and what the cook can do about it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import partial
from typing import TypeVar

from ratio_solver.dish.constraints import LESS, MORE, Limit
from ratio_solver.errors import NotProven
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.clock import in_time, out_of_time, share
from ratio_solver.lp.infeasible import LARGE, minimal_conflict
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.solving.infeasible.added_fat import added_fats
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.infeasible.joint_change import joint_change
from ratio_solver.solving.infeasible.one_change import least_change, modest_first, reachable, tried_change
from ratio_solver.solving.result import Diagnosis, Repair, Stepped
from ratio_solver.solving.scale_steps import DEFAULT_STEP, step_of

REACH_DECIMALS = 6

TRIES_OF_CONFLICT = 3
"""One try of a conflict may take one of so many parts of the time that is left for it."""

PARTS_AFTER = 1
"""Parts of the time, besides one for each limit, that are left for fats and joint changes."""

OTHER_FOODS, JOINT_CHANGE = "foods to add", "a change of several limits together"
"""What is left out where time is up, in words."""

Made = TypeVar("Made")
Named = TypeVar("Named")


def diagnose(domain: SearchDomain, limits: Sequence[Limit]) -> Diagnosis:
    """A minimal conflict among the limits of a recipe that has no answer.

    The ingredients' own bounds are given up first, the targets last, so that the conflict that is named is about the
    fewest things the cook can change only by cooking another dish. What a search leaves open stays named, and the
    conflict is then not said to be minimal.
    """
    left_open: list[frozenset[int]] = []

    suspects = domain.suspects(limits)

    def proof_without(dropped: frozenset[int]) -> list[int] | None:
        left = [place for place in suspects if place not in dropped]
        try:
            _in_time_if_many(limits)
            with share(TRIES_OF_CONFLICT):
                proof = domain.conflict_in([limits[place] for place in left])
        except NotProven:
            left_open.append(dropped)
            return None
        return None if proof is None else [left[place] for place in sorted(proof)]

    with share(2):
        conflict = tuple(limits[place] for place in minimal_conflict(suspects, proof_without))
    return Diagnosis(conflict, steps=domain.on_steps, minimal=not left_open,
                     stepped=_stepped_in(domain.recipe, conflict) if domain.on_steps else ())


def diagnose_empty(domain: SearchDomain, limits: Sequence[Limit]) -> Diagnosis:
    """What is said of a recipe whose best weights are those of an empty dish, which has no ratio.

    Either no other dish keeps the limits, and these are in conflict, or others do and none of them is the best: the
    less there is of them, the better they are, without end.
    """
    return replace(Diagnosis(()) if domain.feasible(limits) else diagnose(domain, limits), empty=True)


def _stepped_in(recipe: Recipe, conflict: Sequence[Limit]) -> tuple[Stepped, ...]:
    """The ingredients in a conflict that come in pieces, or in other steps than 1 g."""
    rows = [limit.row()[0] for limit in conflict]
    return tuple(
        Stepped(item.label, step_of(item), bool(item.piece)) for place, item in enumerate(recipe.ingredients)
        if item.adjustable and (item.piece or step_of(item) != DEFAULT_STEP) and any(row[place] for row in rows)
    )


def with_relaxations(domain: SearchDomain, limits: Sequence[Limit], diagnosis: Diagnosis,
                     foods: FoodTable | None = None, guaranteed: Guaranteed = None) -> Diagnosis:
    """The diagnosis of a recipe without an answer, with every relaxation with which it has one.

    Parameters
    ----------
    domain : SearchDomain
        Where a relaxation is to give weights.
    limits : sequence of Limit
        Of the recipe; those of the conflict are among them.
    diagnosis : Diagnosis
        With the conflict.
    foods : FoodTable, optional
        Where to look for a fat that does when it is added.
    guaranteed : {"mean", "food"}, optional
    """
    if diagnosis.empty:  # a relaxation would have the same end: it takes a least weight of the batch
        asked = [(limit, reachable(domain.anywhere, limits, limit)) for limit in limits if limit.least_ratio]
        return replace(diagnosis, best_ratio=_best_reached(asked, RATIO, MORE),
                       proven=domain.anywhere.proven_infeasible(limits))
    left_out, left_out_also = list[Limit](), list(diagnosis.left_out_also)
    found: dict[int, tuple[Fraction | None, Repair | None]] = {}
    waiting = list(enumerate(diagnosis.conflict))
    for _ in range(2):  # once more, with the time that the others did not take
        left_out.clear()
        for rest, (place, limit) in zip(range(len(waiting), 0, -1), waiting, strict=True):
            changed = _in_time(limits, rest + PARTS_AFTER, partial(_changed, domain, limits, limit, diagnosis), limit,
                               left_out)
            if changed is not None:
                found[place] = changed
        waiting = [one for one in waiting if one[0] not in found]
        if not waiting or out_of_time():
            break
    reached = [(limit, found[place][0]) for place, limit in enumerate(diagnosis.conflict) if place in found]
    repairs = modest_first(found[place][1] for place in sorted(found))
    # Of a band that is narrower than the steps it is the band that has to give way.
    fats = None if foods is None or diagnosis.nearest is not None else _in_time(
        limits, 2, partial(added_fats, domain, limits, foods.with_role("fat"), guaranteed), OTHER_FOODS, left_out_also)
    joint = () if repairs else _in_time(
        limits, 1.25, partial(joint_change, domain, limits, diagnosis.conflict), JOINT_CHANGE, left_out_also)
    return replace(
        diagnosis,
        repairs=repairs,
        fats=fats,
        joint_repair=joint or (),
        best_ratio=_best_reached(reached, RATIO, MORE),
        least_net_carbs=_best_reached(reached, NET_CARBS, LESS),
        proven=domain.proven_infeasible(limits),
        left_out=tuple(left_out),
        left_out_also=tuple(left_out_also),
    )


def _changed(domain: SearchDomain, limits: Sequence[Limit], limit: Limit,
             diagnosis: Diagnosis) -> tuple[Fraction | None, Repair | None]:
    """The best that a limit's quantity comes to, where that is known, and the least change of it that does."""
    near, known, surely = diagnosis.nearest, None, True
    if near is not None:
        known = near.below if limit is near.least else near.above if limit is near.most else None
        # Of a narrow band the best of all lies between what was found and the bound.
        surely = known is None or near.proven or abs(known.value - limit.bound) <= Fraction(1, 10**REACH_DECIMALS)
    value = reachable(domain, limits, limit) if known is None else known.value
    if value is None:
        return None, None
    change = least_change(domain, limits, limit, value, () if known is None else known.weights)
    return value if surely else None, change


def _in_time_if_many(limits: Sequence[Limit]) -> None:
    """Of very many limits each try is long, and none begins where the time is up; of few all end soon."""
    if len(limits) >= LARGE:
        in_time()


def _in_time(limits: Sequence[Limit], parts: float, make: Callable[[], Made], what: Named,
             left_out: list[Named]) -> Made | None:
    """What is made in one of so many parts of the time; nothing, which is noted, where it is not found in that."""
    try:
        _in_time_if_many(limits)
        with share(parts):
            return make()
    except NotProven:
        left_out.append(what)
        return None


def with_tried_relaxations(domain: SearchDomain, diagnosis: Diagnosis, solves: Callable[[Recipe], bool]) -> Diagnosis:
    """The same where targets are kept with a probability: the smallest change of each of the conflict, solved again."""
    return replace(diagnosis, repairs=modest_first(
        tried_change(domain, limit, solves) for limit in diagnosis.conflict if limit.kind == "target"))


def _best_reached(reached: Sequence[tuple[Limit, Fraction | None]], nutrient: str, sense: str) -> Fraction | None:
    """The best of a target's quantity within the other limits, rounded to the side that is really reached.

    Of a target outside the conflict nothing is: the conflict stays whatever becomes of it.
    """
    value = next((found for limit, found in reached if limit.nutrient == nutrient and limit.sense == sense), None)
    if value is None:
        return None
    scaled: Fraction = value * 10**REACH_DECIMALS
    return Fraction(math.floor(scaled) if sense == MORE else math.ceil(scaled), 10**REACH_DECIMALS)
