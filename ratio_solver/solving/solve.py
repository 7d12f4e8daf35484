"""From a recipe to its answer: solve, check exactly, and read the figures back in the cook's words.

With a confidence the formula of `dish.confidence` is replaced by limits that touch it: the best weights for these are
found as for any recipe, each target that the formula says is missed there gets one more limit, its tangent at these
weights, and so on until the formula holds (Kelley 1960, Journal of the Society for Industrial and Applied Mathematics
8:703). A tangent loses no weights that keep the formula, so the objective is never above the least there is, and limits
that cannot be kept show that the formula cannot. On the steps every answer is judged by the formula in rationals.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
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
from ratio_solver.lp.clock import limited, out_of_time, share
from ratio_solver.lp.model import Mark
from ratio_solver.lp.solve import Solution, solve_lp
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.solving.formulation import UNITS, Formulation, formulate
from ratio_solver.solving.infeasible.conflict import diagnose, diagnose_empty, with_relaxations, with_tried_relaxations
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.infeasible.joint_change import joint_change
from ratio_solver.solving.infeasible.nearest import nearest_values
from ratio_solver.solving.infeasible.one_change import first_change
from ratio_solver.solving.result import Answer, Diagnosis, Impossible, Objective, Proposal, Repair
from ratio_solver.solving.scale_steps import RESOLUTION, base_of, best_on_steps, step_of
from ratio_solver.solving.sensitivity import with_price_parts, with_prices, with_ranges
from ratio_solver.solving.written import WRITTEN_DECIMALS

CLOSE = TOLERANCE / 2
"""How far the formula of a confidence may be missed between the steps, in units of a row's largest coefficient."""

SEARCHED = 1.5
"""The search for weights on the steps may take this part of the time; the rest is for what is said where it fails."""

ROUNDS_OF_TANGENTS = 200
NO_END = "the cuts for the confidence asked for did not come to an end"


@dataclass(frozen=True)
class Question:
    """What weights are asked for; `limits` are those to be kept, on the figures as the table has them.

    Of a recipe `alone` weights have ranges, and an empty dish is told. Without `ranges` only prices go with the
    weights, those of the limits other than the ingredients' own bounds.
    """

    domain: SearchDomain
    prefer: str
    guaranteed: Guaranteed
    limits: tuple[Limit, ...]
    alone: bool = True
    ranges: bool = True

    def formulated(self, cuts: Sequence[Limit] = ()) -> Formulation:
        found = formulate(self.domain.recipe, self.prefer, limits=[*self.limits, *cuts])
        if self.alone:
            return found
        counted = self.domain.counted(found)
        return replace(counted, model=replace(counted.model, rows=(*counted.model.rows, *found.not_empty())))

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
    """No weights: the cuts that cannot be kept with the limits, and whether the steps or an empty dish are the end.

    Or none that were found on the steps in the time; then, and where the steps are the end, those between them.
    """

    cuts: tuple[Limit, ...] = ()
    steps: bool = False
    empty: bool = False
    undecided: bool = False
    between: Vector = ()


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
    asked = replace(_question(recipe, prefer, guaranteed, confidence), ranges=ranges)
    with limited(time_limit):
        found = best_weights(asked, exact)
        if isinstance(found, Proposal):
            return found
        table = None if foods is None else foods.with_tables(recipe.tables)
        return _without_weights(asked, relaxed(asked, found, diagnosed(asked, found), table, exact))


def answer_known_impossible(recipe: Recipe, prefer: str, members: Sequence[tuple[int, float]] | None, *,
                            guaranteed: Guaranteed = None, exact: bool = False,
                            time_limit: float | None = None) -> Impossible:
    """The answer of a recipe of which it is known that no weights keep its limits, with the first change that cures.

    Parameters
    ----------
    members : sequence of (int, float), optional
        Those of its limits that are in conflict, by their places, and the least share by which a change of each alone
        that cures must move it. Without, nothing is said of why.
    time_limit : float, optional
        As in `solve`.
    """
    asked = _question(recipe, prefer, guaranteed)
    if members is None:
        return _without_weights(asked, Diagnosis((), proven=True))
    domain, limits = replace(asked.domain, on_steps=not exact), asked.limits
    named = [(limits[place], least) for place, least in members]
    conflict = tuple(limit for limit, _ in named)
    first, joint = None, tuple[Repair, ...]()
    with limited(time_limit), suppress(NotProven):
        first = first_change(domain, limits, named)
        joint = joint_change(domain, limits, conflict) if first is None else ()
    return _without_weights(asked, Diagnosis(conflict, repairs=() if first is None else (first,), proven=True,
                                             joint_repair=joint))


