"""From a recipe to its answer: solve, check exactly, and read the figures back in the cook's words.

With a confidence the formula of `dish.confidence` is replaced by limits that touch it: the best weights for these are
found as for any recipe, each target that the formula says is missed there gets one more limit, its tangent at these
weights, and so on until the formula holds (Kelley 1960, Journal of the Society for Industrial and Applied Mathematics
8:703). A tangent loses no weights that keep the formula, so the objective is never above the least there is, and limits
that cannot be kept show that the formula cannot. On the steps every answer is judged by the formula in rationals.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import partial

from ratio_solver.dish.confidence import Confidence, confidence_of
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.dish.status import states_of, weighed
from ratio_solver.errors import NotProven
from ratio_solver.exact import ZERO
from ratio_solver.exact import exact as exactly
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.certificate import TOLERANCE, Certificate, certify
from ratio_solver.lp.clock import limited, out_of_time, share
from ratio_solver.lp.infeasible import LARGE
from ratio_solver.lp.model import Mark, Variable
from ratio_solver.lp.solve import solve_lp
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.formulation import OBJECTIVE_UNITS
from ratio_solver.solving.infeasible.conflict import diagnose, diagnose_empty, with_relaxations, with_tried_relaxations
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.infeasible.nearest import nearest_values
from ratio_solver.solving.infeasible.without_weights import without_weights
from ratio_solver.solving.question import Asked, BetweenSteps, Nowhere, objective_of
from ratio_solver.solving.result import Answer, Diagnosis, Impossible, Objective, Proposal
from ratio_solver.solving.scale_steps import RESOLUTION, best_on_steps, state_on_steps, weight_on_steps
from ratio_solver.solving.sensitivity import with_price_parts, with_prices
from ratio_solver.solving.written import WRITTEN_DECIMALS

CLOSE = TOLERANCE / 2
"""How far the formula of a confidence may be missed between the steps, in units of a row's largest coefficient."""

SEARCHED = 1.5
"""The search for weights on the steps may take this part of the time; the rest is for what is said where it fails."""

ROUNDS_OF_TANGENTS = 200
NO_END = "the cuts for the confidence asked for did not come to an end"


