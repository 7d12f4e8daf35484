"""Why no weights keep every target with a probability, and what would cure it, each cure tried."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.confidence import Cone, Confidence, cones_of
from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.errors import NotProven
from ratio_solver.exact import Vector, exact
from ratio_solver.foods.nutrients import spoken
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.lp.infeasible import minimal_conflict
from ratio_solver.lp.search import minimum
from ratio_solver.lp.solve import has_point, solve_lp
from ratio_solver.recipe.model import RATIO, Recipe, Target
from ratio_solver.solving.infeasible.conflict import bounded_model, limits_model
from ratio_solver.solving.result import Answer, Diagnosis, Proposal, Repair
from ratio_solver.solving.scale_steps import steps_of, whole_of

MOST_CUTS = 300
DOUBLINGS = 12
"""So many times the change of a target is doubled in search of one that cures."""

TRIES = 12
"""Steps of a target given up one after the other where the steps of the scale do not reach the best value."""

UNIT = {"kcal": Fraction(1), "mg": Fraction(1), "ug": Fraction(1)}
"""What a target is eased in steps of, by its unit; a hundredth for the others."""


@dataclass(frozen=True)
class Ground:
    """What is asked for, and where weights are looked for.

    Attributes
    ----------
    recipe : Recipe
    prefer : str
    confidence : Confidence
    exact : bool
        Weights to any fraction of a gram.
    """

    recipe: Recipe
    prefer: str
    confidence: Confidence
    exact: bool

    def proven(self, limits: Sequence[Limit]) -> bool:
        """Whether exact arithmetic shows that these limits cannot be kept together."""
        return has_point(bounded_model(self.recipe, limits)) is False

    def conflict(self, limits: Sequence[Limit], cones: Sequence[Cone], *, on_steps: bool = False) -> tuple[Limit, ...]:
        """A minimal conflict among the limits, each target as its formula has it."""
        def kept_without(dropped: frozenset[int]) -> bool:
            kept = [limit for place, limit in enumerate(limits) if place not in dropped]
            try:
                return self.feasible(kept, [cone for cone in cones if cone.limit in kept], on_steps=on_steps)
            except NotProven:  # left open, so the limit in question stays named
                return True

        return tuple(limits[place] for place in minimal_conflict(range(len(limits)), kept_without))

    def feasible(self, limits: Sequence[Limit], cones: Sequence[Cone], *, on_steps: bool = False) -> bool:
        """Whether any weights keep these limits and formulas.

        Raises
        ------
        NotProven
            Where the cuts do not come to an end.
        """
        cuts: list[Limit] = []
        for _ in range(MOST_CUTS):
            weights = self._weights([*limits, *cuts], on_steps)
            if weights is None:
                return False
            close = Fraction(0) if on_steps else TOLERANCE / 2 * max(Fraction(1), *weights)
            new = [cone.tangent(weights) for cone in cones if not cone.holds(weights, close)]
            if not new:
                return True
            cuts += new
        raise NotProven("whether the targets can be kept with the confidence asked for stays open")

    def _weights(self, limits: Sequence[Limit], on_steps: bool) -> Vector | None:
        """Some weights that keep these linear limits."""
        model = limits_model(self.recipe, list(limits))
        places = [place for place, item in enumerate(self.recipe.ingredients) if item.adjustable]
        weights = [exact(start) for start in self.recipe.starts]
        if on_steps:
            point = minimum(whole_of(model, steps_of(self.recipe)), model.costs[0])
            values = None if point is None else point.values
        else:
            found = solve_lp(model)
            values = None if found is None else found.values
        if values is None:
            return None
        for place, value in zip(places, values, strict=False):
            weights[place] = max(Fraction(0), value)
        return tuple(weights)


Solve = Callable[..., Answer]


def cured(ground: Ground, diagnosis: Diagnosis, solve: Solve) -> Diagnosis:
    """The diagnosis with the smallest change of each target of the conflict that cures by itself, solved again."""
    repairs = [repair for limit in diagnosis.conflict if limit.kind == "target"
               and (repair := _cure(ground, limit, solve))]
    return replace(diagnosis, repairs=tuple(sorted(repairs, key=lambda repair: repair.relative)))


def _cure(ground: Ground, limit: Limit, solve: Solve) -> Repair | None:
    unit = UNIT.get(limit.unit, Fraction(1, 100))
    way = -1 if limit.sense == MORE else 1
    start = limit.bound / unit
    far = math.floor(start) if limit.sense == MORE else math.ceil(start)

    def value(steps: int) -> Fraction:
        return (far + way * steps) * unit

    def possible(steps: int) -> bool:
        return value(steps) >= 0 and _feasible_with(ground, limit, value(steps))

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
        if isinstance(solve(_at(ground.recipe, limit, value(steps)), ground.prefer, ground.confidence,
                            exact=ground.exact, cures=False), Proposal):
            return Repair(limit, value(steps))
    return None


def _feasible_with(ground: Ground, limit: Limit, bound: Fraction) -> bool:
    changed = replace(ground, recipe=_at(ground.recipe, limit, bound))
    limits = limits_of(changed.recipe)
    try:
        return changed.feasible(limits, cones_of(changed.recipe, limits, ground.confidence))
    except NotProven:
        return False


def _at(recipe: Recipe, limit: Limit, bound: Fraction) -> Recipe:
    """The recipe with one end of a target at another value."""
    def moved(target: Target) -> Target:
        name = RATIO if target.nutrient == RATIO else spoken(target.nutrient)
        if name != limit.name:
            return target
        return replace(target, minimum=float(bound)) if limit.sense == MORE else replace(target, maximum=float(bound))

    return replace(recipe, targets=tuple(map(moved, recipe.targets)))
