"""A recipe at given weights and all that is said of it; the check of a recipe as it is written solves nothing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import cautions_for
from ratio_solver.dish.confidence import Confidence, cones_of, confidence_notes, confidence_of, touching
from ratio_solver.dish.constraints import limits_of
from ratio_solver.dish.nutrition import Facts, facts_of
from ratio_solver.dish.status import LimitState, Weight, state_of, weighed
from ratio_solver.exact import Vector, exact
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import Recipe


class DishAtWeights(Outcome):
    """What follows from a recipe and its weights, computed when it is first asked for.

    Attributes
    ----------
    facts : Facts
        Per serving.
    allergens, allergens_unknown, warnings, cautions : tuple of str
    """

    recipe: Recipe
    weights: tuple[Weight, ...]
    limits: tuple[LimitState, ...]
    guaranteed: Guaranteed
    confidence: Confidence | None

    @cached_property
    def grams_of_each(self) -> Vector:
        """The weights alone, g for the batch."""
        return tuple(weight.grams for weight in self.weights)

    @property
    def weights_g(self) -> dict[str, float]:
        """g for the batch by label, for use; `weights` has each exactly."""
        return {weight.ingredient: float(weight.grams) for weight in self.weights}

    @property
    def per_serving(self) -> dict[str, float | None]:
        """The ratio and every figure of one serving, for use; `facts` has each exactly."""
        return self.facts.as_floats

    @cached_property
    def facts(self) -> Facts:
        """Nutrition of one serving."""
        return facts_of(self.recipe, self.grams_of_each)

    @cached_property
    def allergens(self) -> tuple[str, ...]:
        """Allergens of what is used, in the order of the alphabet."""
        return notices.allergens(self.recipe, self.grams_of_each)

    @cached_property
    def allergens_unknown(self) -> tuple[str, ...]:
        """Labels of the used ingredients of whose allergens the table does not tell all."""
        return notices.allergens_unknown(self.recipe, self.grams_of_each)

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """What the reader must know of the figures and whoever eats the dish of what is in it."""
        return (*notices.warnings(self.recipe, self.grams_of_each, guaranteed=self.guaranteed),
                *confidence_notes(self.recipe, self.grams_of_each, self.confidence))

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratio that is stated."""
        return cautions_for(self.recipe, self.facts)


@dataclass(frozen=True, repr=False)
class Check(DishAtWeights):
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

    @cached_property
    def broken(self) -> tuple[LimitState, ...]:
        """Limits that the weights as written do not keep."""
        return tuple(state for state in self.limits if state.limit.margin(self.grams_of_each) < 0)


def check(recipe: Recipe, *, guaranteed: Guaranteed = None, confidence: float | Confidence | None = None) -> Check:
    """Facts of the recipe as written and how far each limit is from binding or broken.

    Parameters
    ----------
    recipe : Recipe
    guaranteed : {"mean", "food"}, optional
        Judge the targets by the safe-side ends of the table's intervals.
    confidence : float or Confidence, optional
        Judge whether each is kept with this probability, as in `solve`.

    Returns
    -------
    Check

    Raises
    ------
    BadInput
        Where a maximum is set on a nutrient that is unknown for an ingredient.

    Examples
    --------
    >>> from ratio_solver import check, load_foods, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> found = check(gratin)
    >>> found.outcome, f"{found.per_serving['net_carbs_g']:.1f} g net carbs"
    ('broken', '30.3 g net carbs')
    """
    kind, probable = kind_of(guaranteed), confidence_of(confidence, guaranteed)
    weights = tuple(exact(start) for start in recipe.starts)
    limits = limits_of(recipe, kind)
    if probable is not None:
        limits = touching(limits, cones_of(recipe, limits, probable), weights)
    return Check(recipe, weighed(recipe, weights), tuple(state_of(limit, weights) for limit in limits), kind, probable)