def solve(
    recipe: Recipe, prefer: str = "closest", *, guaranteed: Guaranteed = None, exact: bool = False,
    foods: FoodTable | None = None, confidence: float | Confidence | None = None, ranges: bool = True,
    time_limit: float | None = None,
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
    ranges : bool
        Whether it is told how far each weight and each price may go; without, an answer takes half the time.
    time_limit : float, optional
        Seconds for the answer with all that is said of it; 5 unless `ratio_solver.lp.clock.within` holds another. What
        it cuts short is not called proven: the best weights found, with how far from the best they can be; or that
        none were found; or what a diagnosis leaves out.

    Returns
    -------
    Proposal or Impossible

    Raises
    ------
    BadInput
        Where a figure that is needed is unknown.
    NotProven
        Where the solver's answer does not pass the exact check.

    Examples
    --------
    >>> from ratio_solver import load_foods, read_recipe, solve
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> answer = solve(gratin)
    >>> answer.outcome, f"{answer.weights_g['cream']:.1f} g of cream"
    ('solved', '422.0 g of cream')
    """
    asked = question(recipe, prefer, guaranteed, confidence, ranges)
    with limited(time_limit):
        found = best_weights(asked, exact)
        if isinstance(found, Proposal):
            return found
        table = None if foods is None else foods.with_tables(recipe.tables)
        return _without_weights(asked, relaxed_diagnosis(asked, found, diagnosed(asked, found), table, exact))


def attempt(recipe: Recipe, *, guaranteed: Guaranteed = None) -> Answer:
    """The same on the steps, closest to the start, without the relaxations of a recipe that has no answer."""
    asked = question(recipe, "closest", guaranteed)
    with limited(None):
        found = best_weights(asked, exact=False)
        return found if isinstance(found, Proposal) else _without_weights(asked, diagnosed(asked, found))


def weights_for(recipe: Recipe, *, guaranteed: Guaranteed = None) -> Proposal | None:
    """The same without ranges, and nothing where there is no answer: for whoever only tries whether there is one."""
    with limited(None):
        found = best_weights(question(recipe, "closest", guaranteed, ranges=False), exact=False)
    return found if isinstance(found, Proposal) else None


def question(recipe: Recipe, prefer: str, guaranteed: Guaranteed, confidence: float | Confidence | None = None,
             ranges: bool = True) -> Asked:
    """What `solve` asks of a recipe."""
    domain = SearchDomain(recipe, confidence=confidence_of(confidence, guaranteed))
    return Asked(domain, prefer, guaranteed, limits_of(recipe, guaranteed), ranges=ranges)


def best_weights(asked: Asked, exact: bool) -> Proposal | Nowhere:
    """The weights, where there are any."""
    try:
        found = _between_the_steps(asked)
    except NotProven:
        if out_of_time():
            return Nowhere(undecided=True)
        raise
    if isinstance(found, Nowhere):
        return found
    if asked.hollow(found.weights):
        return Nowhere(empty=True)
    proposal = _proposal(asked, found)
    if exact:
        return proposal
    return _on_the_steps(asked, found, proposal)


def _between_the_steps(asked: Asked) -> BetweenSteps | Nowhere:
    """The best weights to any fraction of a gram, with the cuts that found them."""
    cuts: list[Limit] = []
    for _ in range(ROUNDS_OF_TANGENTS):
        formulation = asked.formulated(cuts) if cuts else asked.formulation
        many = asked.alone and len(formulation.adjustable) >= LARGE  # then few rows show it sooner than all the moves
        solution = None if many and asked.domain.proven_infeasible([*asked.limits, *cuts]) else \
            solve_lp(formulation.model)
        if solution is None:
            return Nowhere(tuple(cuts))
        found = BetweenSteps(formulation, solution, tuple(
            map(_to_nine_decimals, solution.values[:len(formulation.adjustable)], solution.model.variables)))
        missed = asked.missed(found.weights, CLOSE)
        if not missed:
            return found
        cuts += missed
    raise NotProven(NO_END)


def _to_nine_decimals(value: Fraction, variable: Variable) -> Fraction:
    """A weight in so many decimals as are written, within its bounds."""
    return value if not 10**WRITTEN_DECIMALS % value.denominator else \
        min(max(exactly(float(round(value, WRITTEN_DECIMALS))), variable.lower), variable.upper)


def _proposal(asked: Asked, found: BetweenSteps) -> Proposal:
    """The proposal that a solution is, once it has passed the exact check."""
    formulation, weights, settled = found.formulation, found.weights, found.solution.model
    certificate = certify(settled, formulation.values(found.adjusted, settled), found.solution.row_prices)
    if not certificate.holds():
        raise NotProven(
            f"the answer misses {certificate.worst or 'the least objective'} by "
            f"{float(max(certificate.shortfall, certificate.gap)):.3g} and is not shown"
        )
    recipe, confidence = asked.domain.recipe, asked.domain.confidence
    proposal = Proposal(
        recipe=recipe,
        prefer=asked.prefer,
        objective=objective_of(formulation, certificate, found.solution),
        weights=weighed(recipe, weights, TOLERANCE),
        limits=states_of(asked.there(weights), weights, TOLERANCE),
        certificate=certificate,
        guaranteed=kind_of(asked.guaranteed),
        confidence=confidence,
    )
    if confidence is None and asked.alone:
        return with_prices(proposal, formulation, found.solution, asked.ranges)
    priced = replace(proposal, limits=tuple(replace(state, price=_price(asked, found, limit))
                                            for state, limit in zip(proposal.limits, asked.limits, strict=True)))
    return priced if confidence is not None else with_price_parts(priced, formulation, found.solution)


def _price(asked: Asked, found: BetweenSteps, limit: Limit) -> float | None:
    """Change of the objective for one more unit of a limit: the multipliers of its row and of all its cuts."""
    formulation, marginals = found.formulation, found.solution.marginals
    if limit.members:
        return None
    if limit.kind == "ingredient":
        variable = formulation.adjustable.index(limit.subject.place)
        return marginals.get(Mark("lower" if limit.sense == ">=" else "upper", variable), 0.0)
    cone = next((cone for cone in asked.domain.cones if cone.limit.identity == limit.identity), None)
    divisor = limit.divisor(found.weights) if cone is None else cone.divisor(found.weights)
    rows = [row for other, row in zip(formulation.limits, formulation.row_of, strict=True)
            if row is not None and other.identity == limit.identity]
    return sum(marginals.get(Mark("row", row), 0.0) for row in rows) * float(divisor)


def _on_the_steps(asked: Asked, start: BetweenSteps, between: Proposal) -> Proposal | Nowhere:
    """The best weights on the steps; of those that break a formula a tangent cuts away some more.

    Weights, facts, slacks and the objective are those of the weights on the steps, without tolerance; prices
    and ranges stay those of the linear programme.
    """
    formulation = start.formulation
    cuts: list[Limit] = list(formulation.limits[len(asked.limits):])
    for _ in range(ROUNDS_OF_TANGENTS):
        try:
            with share(SEARCHED):
                found = best_on_steps(formulation, between.objective, start.solution)
        except NotProven:
            return Nowhere(undecided=True, between=start.weights)
        if found is None:
            return Nowhere(steps=True, between=start.weights)
        weights = formulation.weights(found.values)
        missed = asked.missed(weights)
        if not missed:
            constant = formulation.constant
            return replace(
                between,
                objective=Objective(found.objective + constant, OBJECTIVE_UNITS[asked.prefer], found.bound + constant,
                                    found.proven, found.proof, RESOLUTION.get(asked.prefer, ZERO), found.settled),
                weights=tuple(map(weight_on_steps, between.weights, weights, asked.domain.recipe.ingredients)),
                limits=tuple(state_on_steps(state, limit, weights)
                             for state, limit in zip(between.limits, asked.there(weights), strict=True)),
                certificate=Certificate(ZERO, "", found.objective, found.bound),
                exact=False,
            )
        cuts += missed
        formulation = asked.formulated(cuts)
    raise NotProven(NO_END)


def diagnosed(asked: Asked, found: Nowhere) -> Diagnosis:
    """The conflict that makes the recipe impossible."""
    if found.undecided:
        return Diagnosis((), undecided=True, between=found.between)
    if found.empty:
        return diagnose_empty(replace(asked.domain, confidence=None), asked.limits)
    if not found.steps:
        return diagnose(asked.domain, asked.limits)
    diagnosis, near = diagnose(replace(asked.domain, on_steps=True), asked.limits), None
    if asked.domain.confidence is None:
        with share(2):
            near = nearest_values(asked.domain.recipe, asked.limits, diagnosis.conflict, found.between)
    return replace(diagnosis, nearest=near, between=found.between)


def relaxed_diagnosis(asked: Asked, found: Nowhere, diagnosis: Diagnosis, foods: FoodTable | None,
                      exact: bool) -> Diagnosis:
    """The diagnosis with every relaxation that does, as far as the time goes."""
    domain = asked.domain
    if diagnosis.undecided:
        return diagnosis
    if domain.confidence is not None:
        if diagnosis.empty:
            return diagnosis
        proven = not found.steps and domain.proven_infeasible([*asked.limits, *found.cuts])
        solves = partial(_solves, asked, exact)
        return with_tried_relaxations(domain, replace(diagnosis, proven=proven), solves)
    return with_relaxations(replace(domain, on_steps=not exact), asked.limits, diagnosis, foods, asked.guaranteed)


def _solves(asked: Asked, exact: bool, recipe: Recipe) -> bool:
    """Whether the recipe, asked in the same way, has weights."""
    again = question(recipe, asked.prefer, asked.guaranteed, asked.domain.confidence)
    return isinstance(best_weights(again, exact), Proposal)


def _without_weights(asked: Asked, diagnosis: Diagnosis) -> Impossible:
    """The answer where there are no weights."""
    return without_weights(asked.domain.recipe, asked.prefer, diagnosis, asked.guaranteed, asked.domain.confidence)
