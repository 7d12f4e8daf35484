"""The weights that keep other limits than a recipe's own: those of a day, whose weights are of several dishes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.constraints import Limit
from ratio_solver.exact import Vector, dot
from ratio_solver.lp.clock import limited
from ratio_solver.lp.infeasible import LARGE
from ratio_solver.lp.search import minimum
from ratio_solver.lp.whole import COST_ROUNDING
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.question import Asked
from ratio_solver.solving.result import Diagnosis, Proposal
from ratio_solver.solving.scale_steps import whole_model
from ratio_solver.solving.solve import best_weights, diagnosed, relaxed_diagnosis


def weights_within(recipe: Recipe, limits: Sequence[Limit], *, exact: bool = False,
                   whole: frozenset[int] = frozenset(), time_limit: float | None = None,
                   reasons: bool = True) -> Proposal | Diagnosis:
    """The weights closest to the starts that keep these limits in place of the recipe's own, or why there are none.

    Parameters
    ----------
    recipe : Recipe
        Whose ingredients the limits are about, each with a row of its own for its bounds.
    limits : sequence of Limit
    exact : bool
        Weights to any fraction of a gram; else each is a multiple of its step.
    whole : frozenset of int
        Places of weights that are whole numbers either way.
    time_limit : float, optional
        As in `solve`.
    reasons : bool
        Whether a diagnosis says why: not for whoever only tries.

    Returns
    -------
    Proposal or Diagnosis
        A proposal without ranges; what follows from the recipe alone (its facts) means nothing there.

    Raises
    ------
    NotProven
        Where the solver's answer does not pass the exact check.
    """
    domain = SearchDomain(recipe, whole=whole if exact else frozenset())
    asked = Asked(domain, "closest", None, tuple(limits), alone=False)
    with limited(time_limit):
        found = best_weights(asked, exact)
        if isinstance(found, Proposal):
            return found
        if not reasons:
            return Diagnosis((), undecided=found.undecided, between=found.between)
        diagnosis = diagnosed(asked, found)
        if exact or found.steps or len(limits) < LARGE:
            return relaxed_diagnosis(asked, found, diagnosis, None, exact)
        # Changes of very many limits are looked for between the steps; what is counted stays whole.
        between = replace(asked, domain=replace(asked.domain, whole=whole))
        return relaxed_diagnosis(between, found, diagnosis, None, exact=True)


@dataclass(frozen=True)
class PricedWeights:
    """Weights on the steps with the least grams moved and a price for each g together.

    Attributes
    ----------
    grams : tuple of Fraction, one per ingredient
    moved : Fraction
        g, without the prices.
    bound : Fraction
        No weights on the steps have less of both together.
    proven : bool
        Whether these weights have the least: False where the search was cut short.
    """

    grams: Vector
    moved: Fraction
    bound: Fraction
    proven: bool


def weights_with_prices(recipe: Recipe, limits: Sequence[Limit], prices: Vector, time_limit: float | None = None
                        ) -> PricedWeights | None:
    """The weights on the steps with the least grams moved and a price for each g together; None where there are none.

    Parameters
    ----------
    recipe, limits, time_limit
        As in `weights_within`.
    prices : tuple of Fraction, one per ingredient

    Raises
    ------
    NotProven
        Where none are found in the time.
    """
    formulation = Asked(SearchDomain(recipe), "closest", None, tuple(limits), alone=False).formulation
    whole, priced = whole_model(formulation), [prices[place] for place in formulation.adjustable]
    moved = whole.model.costs[0]
    cost = (*(a + price for a, price in zip(moved, priced, strict=False)), *moved[len(priced):])
    with limited(time_limit):
        found = minimum(whole, cost)
    if found is None:
        return None
    grams = formulation.weights(found.values)
    known = sum((prices[place] * grams[place] for place in range(len(grams)) if place not in formulation.adjustable),
                formulation.constant)
    bound = Fraction(found.bound - COST_ROUNDING * max(1.0, abs(found.bound)))
    return PricedWeights(grams, formulation.constant + dot(moved, found.values), known + bound, found.complete)
