"""Where weights are looked for: anywhere, or on the steps of the scale alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ratio_solver.dish.constraints import Limit
from ratio_solver.exact import Vector
from ratio_solver.lp.fractional import Seeker
from ratio_solver.lp.model import LinearModel
from ratio_solver.lp.search import WholeModel, minimum
from ratio_solver.lp.solve import seeker
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.infeasible.conflict import feasible, limits_model, roomy
from ratio_solver.solving.scale_steps import feasible_on_steps, steps_of, whole_of


@dataclass(frozen=True)
class Ground:
    """The weights of a recipe among which a cure is looked for.

    Attributes
    ----------
    recipe : Recipe
    on_steps : bool
        Only those that are multiples of the steps; limits then are kept exactly.
    """

    recipe: Recipe
    on_steps: bool = False

    @property
    def anywhere(self) -> Ground:
        """The same without the steps."""
        return replace(self, on_steps=False)

    def feasible(self, limits: Sequence[Limit]) -> bool:
        """Whether any of the weights keep these limits."""
        return (feasible_on_steps if self.on_steps else feasible)(self.recipe, list(limits))

    def model(self, limits: Sequence[Limit], loose: frozenset[int] = frozenset()) -> LinearModel:
        """The limits as a model, its first variables the adjustable weights; those at the `loose` places may move."""
        return self._whole(limits, loose).model if self.on_steps else limits_model(self.recipe, limits, loose=loose)

    def _whole(self, limits: Sequence[Limit], loose: frozenset[int] = frozenset()) -> WholeModel:
        return whole_of(limits_model(self.recipe, limits, roomy(self.recipe), loose), steps_of(self.recipe))

    def seeker(self, limits: Sequence[Limit]) -> Seeker:
        """What finds the weights (values of `model`) with the least of a cost, or None."""
        if not self.on_steps:
            return seeker(limits_model(self.recipe, limits))
        whole = self._whole(limits)

        def seek(cost: Vector) -> Vector | None:
            point = minimum(whole, cost)
            return None if point is None else point.values

        return seek