def attempt(recipe: Recipe, *, guaranteed: Guaranteed = None) -> Answer:
    """The same on the steps, closest to the start, without the relaxations of a recipe that has no answer."""
    asked = _question(recipe, "closest", guaranteed)
    with limited(None):
        found = best_weights(asked, exact=False)
        return found if isinstance(found, Proposal) else _without_weights(asked, diagnosed(asked, found))


def weights_for(recipe: Recipe, *, guaranteed: Guaranteed = None) -> Proposal | None:
    """The same, and nothing where there is no answer: for whoever only tries whether there is one."""
    with limited(None):
        found = best_weights(_question(recipe, "closest", guaranteed), exact=False)
    return found if isinstance(found, Proposal) else None


def _question(recipe: Recipe, prefer: str, guaranteed: Guaranteed,
              confidence: float | Confidence | None = None) -> Question:
    probable = confidence_of(confidence, guaranteed)
    return Question(SearchDomain(recipe, confidence=probable), prefer, guaranteed, limits_of(recipe, guaranteed))


def best_weights(asked: Question, exact: bool) -> Proposal | _Nowhere:
    """The weights, where there are any."""
    try:
        found = _between_the_steps(asked)
    except NotProven:
        if out_of_time():
            return _Nowhere(undecided=True)
        raise
    if isinstance(found, _Nowhere):
        return found
    if asked.hollow(found.weights):
        return _Nowhere(empty=True)
    proposal = _proposal(asked, found)
    if exact:
        return proposal
    return _on_the_steps(asked, found, proposal)


def _between_the_steps(asked: Question) -> _Between | _Nowhere:
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


def _proposal(asked: Question, found: _Between) -> Proposal:
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
    if confidence is None and asked.alone:
        return (with_ranges if asked.ranges else with_prices)(proposal, formulation, found.solution)
    pairs = zip(proposal.limits, asked.limits, strict=True)
    priced = replace(proposal, limits=tuple(replace(state, price=_price(asked, found, one)) for state, one in pairs))
    return priced if confidence is not None else with_price_parts(priced, formulation, found.solution)


def _objective(formulation: Formulation, certificate: Certificate, found: Solution) -> Objective:
    """The objective with a bound for every choice there is, not only for the one that was made."""
    bound, proof = found.bound if formulation.model.stepped else certificate.bound, "exact"
    if found.searched is not None and not replace(certificate, bound=bound).holds():
        bound, proof = max(bound, min(exactly(found.searched), certificate.objective)), "search"
    return Objective(certificate.objective + formulation.constant, UNITS[formulation.prefer],
                     bound + formulation.constant, certificate.holds(), proof)


def _price(asked: Question, found: _Between, limit: Limit) -> float | None:
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


def _on_the_steps(asked: Question, start: _Between, between: Proposal) -> Proposal | _Nowhere:
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
            return _Nowhere(undecided=True, between=start.weights)
        if found is None:
            return _Nowhere(steps=True, between=start.weights)
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


def diagnosed(asked: Question, found: _Nowhere) -> Diagnosis:
    """The conflict that makes the recipe impossible."""
    if found.undecided:
        return Diagnosis((), undecided=True, between=found.between)
    if found.empty:
        return diagnose_empty(replace(asked.domain, confidence=None), asked.limits)
    if not found.steps:
        return diagnose(asked.domain, asked.limits)
    near = None
    if asked.domain.confidence is None:
        with share(2):
            near = nearest_values(asked.domain.recipe, asked.limits, found.between)
    diagnosis = diagnose(replace(asked.domain, on_steps=True), asked.limits)
    return replace(diagnosis, nearest=near, between=found.between)


def relaxed(asked: Question, found: _Nowhere, diagnosis: Diagnosis, foods: FoodTable | None,
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


def _solves(asked: Question, exact: bool, recipe: Recipe) -> bool:
    """Whether the recipe, asked in the same way, has weights."""
    again = _question(recipe, asked.prefer, asked.guaranteed, asked.domain.confidence)
    return isinstance(best_weights(again, exact), Proposal)


def _without_weights(asked: Question, diagnosis: Diagnosis) -> Impossible:
    """The answer where there are no weights."""
    recipe, guaranteed, confidence = asked.domain.recipe, asked.guaranteed, asked.domain.confidence
    warnings = notices.warnings(recipe, tuple(map(exactly, recipe.starts)), guaranteed=guaranteed, settled=False)
    return Impossible(recipe, asked.prefer, diagnosis,
                      (*warnings, *confidence_notes(recipe, most_weights(recipe), confidence)), cautions_for(recipe),
                      kind_of(guaranteed), confidence)
