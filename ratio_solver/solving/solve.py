"""From a recipe to its answer: solve, check exactly, and read the figures back in the cook's words."""

from __future__ import annotations

from dataclasses import replace

from ratio_solver.dish import notices
from ratio_solver.dish.confidence import Confidence, confidence_of
from ratio_solver.dish.nutrition import facts_of
from ratio_solver.dish.status import states_of, weighed
from ratio_solver.errors import NotProven
from ratio_solver.exact import exact as exactly
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.certificate import TOLERANCE, certify
from ratio_solver.lp.solve import Solution, solve_lp
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.confident import solve_confident
from ratio_solver.solving.formulation import Formulation, formulate
from ratio_solver.solving.infeasible.conflict import diagnose, diagnose_empty
from ratio_solver.solving.infeasible.relaxations import with_cures
from ratio_solver.solving.result import Answer, Diagnosis, Impossible, Proposal
from ratio_solver.solving.scale_steps import diagnose_steps, objective_of, on_steps
from ratio_solver.solving.sensitivity import with_ranges

DIGITS = 9
"""Decimals of a gram to which a continuous weight is given."""


def solve(
    recipe: Recipe, prefer: str = "closest", *, guaranteed: Guaranteed = None, exact: bool = False,
    foods: FoodTable | None = None, confidence: float | Confidence | None = None,
) -> Answer:
    """The weights that keep every limit of a recipe and are best by a preference, or why there are none.

    Parameters
    ----------
    recipe : Recipe
    prefer : {"closest", "even", "cheapest", "lightest", "lowest-carb"}
        What to minimise: grams moved, the largest relative move, the price, the energy, the net carbs.
        Ties go to fewer grams moved, then to moving what is listed first.
    guaranteed : {"mean", "food"}, optional
        Keep the targets for every composition within the table's intervals.
    exact : bool
        Weights to any fraction of a gram; else each is a multiple of its step or piece (1 g unless said).
    foods : FoodTable, optional
        Where to look for a fat that would cure a recipe without an answer.
    confidence : float or Confidence, optional
        Keep each target with this probability (above 0.5, below 1) for independent errors of the table's figures,
        within the intervals of its means unless a `Confidence` says otherwise. Not with `guaranteed`.

    Returns
    -------
    Proposal or Impossible

    Raises
    ------
    BadInput
        Where a figure that is needed is unknown.
    NotProven
        Where the solver's answer does not pass the exact check.
    """
    probable = confidence_of(confidence, guaranteed)
    if probable is not None:
        return solve_confident(recipe, prefer, probable, exact=exact)
    formulation = formulate(recipe, prefer, guaranteed=guaranteed)
    answer = _answer(formulation, exact)
    if isinstance(answer, Proposal):
        return answer
    table = None if foods is None else foods.with_tables(recipe.tables)
    return replace(answer, diagnosis=_cured(formulation, answer.diagnosis, table, on_steps=not exact))


def attempt(recipe: Recipe, prefer: str = "closest", *, guaranteed: Guaranteed = None, exact: bool = False) -> Answer:
    """The same, without what would cure a recipe that has no answer: for whoever only tries whether there is one."""
    return _answer(formulate(recipe, prefer, guaranteed=guaranteed), exact)


def _answer(formulation: Formulation, exact: bool) -> Answer:
    """The weights, or the conflict that makes the recipe impossible."""
    recipe, limits = formulation.recipe, formulation.limits
    solved = solve_lp(formulation.model)
    if solved is None:
        return impossible(formulation, diagnose(recipe, limits))
    continuous = proposal(formulation, solved)
    if is_empty(continuous):
        return impossible(formulation, diagnose_empty(recipe, limits))
    if exact:
        return continuous
    whole = on_steps(formulation, continuous)
    return whole or impossible(formulation, diagnose_steps(recipe, limits))


def is_empty(proposal: Proposal) -> bool:
    """Whether a ratio is asked for, and the dish is made of nothing that has one."""
    weights = tuple(weight.grams for weight in proposal.weights)
    return any(state.limit.hollow(weights) for state in proposal.limits)


def _cured(formulation: Formulation, diagnosis: Diagnosis, foods: FoodTable | None, on_steps: bool) -> Diagnosis:
    """The diagnosis with what would cure; where only the steps are in the way and a search ends at its limit, without.

    That the steps are in the way is an answer of itself.
    """
    try:
        return with_cures(formulation, diagnosis, foods, on_steps=on_steps)
    except NotProven:
        if diagnosis.steps:
            return diagnosis
        raise


def impossible(formulation: Formulation, diagnosis: Diagnosis) -> Impossible:
    """The answer where there are no weights."""
    recipe = formulation.recipe
    starts = tuple(exactly(start) for start in recipe.starts)
    return Impossible(
        recipe, formulation.prefer, diagnosis,
        notices.warnings(recipe, starts, guaranteed=formulation.guaranteed, settled=False),
        notices.cautions(recipe), formulation.guaranteed,
    )


def proposal(formulation: Formulation, found: Solution) -> Proposal:
    """The proposal that a solution is, once it has passed the exact check."""
    recipe, settled = formulation.recipe, found.model
    adjusted = tuple(
        min(max(exactly(float(round(value, DIGITS))), variable.lower), variable.upper)
        for value, variable in zip(found.values[: len(formulation.adjustable)], settled.variables, strict=False)
    )
    certificate = certify(settled, formulation.values(adjusted, settled), found.prices("row").tolist())
    if not certificate.holds():
        raise NotProven(
            f"the answer misses {certificate.worst or 'the least objective'} by "
            f"{float(max(certificate.shortfall, certificate.gap)):.3g} and is not shown"
        )
    weights = formulation.weights(adjusted)
    facts = facts_of(recipe, weights)
    continuous = Proposal(
        recipe=recipe,
        prefer=formulation.prefer,
        objective=objective_of(formulation, certificate, found),
        weights=weighed(recipe, weights, TOLERANCE),
        limits=states_of(formulation.limits, weights, TOLERANCE),
        facts=facts,
        certificate=certificate,
        allergens=notices.allergens(recipe, weights),
        warnings=notices.warnings(recipe, weights, guaranteed=formulation.guaranteed),
        cautions=notices.cautions(recipe, facts),
        guaranteed=formulation.guaranteed,
    )
    return with_ranges(continuous, formulation, found)
