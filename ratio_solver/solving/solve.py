"""From a recipe to its answer: solve, check exactly, and read the figures back in the cook's words.

With a confidence the formula of `dish.confidence` is replaced by limits that touch it: the best weights for these are
found as for any recipe, each target that the formula says is missed there gets one more limit, its tangent at these
weights, and so on until the formula holds (Kelley 1960, Journal of the Society for Industrial and Applied Mathematics
8:703). A tangent loses no weights that keep the formula, so the objective is never above the least there is, and limits
that cannot be kept show that the formula cannot. On the steps every answer is judged by the formula in rationals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import cautions_for
from ratio_solver.dish.confidence import Confidence, confidence_notes, confidence_of, most_weights, touching
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.dish.status import LimitState, Weight, measure_of, state_of, states_of, weighed
from ratio_solver.errors import NotProven
from ratio_solver.exact import ZERO, Vector
from ratio_solver.exact import exact as exactly
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.certificate import TOLERANCE, Certificate, certify
from ratio_solver.lp.model import Mark
from ratio_solver.lp.solve import Solution, solve_lp
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.solving.formulation import UNITS, Formulation, formulate
from ratio_solver.solving.infeasible.conflict import diagnose, diagnose_empty, with_relaxations, with_tried_relaxations
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.result import Answer, Diagnosis, Impossible, Objective, Proposal
from ratio_solver.solving.scale_steps import RESOLUTION, base_of, best_on_steps, step_of
from ratio_solver.solving.sensitivity import with_ranges
from ratio_solver.solving.written import WRITTEN_DECIMALS

CLOSE = TOLERANCE / 2
"""How far the formula of a confidence may be missed between the steps, in units of a row's largest coefficient."""

ROUNDS_OF_TANGENTS = 200
NO_END = "the cuts for the confidence asked for did not come to an end"


@dataclass(frozen=True)
class _Question:
    """What weights are asked for; `limits` are those of the recipe, on the figures as the table has them.

    `priced` says whether what they could be and what each limit costs is asked for as well.
    """

    domain: SearchDomain
    prefer: str
    guaranteed: Guaranteed
    limits: tuple[Limit, ...]
    priced: bool = True

    def formulated(self, cuts: Sequence[Limit] = ()) -> Formulation:
        return formulate(self.domain.recipe, self.prefer, limits=[*self.limits, *cuts])

    def missed(self, weights: Vector, tolerance: Fraction = ZERO) -> list[Limit]:
        """The tangents of the formulas that these weights miss; an empty dish, whose ratio has none, misses none."""
        if self.hollow(weights):
            return []
        return [cone.tangent(weights) for cone in self.domain.cones if not cone.holds(weights, tolerance)]

    def hollow(self, weights: Vector) -> bool:
        """Whether a ratio is asked for, and the dish is made of nothing that has one."""
        return any(limit.hollow(weights) for limit in self.limits)

    def there(self, weights: Vector) -> tuple[Limit, ...]:
        """The limits, each target with a formula as that has it at these weights."""
        return touching(self.limits, self.domain.cones, weights)


@dataclass(frozen=True)
class _Between:
    """The best weights between the steps, and the programme of limits and cuts that has them."""

    formulation: Formulation
    solution: Solution
    adjusted: Vector

    @property
    def weights(self) -> Vector:
        return self.formulation.weights(self.adjusted)


