"""Where weights are looked for: anywhere, or on the steps of the scale alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

from ratio_solver.dish.confidence import Cone, Confidence, cones_of
from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.lp.fractional import Seeker
from ratio_solver.lp.infeasible import LARGE, impossible_rows
from ratio_solver.lp.points import least_point, proven_empty, some_point
from ratio_solver.lp.solve import feasibility, has_point, seeker, solve_lp
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.formulation import HEAVY, NO_PREFERENCE, Formulation, formulate
from ratio_solver.solving.scale_steps import whole_model

PARTS_OF_PROOF = 64
"""Parts into which a proof that there are no weights is split at most; on the steps more would take too long."""

MOST_TANGENTS = 300


@dataclass(frozen=True)
class SearchDomain:
    """The weights of a recipe among which some that keep limits are looked for.

    Attributes
    ----------
    recipe : Recipe
    on_steps : bool
        Only those that are multiples of the steps; limits then are kept exactly.
    confidence : Confidence or None
        The probability with which each target is to be kept.
    whole : frozenset of int
        Places of weights that are whole numbers of something, on the steps or not.
    """

    recipe: Recipe
    on_steps: bool = False
    confidence: Confidence | None = None
    whole: frozenset[int] = frozenset()

    @cached_property
    def cones(self) -> tuple[Cone, ...]:
        """The formulas of the recipe's targets that are to be kept with a probability."""
        return () if self.confidence is None else cones_of(self.recipe, limits_of(self.recipe, None), self.confidence)

    @property
    def anywhere(self) -> SearchDomain:
        """The same without the steps."""
        return replace(self, on_steps=False)

    def formulated(self, limits: Sequence[Limit], loose: frozenset[int] = frozenset()) -> Formulation:
        """The limits alone, each with a row, those of the bounds of ingredients too; rows in the order of the limits.

        On the steps, where a solver searches in doubles, a chosen ingredient weighs at most far more than the batch.
        Those at the `loose` places may move.
        """
        batch = sum(max(i.start, i.maximum or 0.0) for i in self.recipe.ingredients)
        most = exact(min(HEAVIEST, 100 * batch + 1000)) if self.on_steps else HEAVY
        return self.counted(formulate(self.recipe, NO_PREFERENCE, limits=limits, bounded=False, most=most, loose=loose))

    def counted(self, formulation: Formulation) -> Formulation:
        """A formulation in which what is a whole number of something is one."""
        if not self.whole:
            return formulation
        variables = list(formulation.model.variables)
        for variable, place in enumerate(formulation.adjustable):
            if place in self.whole:
                variables[variable] = replace(variables[variable], step=ONE)
        return replace(formulation, model=replace(formulation.model, variables=tuple(variables)))

    def seeker(self, formulation: Formulation) -> Seeker:
        """What finds the values of a model with the least of a cost, or None."""
        if not self.on_steps:
            return seeker(formulation.model)
        return partial(least_point, whole_model(formulation))

    def feasible(self, limits: Sequence[Limit]) -> bool:
        """Whether any weights keep these limits; fixed ingredients stay, no weight is negative.

        That there are none between the steps is proven in rationals, but for a choice of too many from too many, where
        HiGHS says so.

        Raises
        ------
        NotProven
            Where a search ends at its limit, or the tangents of the formulas do not come to an end.
        """
        return self.conflict_in(limits) is None

    def conflict_in(self, limits: Sequence[Limit]) -> frozenset[int] | None:
        """Places of limits that no weights keep together, as few as a proof that there are none needs; else None.

        Raises
        ------
        NotProven
            As of `feasible`.
        """
        # A target that is dropped takes its formula along.
        cones = [cone for cone in self.cones if cone.limit in limits]
        if cones or self.on_steps:
            kept = self._feasible_with(limits, cones) if cones else self._weights(self.formulated(limits)) is not None
        else:
            formulation = self.formulated(limits)
            found = feasibility(formulation.model)
            if found.complete and found.basis is None:
                return formulation.limits_behind(frozenset(
                    mark.place for mark in found.proof if mark.kind == "row")) or frozenset(range(len(limits)))
            kept = found.basis is not None or solve_lp(formulation.model) is not None
        return None if kept else frozenset(range(len(limits)))

    def suspects(self, limits: Sequence[Limit]) -> list[int]:
        """Places of limits that no weights keep together: all that can be missed, or of very many those of a proof."""
        everything = [place for place, limit in enumerate(limits) if not _always_kept(limit)]
        if self.on_steps or self.confidence is not None or len(limits) < LARGE:
            return everything
        formulation = self.formulated(limits)
        rows = impossible_rows(formulation.model)
        return everything if rows is None else sorted(formulation.limits_behind(rows)) or everything

    def proven_infeasible(self, limits: Sequence[Limit]) -> bool:
        """Whether exact arithmetic shows that no weights, on the steps where they are to be, keep the limits."""
        formulation = self.counted(formulate(self.recipe, NO_PREFERENCE, limits=limits))
        if has_point(formulation.model, PARTS_OF_PROOF) is False:
            return True
        return self.on_steps and (proven_empty(whole := whole_model(formulation))
                                  or has_point(whole.model, PARTS_OF_PROOF) is False)

    def _feasible_with(self, limits: Sequence[Limit], cones: Sequence[Cone]) -> bool:
        cuts: list[Limit] = []
        for _ in range(MOST_TANGENTS):
            weights = self._weights(self.formulated([*limits, *cuts]))
            if weights is None:
                return False
            near = ZERO if self.on_steps else TOLERANCE / 2 * max(ONE, *weights)
            missed = [cone.tangent(weights) for cone in cones if not cone.holds(weights, near)]
            if not missed:
                return True
            cuts += missed
        raise NotProven("whether the targets can be kept with the confidence asked for stays open")

    def _weights(self, formulation: Formulation) -> Vector | None:
        """Some weights that keep these linear limits, g for the batch."""
        if self.on_steps:
            point = some_point(whole_model(formulation))
            return None if point is None else formulation.weights(point)
        found = solve_lp(formulation.model)
        return None if found is None else formulation.weights(found.values)


def _always_kept(limit: Limit) -> bool:
    """Whether no weights miss a limit, as none is negative: a least of nothing."""
    coefficients, bound = limit.row()
    return limit.sense == MORE and bound <= 0 and min(coefficients) >= 0
