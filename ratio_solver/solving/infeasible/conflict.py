"""Why no weights keep the limits, in the cook's own terms, and what the cook can do about it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.constraints import LESS, MORE, Limit
from ratio_solver.errors import NotProven
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.infeasible import minimal_conflict
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.solving.infeasible.added_fat import added_fats
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.infeasible.joint_change import joint_change
from ratio_solver.solving.infeasible.one_change import modest_first, reachable, single_changes, tried_change
from ratio_solver.solving.result import Diagnosis, Stepped
from ratio_solver.solving.scale_steps import DEFAULT_STEP, step_of

REACH_DECIMALS = 6


def diagnose(domain: SearchDomain, limits: Sequence[Limit]) -> Diagnosis:
    """A minimal conflict among the limits of a recipe that has no answer.

    The ingredients' own bounds are given up first, the targets last, so that the conflict that is named is about the
    fewest things the cook can change only by cooking another dish. What a search leaves open stays named, and the
    conflict is then not said to be minimal.
    """
    left_open: list[frozenset[int]] = []

    suspects = domain.suspects(limits)

    def kept(dropped: frozenset[int]) -> bool:
        try:
            return domain.feasible([limits[place] for place in suspects if place not in dropped])
        except NotProven:
            left_open.append(dropped)
            return True

    conflict = tuple(limits[place] for place in minimal_conflict(suspects, kept))
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
    reached = [(limit, reachable(domain, limits, limit)) for limit in diagnosis.conflict]
    single = single_changes(domain, limits, reached)
    return replace(
        diagnosis,
        repairs=single,
        fats=None if foods is None else added_fats(domain, limits, foods.with_role("fat"), guaranteed),
        joint_repair=() if single else joint_change(domain, limits, diagnosis.conflict),
        best_ratio=_best_reached(reached, RATIO, MORE),
        least_net_carbs=_best_reached(reached, NET_CARBS, LESS),
        proven=domain.proven_infeasible(limits),
    )


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
