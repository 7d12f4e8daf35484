"""Weights whose targets are each kept with a probability: a cone for each target, solved by linear cuts.

The formula of `dish.confidence` is replaced by limits that touch it: the best weights for these are found as for any
recipe, each target that the formula says is missed there gets one more limit, its tangent at these weights, and so on
until the formula holds (Kelley 1960, Journal of the Society for Industrial and Applied Mathematics 8:703). A tangent
loses no weights that keep the formula, so the objective is never above the least there is, and limits that cannot be
kept show that the formula cannot. On the steps every answer is judged by the formula in rationals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ratio_solver.dish import notices
from ratio_solver.dish.confidence import Cone, Confidence, cones_of, confidence_notes, touching
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.dish.intervals import most_weights
from ratio_solver.dish.nutrition import facts_of
from ratio_solver.dish.status import state_of, states_of, weighed
from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, Vector
from ratio_solver.exact import exact as exactly
from ratio_solver.lp.certificate import TOLERANCE, certify
from ratio_solver.lp.model import Mark
from ratio_solver.lp.solve import Solution, solve_lp
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.formulation import Formulation, formulate
from ratio_solver.solving.infeasible.confident import Ground, cured
from ratio_solver.solving.infeasible.conflict import diagnose_empty
from ratio_solver.solving.result import Answer, Diagnosis, Impossible, Proposal
from ratio_solver.solving.scale_steps import objective_of, on_steps

CLOSE = TOLERANCE / 2
"""How far the formula may be missed between the steps, in units of a row's largest coefficient: the solver's own
tolerance is a fifth of that."""

MOST_ROUNDS = 200
DIGITS = 9
"""Decimals of a gram to which a continuous weight is given."""

NO_END = "the cuts for the confidence asked for did not come to an end"


@dataclass(frozen=True)
class _Found:
    """The best weights between the steps, and the programme of limits and cuts that has them.

    Attributes
    ----------
    formulation : Formulation
        Its limits are the recipe's own, then the cuts.
    solution : Solution
    weights : tuple of Fraction
        Of all ingredients, g.
    """

    formulation: Formulation
    solution: Solution
    weights: Vector


@dataclass(frozen=True)
class _Lost:
    """The cuts that cannot be kept together with the limits."""

    cuts: tuple[Limit, ...]


def solve_confident(recipe: Recipe, prefer: str, confidence: Confidence, *, exact: bool, cures: bool = True) -> Answer:
    """The best weights for which every target is kept with a probability, or why there are none.

    Parameters
    ----------
    recipe : Recipe
    prefer : str
    confidence : Confidence
    exact : bool
        Weights to any fraction of a gram; else on the steps.
    cures : bool
        Whether what would cure is looked for where there are none.

    Raises
    ------
    BadInput
        Where a figure that is needed is unknown.
    NotProven
        Where the cuts do not come to an end, or an answer does not pass the exact check.
    """
    limits = limits_of(recipe)
    cones = cones_of(recipe, limits, confidence)
    found = _between_the_steps(recipe, prefer, limits, cones)
    ground = Ground(recipe, prefer, confidence, exact)
    if isinstance(found, _Lost):
        if not cures:  # for whoever only tries: a conflict costs many programmes
            return _impossible(ground, Diagnosis(()), cures)
        diagnosis = Diagnosis(ground.conflict(limits, cones), proven=ground.proven([*limits, *found.cuts]))
        return _impossible(ground, diagnosis, cures)
    if any(limit.hollow(found.weights) for limit in limits):
        return _impossible(ground, diagnose_empty(recipe, limits), cures=False)
    answer = _proposal(found, limits, cones)
    if not exact:
        whole = _on_the_steps(found.formulation, answer, cones)
        if whole is None:
            conflict = ground.conflict(limits, cones, on_steps=True) if cures else ()
            return _impossible(ground, Diagnosis(conflict, steps=True), cures)
        answer = whole
    return _told(answer, limits, cones, confidence)


def _between_the_steps(recipe: Recipe, prefer: str, limits: Sequence[Limit],
                       cones: Sequence[Cone]) -> _Found | _Lost:
    """The best weights to any fraction of a gram, with the cuts that found them."""
    cuts: list[Limit] = []
    for _ in range(MOST_ROUNDS):
        formulation = formulate(recipe, prefer, limits=[*limits, *cuts])
        solution = solve_lp(formulation.model)
        if solution is None:
            return _Lost(tuple(cuts))
        weights = _snapped(formulation, solution)
        hollow = any(limit.hollow(weights) for limit in limits)  # an empty dish: its ratio has no tangent
        new = [] if hollow else [cone.tangent(weights) for cone in cones if not cone.holds(weights, CLOSE)]
        if not new:
            return _Found(formulation, solution, weights)
        cuts += new
    raise NotProven(NO_END)


def _snapped(formulation: Formulation, solution: Solution) -> Vector:
    """Weights of all ingredients from a solution, in decimals within their bounds."""
    return formulation.weights([
        min(max(exactly(float(round(value, DIGITS))), variable.lower), variable.upper)
        for value, variable in zip(solution.values[:len(formulation.adjustable)], solution.model.variables,
                                   strict=False)])


def _proposal(found: _Found, limits: Sequence[Limit], cones: Sequence[Cone]) -> Proposal:
    """The weights, with prices and a bound on the objective from the multipliers of limits and cuts."""
    formulation, weights = found.formulation, found.weights
    adjusted = [weights[place] for place in formulation.adjustable]
    model = found.solution.model
    certificate = certify(model, formulation.values(adjusted, model), found.solution.prices("row").tolist())
    if not certificate.holds():
        raise NotProven(f"the answer misses {certificate.worst or 'the least objective'} and is not shown")
    recipe, facts = formulation.recipe, facts_of(formulation.recipe, weights)
    there = touching(limits, cones, weights)
    return Proposal(
        recipe=recipe, prefer=formulation.prefer, objective=objective_of(formulation, certificate, found.solution),
        weights=weighed(recipe, weights, TOLERANCE),
        limits=tuple(replace(state, price=_price(found, place, limits, cones))
                     for place, state in enumerate(states_of(there, weights, TOLERANCE))),
        facts=facts, certificate=certificate, allergens=notices.allergens(recipe, weights),
        warnings=notices.warnings(recipe, weights), cautions=notices.cautions(recipe, facts),
    )


def _price(found: _Found, place: int, limits: Sequence[Limit], cones: Sequence[Cone]) -> float | None:
    """Change of the objective for one more unit of a limit: the multipliers of its row and of all its cuts."""
    limit, formulation, marginals = limits[place], found.formulation, found.solution.marginals
    if limit.members:
        return None
    if limit.kind == "ingredient":
        item = limit.numerator.index(ONE)
        variable = formulation.adjustable.index(item)
        return marginals.get(Mark("lower" if limit.sense == ">=" else "upper", variable), 0.0)
    cone = next((cone for cone in cones if cone.limit is limit), None)
    rows = [row for other, row in zip(formulation.limits, formulation.row_of, strict=True) if row is not None
            and (other is limit or (cone is not None and other.kind == "target" and other.key == limit.key))]
    divisor = limit.divisor(found.weights) if cone is None else cone.divisor(found.weights)
    return sum(marginals.get(Mark("row", row), 0.0) for row in rows) * float(divisor)


def _on_the_steps(formulation: Formulation, continuous: Proposal, cones: Sequence[Cone]) -> Proposal | None:
    """The best weights on the steps that keep the formula exactly; one that breaks it is cut away."""
    limits = list(formulation.limits)
    for _ in range(MOST_ROUNDS):
        whole = on_steps(formulation, continuous)
        if whole is None:
            return None
        weights = tuple(weight.grams for weight in whole.weights)
        hollow = any(cone.limit.hollow(weights) for cone in cones)
        new = [] if hollow else [cone.tangent(weights) for cone in cones if not cone.holds(weights)]
        if not new:
            return whole
        limits += new
        formulation = formulate(formulation.recipe, formulation.prefer, limits=limits)
    raise NotProven(NO_END)


def _told(answer: Proposal, limits: Sequence[Limit], cones: Sequence[Cone], confidence: Confidence) -> Proposal:
    """The answer with its limits as the formula has them there, and what the confidence means."""
    weights = tuple(weight.grams for weight in answer.weights)
    there = touching(limits, cones, weights)
    states = states_of(there, weights, TOLERANCE) if answer.exact else [state_of(limit, weights) for limit in there]
    return replace(
        answer, confidence=confidence,
        limits=tuple(replace(state, price=before.price) for state, before in zip(states, answer.limits, strict=True)),
        warnings=(*answer.warnings, *confidence_notes(answer.recipe, weights, confidence)))


def _impossible(ground: Ground, diagnosis: Diagnosis, cures: bool) -> Impossible:
    recipe, confidence = ground.recipe, ground.confidence
    starts = tuple(exactly(start) for start in recipe.starts)
    return Impossible(
        recipe, ground.prefer, cured(ground, diagnosis, solve_confident) if cures else diagnosis,
        (*notices.warnings(recipe, starts, settled=False),
         *confidence_notes(recipe, most_weights(recipe), confidence)),
        notices.cautions(recipe), confidence=confidence)
