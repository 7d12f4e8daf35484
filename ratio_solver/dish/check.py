"""Check a recipe as it is written: its facts against its own targets, without solving anything."""

from __future__ import annotations

from dataclasses import dataclass

from ratio_solver.dish import notices
from ratio_solver.dish.confidence import Confidence, cones_of, confidence_notes, confidence_of, touching
from ratio_solver.dish.constraints import limits_of
from ratio_solver.dish.nutrition import Facts, facts_of
from ratio_solver.dish.status import LimitState, Weight, state_of, weighed
from ratio_solver.exact import exact
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import Recipe


@dataclass(frozen=True, repr=False)
class Check(Outcome):
    """A recipe as written; its `outcome` is "kept" or "broken".

    Attributes
    ----------
    recipe : Recipe
    weights : tuple of Weight
        Every weight is its start.
    limits : tuple of LimitState
    facts : Facts
        Per serving.
    allergens, warnings, cautions : tuple of str
    """

    recipe: Recipe
    weights: tuple[Weight, ...]
    limits: tuple[LimitState, ...]
    facts: Facts
    allergens: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    guaranteed: Guaranteed = None
    confidence: Confidence | None = None

    reported_in = "tools.check.report"

    @property
    def outcome(self) -> str:
        """Whether the weights as written keep every limit, in a word."""
        return "kept" if self.kept else "broken"

    @property
    def kept(self) -> bool:
        """Whether the weights as written keep every limit, exactly."""
        return not self.broken

    @property
    def broken(self) -> tuple[LimitState, ...]:
        """Limits that the weights as written do not keep."""
        weights = tuple(weight.grams for weight in self.weights)
        return tuple(state for state in self.limits if state.limit.margin(weights) < 0)


def check(recipe: Recipe, *, guaranteed: Guaranteed = None, confidence: float | Confidence | None = None) -> Check:
    """Facts of the recipe as written and how far each limit is from binding or broken.

    Parameters
    ----------
    recipe : Recipe
    guaranteed : {"mean", "food"}, optional
        Judge the targets by the safe-side ends of the table's intervals.
    confidence : float or Confidence, optional
        Judge whether each is kept with this probability, as in `solve`.

    Raises
    ------
    BadInput
        Where a maximum is set on a nutrient that is unknown for an ingredient.
    """
    kind, probable = kind_of(guaranteed), confidence_of(confidence, guaranteed)
    weights = tuple(exact(start) for start in recipe.starts)
    facts, limits = facts_of(recipe, weights), limits_of(recipe, kind)
    if probable is not None:
        limits = touching(limits, cones_of(recipe, limits, probable), weights)
    return Check(
        recipe=recipe,
        weights=weighed(recipe, weights),
        limits=tuple(state_of(limit, weights) for limit in limits),
        facts=facts,
        allergens=notices.allergens(recipe, weights),
        warnings=(*notices.warnings(recipe, weights, guaranteed=kind), *confidence_notes(recipe, weights, probable)),
        cautions=notices.cautions(recipe, facts),
        guaranteed=kind,
        confidence=probable,
    )