@dataclass(frozen=True)
class _Nowhere:
    """No weights: the cuts that cannot be kept with the limits, and whether the steps or an empty dish are the end."""

    cuts: tuple[Limit, ...] = ()
    steps: bool = False
    empty: bool = False


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

    Examples
    --------
    >>> from ratio_solver import load_foods, read_recipe, solve
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> answer = solve(gratin)
    >>> answer.outcome, f"{answer.weights_g['cream']:.1f} g of cream"
    ('solved', '422.0 g of cream')
    """
    asked = _question(recipe, prefer, guaranteed, confidence)
    found = _best_weights(asked, exact)
    if isinstance(found, Proposal):
        return found
    table = None if foods is None else foods.with_tables(recipe.tables)
    return _without_weights(asked, _relaxed(asked, found, _diagnosed(asked, found), table, exact))


def attempt(recipe: Recipe, *, guaranteed: Guaranteed = None) -> Answer:
    """The same on the steps, closest to the start, without the relaxations of a recipe that has no answer."""
    asked = _question(recipe, "closest", guaranteed)
    found = _best_weights(asked, exact=False)
    return found if isinstance(found, Proposal) else _without_weights(asked, _diagnosed(asked, found))


def weights_alone(recipe: Recipe, prefer: str = "closest", *, guaranteed: Guaranteed = None,
                  exact: bool = False) -> Proposal | None:
    """The same without prices and ranges, and nothing where there is no answer: for whoever prints the weights."""
    found = _best_weights(replace(_question(recipe, prefer, guaranteed), priced=False), exact)
    return found if isinstance(found, Proposal) else None


def weights_for(recipe: Recipe, *, guaranteed: Guaranteed = None) -> Proposal | None:
    """The same, and nothing where there is no answer: for whoever only tries whether there is one."""
    found = _best_weights(_question(recipe, "closest", guaranteed), exact=False)
    return found if isinstance(found, Proposal) else None


def _question(recipe: Recipe, prefer: str, guaranteed: Guaranteed,
              confidence: float | Confidence | None = None) -> _Question:
    probable = confidence_of(confidence, guaranteed)
    return _Question(SearchDomain(recipe, confidence=probable), prefer, guaranteed, limits_of(recipe, guaranteed))


def _best_weights(asked: _Question, exact: bool) -> Proposal | _Nowhere:
    """The weights, where there are any."""
    found = _between_the_steps(asked)
    if isinstance(found, _Nowhere):
        return found
    if asked.hollow(found.weights):
        return _Nowhere(empty=True)
    proposal = _proposal(asked, found)
    if exact:
        return proposal
    return _on_the_steps(asked, found.formulation, proposal)


def _between_the_steps(asked: _Question) -> _Between | _Nowhere:
    """The best weights to any fraction of a gram, with the cuts that found them."""
    cuts: list[Limit] = []
    for _ in range(ROUNDS_OF_TANGENTS):
        formulation = asked.formulated(cuts)
        solution = solve_lp(formulation.model)
        if solution is None:
            return _Nowhere(tuple(cuts))
        found = _Between(formulation, solution, tuple(
            min(max(exactly(float(round(value, WRITTEN_DECIMALS))), variable.lower), variable.upper)
            for value, variable in zip(solution.values[:len(formulation.adjustable)], solution.model.variables,
                                       strict=False)))
        missed = asked.missed(found.weights, CLOSE)
        if not missed:
            return found
        cuts += missed
    raise NotProven(NO_END)


def _proposal(asked: _Question, found: _Between) -> Proposal:
    """The proposal that a solution is, once it has passed the exact check."""
    formulation, weights, settled = found.formulation, found.weights, found.solution.model
    certificate = certify(settled, formulation.values(found.adjusted, settled), found.solution.prices("row").tolist())
    if not certificate.holds():
        raise NotProven(
            f"the answer misses {certificate.worst or 'the least objective'} by "
            f"{float(max(certificate.shortfall, certificate.gap)):.3g} and is not shown"
        )
    recipe, confidence = asked.domain.recipe, asked.domain.confidence
    proposal = Proposal(
        recipe=recipe,
        prefer=asked.prefer,
        objective=_objective(formulation, certificate, found.solution),
        weights=weighed(recipe, weights, TOLERANCE),
        limits=states_of(asked.there(weights), weights, TOLERANCE),
        certificate=certificate,
        guaranteed=kind_of(asked.guaranteed),
        confidence=confidence,
    )
    if not asked.priced:
        return proposal
    if confidence is None:
        return with_ranges(proposal, formulation, found.solution)
    return replace(proposal, limits=tuple(replace(state, price=_price(asked, found, limit))
                                          for state, limit in zip(proposal.limits, asked.limits, strict=True)))


def _objective(formulation: Formulation, certificate: Certificate, found: Solution) -> Objective:
    """The objective with a bound for every choice there is, not only for the one that was made."""
    bound, proof = found.bound if formulation.used else certificate.bound, "exact"
    if found.searched is not None and not replace(certificate, bound=bound).holds():
        bound, proof = max(bound, min(exactly(found.searched), certificate.objective)), "search"
    return Objective(certificate.objective + formulation.constant, UNITS[formulation.prefer],
                     bound + formulation.constant, certificate.holds(), proof)


def _price(asked: _Question, found: _Between, limit: Limit) -> float | None:
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


def _on_the_steps(asked: _Question, formulation: Formulation, between: Proposal) -> Proposal | _Nowhere:
    """The best weights on the steps; of those that break a formula a tangent cuts away some more.

    Weights, facts, slacks and the objective are those of the weights on the steps, without tolerance; prices
    and ranges stay those of the linear programme.
    """
    cuts: list[Limit] = list(formulation.limits[len(asked.limits):])
    for _ in range(ROUNDS_OF_TANGENTS):
        found = best_on_steps(formulation, between.objective)
        if found is None:
            return _Nowhere(steps=True)
        weights = formulation.weights(found.values)
        missed = asked.missed(weights)
        if not missed:
            constant = formulation.constant
            return replace(
                between,
                objective=Objective(found.objective + constant, UNITS[asked.prefer], found.bound + constant,
                                    found.proven, found.proof, RESOLUTION.get(asked.prefer, ZERO), found.settled),
                weights=tuple(map(_weight_on_steps, between.weights, weights, asked.domain.recipe.ingredients)),
                limits=tuple(_state_on_steps(state, limit, weights)
                             for state, limit in zip(between.limits, asked.there(weights), strict=True)),
                certificate=Certificate(ZERO, "", found.objective, found.bound),
                exact=False,
            )
        cuts += missed
        formulation = asked.formulated(cuts)
    raise NotProven(NO_END)


def _weight_on_steps(between: Weight, grams: Fraction, item: Ingredient) -> Weight:
    if not item.adjustable:
        return between
    at = "min" if grams == between.minimum else "max" if grams == between.maximum else None
    return replace(between, grams=grams, at=at, step=step_of(item), piece=bool(item.piece) and not base_of(item),
                   measure=measure_of(item, grams))


def _state_on_steps(between: LimitState, limit: Limit, weights: Vector) -> LimitState:
    here = state_of(limit, weights)
    return replace(between, limit=limit, actual=here.actual, slack=here.slack, binding=here.binding)


def _diagnosed(asked: _Question, found: _Nowhere) -> Diagnosis:
    """The conflict that makes the recipe impossible."""
    if found.empty:
        return diagnose_empty(replace(asked.domain, confidence=None), asked.limits)
    return diagnose(replace(asked.domain, on_steps=found.steps), asked.limits)


def _relaxed(asked: _Question, found: _Nowhere, diagnosis: Diagnosis, foods: FoodTable | None,
             exact: bool) -> Diagnosis:
    """The diagnosis with every relaxation that does; where only the steps are in the way and a search ends, without.

    That the steps are in the way is an answer of itself.
    """
    domain = asked.domain
    if domain.confidence is not None:
        if diagnosis.empty:
            return diagnosis
        proven = not found.steps and domain.proven_infeasible([*asked.limits, *found.cuts])
        solves = partial(_solves, asked, exact)
        return with_tried_relaxations(domain, replace(diagnosis, proven=proven), solves)
    try:
        return with_relaxations(replace(domain, on_steps=not exact), asked.limits, diagnosis, foods, asked.guaranteed)
    except NotProven:
        if diagnosis.steps:
            return diagnosis
        raise


def _solves(asked: _Question, exact: bool, recipe: Recipe) -> bool:
    """Whether the recipe, asked in the same way, has weights."""
    again = _question(recipe, asked.prefer, asked.guaranteed, asked.domain.confidence)
    return isinstance(_best_weights(again, exact), Proposal)


def _without_weights(asked: _Question, diagnosis: Diagnosis) -> Impossible:
    """The answer where there are no weights."""
    recipe, guaranteed, confidence = asked.domain.recipe, asked.guaranteed, asked.domain.confidence
    starts = tuple(exactly(start) for start in recipe.starts)
    warnings = notices.warnings(recipe, starts, guaranteed=guaranteed, settled=False)
    return Impossible(recipe, asked.prefer, diagnosis,
                      (*warnings, *confidence_notes(recipe, most_weights(recipe), confidence)), cautions_for(recipe),
                      kind_of(guaranteed), confidence)
