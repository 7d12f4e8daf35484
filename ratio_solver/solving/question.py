"""What is asked of a recipe, and how far its answer has come: weights between the steps, or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from ratio_solver.dish.confidence import touching
from ratio_solver.dish.constraints import Limit
from ratio_solver.exact import ZERO, Vector
from ratio_solver.exact import exact as exactly
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.lp.certificate import Certificate
from ratio_solver.lp.solve import Solution
from ratio_solver.solving.formulation import OBJECTIVE_UNITS, Formulation, formulate
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.result import Objective


@dataclass(frozen=True)
class Asked:
    """What weights are asked for; `limits` are those of the recipe, on the figures as the table has them.

    `alone` is a recipe by itself: its weights have ranges, and an empty dish is an answer that is told. Without
    `ranges` only prices go with the weights, those of the limits other than the ingredients' own bounds.
    """

    domain: SearchDomain
    prefer: str
    guaranteed: Guaranteed
    limits: tuple[Limit, ...]
    alone: bool = True
    ranges: bool = True

    @cached_property
    def formulation(self) -> Formulation:
        """The programme of the limits."""
        return self.formulated(())

    def formulated(self, cuts: Sequence[Limit]) -> Formulation:
        """The programme of the limits and cuts."""
        found = formulate(self.domain.recipe, self.prefer, limits=[*self.limits, *cuts])
        if self.alone:
            return found
        counted = self.domain.counted(found)
        return replace(counted, model=replace(counted.model, rows=(*counted.model.rows, *found.not_empty())))

    def missed(self, weights: Vector, tolerance: Fraction = ZERO) -> list[Limit]:
        """The tangents of the formulas that these weights miss; an empty dish, whose ratio has none, misses none."""
        if not self.domain.cones or self.hollow(weights):
            return []
        return [cone.tangent(weights) for cone in self.domain.cones if not cone.holds(weights, tolerance)]

    def hollow(self, weights: Vector) -> bool:
        """Whether a ratio is asked for, and the dish is made of nothing that has one."""
        return any(limit.hollow(weights) for limit in self.limits)

    def there(self, weights: Vector) -> tuple[Limit, ...]:
        """The limits, each target with a formula as that has it at these weights."""
        return touching(self.limits, self.domain.cones, weights)


@dataclass(frozen=True)
class BetweenSteps:
    """The best weights between the steps, and the programme of limits and cuts that has them."""

    formulation: Formulation
    solution: Solution
    adjusted: Vector

    @cached_property
    def weights(self) -> Vector:
        return self.formulation.weights(self.adjusted)


@dataclass(frozen=True)
class Nowhere:
    """No weights: the cuts that cannot be kept with the limits, and whether the steps or an empty dish are the end.

    Or none that were found on the steps in the time; then, and where the steps are the end, those between them.
    """

    cuts: tuple[Limit, ...] = ()
    steps: bool = False
    empty: bool = False
    undecided: bool = False
    between: Vector = ()


def objective_of(formulation: Formulation, certificate: Certificate, found: Solution) -> Objective:
    """The objective with a bound for every choice there is, not only for the one that was made."""
    bound, proof = found.bound if formulation.model.stepped else certificate.bound, "exact"
    if found.searched is not None and not replace(certificate, bound=bound).holds():
        bound, proof = max(bound, min(exactly(found.searched), certificate.objective)), "search"
    return Objective(certificate.objective + formulation.constant, OBJECTIVE_UNITS[formulation.prefer],
                     bound + formulation.constant, certificate.holds(), proof)
