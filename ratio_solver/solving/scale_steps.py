"""On the scale: weights that are whole multiples of a step, or whole pieces.

Among the weights on the steps that keep every limit exactly, the answer is the one that the preference puts
first; ties go to the fewest grams moved ("closest"), then to the least sum of grams moved times the square roots of
the primes down the list (first listed moves first), then to the least sum of weights times the same roots. The
roots are independent over the rationals, so there is one such answer, whatever solver looks for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, floor
from types import MappingProxyType

from ratio_solver.dish import notices
from ratio_solver.dish.constraints import Limit
from ratio_solver.dish.nutrition import facts_of
from ratio_solver.dish.status import LimitState, Weight, measure_of, state_of
from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.lp.certificate import Certificate
from ratio_solver.lp.infeasible import minimal_conflict
from ratio_solver.lp.model import LinearModel, Variable
from ratio_solver.lp.search import WholeModel, common_divisor, minimum
from ratio_solver.lp.solve import Solution, branched
from ratio_solver.lp.whole import WholeSolution, solve_whole
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.solving.formulation import UNITS, Formulation, not_empty, relative, roots
from ratio_solver.solving.infeasible.conflict import limits_model, roomy
from ratio_solver.solving.result import Diagnosis, Objective, Proposal, Stepped

Steps = tuple[Fraction, Fraction]
"""The step of a weight, g, and what its steps are counted from, g."""

DEFAULT_STEP = ONE
"""Grams; for an ingredient that names no step and no piece."""

RESOLUTION: Mapping[str, Fraction] = MappingProxyType({
    "lightest": Fraction(1, 10),
    "lowest-carb": Fraction(1, 100),
    "cheapest": Fraction(1, 100),
})
"""Steps in which an objective is compared, in its own unit; the others are compared exactly.

Without them a dish with a least energy would be searched for weights that hit it to a millionth of a kcal,
at the price of many grams moved.
"""


def step_of(ingredient: Ingredient) -> Fraction:
    """What the weight of an adjustable ingredient is a multiple of, g: its piece, its step, or 1 g."""
    given = ingredient.piece or ingredient.step
    return exact(given) if given else DEFAULT_STEP


def base_of(ingredient: Ingredient) -> Fraction:
    """What the steps are counted from, g: what the bowl holds beyond whole steps, else nothing."""
    return exact(ingredient.in_bowl) % step_of(ingredient)


def on_steps(formulation: Formulation, continuous: Proposal) -> Proposal | None:
    """The best answer on the steps, from the answer of the linear programme; None where there is none.

    Weights, facts, slacks and the objective are those of the weights on the steps, without tolerance; prices
    and ranges stay those of the linear programme.

    Raises
    ------
    NotProven
        Where the search ends at its limit without any weights.
    """
    try:
        found = solve_whole(whole_model(formulation), _floor(formulation, continuous))
    except NotProven as error:
        raise NotProven(f"weights on the steps: {error}; --exact gives weights between the steps") from error
    return None if found is None else _shown(formulation, continuous, found)


def whole_model(formulation: Formulation) -> WholeModel:
    """The model of a recipe with its weights held to their steps, and one last cost that leaves no tie."""
    recipe, model = formulation.recipe, formulation.model
    items = [recipe.ingredients[place] for place in formulation.adjustable]
    steps = [step_of(item) for item in items]
    bases = [base_of(item) for item in items]
    weights = [common_divisor([step, base]) or step for step, base in zip(steps, bases, strict=True)]
    moves = [common_divisor([step, exact(item.start) - base]) or step
             for step, base, item in zip(steps, bases, items, strict=True)]
    variables = _stepped(model, items, steps)
    shares = [relative(item) * move for item, move in zip(items, moves, strict=True)]
    largest = [common_divisor(shares)] if formulation.prefer == "even" else []
    known = [*weights, *moves, *moves, *largest]
    grids = (*known, *(variable.step for variable in variables[len(known):]))
    costs = (*model.costs, _lightest_listed(model, len(items)))
    return WholeModel(
        LinearModel(variables, (*model.rows, *not_empty(formulation)), costs), grids,
        lambda values: _completed(formulation, values[:len(items)]),
        RESOLUTION.get(formulation.prefer), formulation.constant,
        lambda values: not _mirrored(recipe, items, values[:len(items)]),
    )


def _stepped(model: LinearModel, items: Sequence[Ingredient], steps: Sequence[Fraction]) -> tuple[Variable, ...]:
    """The variables with their steps; unavoidable moves (from a start out of bounds) are lower bounds."""
    count, variables = len(items), list(model.variables)
    for k, (item, step) in enumerate(zip(items, steps, strict=True)):
        start, base = exact(item.start), base_of(item)
        least, most = (base + f((v - base) / step) * step
                       for f, v in ((ceil, variables[k].lower), (floor, variables[k].upper)))
        variables[k] = replace(variables[k], step=step, base=base)
        for place, unavoidable in ((count + k, least - start), (2 * count + k, start - most)):
            lower = min(max(ZERO, unavoidable), variables[place].upper)
            variables[place] = replace(variables[place], lower=lower)
    return tuple(variables)


def _completed(formulation: Formulation, weights: Vector) -> Vector:
    """All values of the model from the adjustable weights: a choice is used where it weighs anything."""
    values = list(formulation.values(weights, formulation.model))
    names = {formulation.model.variables[place].name: weight for place, weight in enumerate(weights)}
    for place, variable in enumerate(formulation.model.variables):
        if variable.step is not None and names[variable.name.removesuffix(" used")] > 0:
            values[place] = ONE
    return tuple(values)


def _mirrored(recipe: Recipe, items: Sequence[Ingredient], weights: Vector) -> bool:
    """Whether another answer may move every ingredient as far as this one, some up where this goes down.

    Half way between the two those ingredients do not move at all, which is better; so it can only be where
    half way is off the steps or against a choice.
    """
    for item, weight in zip(items, weights, strict=True):
        start, step, base = exact(item.start), step_of(item), base_of(item)
        other = 2 * start - weight
        within = exact(item.minimum or 0.0) <= other <= exact(item.maximum or 0.0)
        if other != weight and within and ((other - base) / step).denominator == 1 and (
                recipe.chooses or ((start - base) / step).denominator != 1):
            return True
    return False


def _lightest_listed(model: LinearModel, count: int) -> Vector:
    return (*roots(count), *[ZERO] * (len(model.variables) - count))


def _floor(formulation: Formulation, continuous: Proposal) -> Fraction:
    """An exact lower bound on the first cost, whichever choice is made."""
    if continuous.objective.proof == "exact":
        return continuous.objective.bound - formulation.constant
    return branched(formulation.model, formulation.model.whole_costs[:1]).bound


def objective_of(formulation: Formulation, certificate: Certificate, found: Solution) -> Objective:
    """The objective with a bound for every choice there is, not only for the one that was made."""
    bound, proof = found.bound if formulation.model.stepped else certificate.bound, "exact"
    if not replace(certificate, bound=bound).holds():
        bound, proof = max(bound, min(exact(found.searched or 0.0), certificate.objective)), "search"
    return Objective(certificate.objective + formulation.constant, UNITS[formulation.prefer],
                     bound + formulation.constant, certificate.holds(), proof)


def _shown(formulation: Formulation, continuous: Proposal, found: WholeSolution) -> Proposal:
    recipe, constant = formulation.recipe, formulation.constant
    weights = formulation.weights(found.values[:len(formulation.adjustable)])
    facts = facts_of(recipe, weights)
    pairs = zip(continuous.weights, weights, recipe.ingredients, strict=True)
    return replace(
        continuous,
        objective=Objective(found.objective + constant, UNITS[formulation.prefer], found.bound + constant,
                            found.proven, found.proof, RESOLUTION.get(formulation.prefer, ZERO), found.settled),
        weights=tuple(_weight(shown, grams, item) for shown, grams, item in pairs),
        limits=tuple(_state(state, weights) for state in continuous.limits),
        facts=facts,
        certificate=Certificate(ZERO, "", found.objective, found.bound),
        allergens=notices.allergens(recipe, weights),
        warnings=notices.warnings(recipe, weights, guaranteed=formulation.guaranteed),
        cautions=notices.cautions(recipe, facts),
        exact=False,
    )


def _weight(shown: Weight, grams: Fraction, item: Ingredient) -> Weight:
    if not item.adjustable:
        return shown
    at = "min" if grams == shown.minimum else "max" if grams == shown.maximum else None
    return replace(shown, grams=grams, at=at, step=step_of(item), piece=bool(item.piece) and not base_of(item),
                   measure=measure_of(item, grams))


def _state(state: LimitState, weights: Vector) -> LimitState:
    here = state_of(state.limit, weights)
    return replace(state, actual=here.actual, slack=here.slack, binding=here.binding)


def diagnose_steps(recipe: Recipe, limits: tuple[Limit, ...]) -> Diagnosis:
    """A minimal conflict among limits that can be kept, but not by weights on the steps.

    What a search leaves open stays named, and the conflict is then not said to be minimal.
    """
    left_open: list[frozenset[int]] = []

    def kept(dropped: frozenset[int]) -> bool:
        try:
            return feasible_on_steps(recipe, [limit for k, limit in enumerate(limits) if k not in dropped])
        except NotProven:
            left_open.append(dropped)
            return True

    conflict = tuple(limits[place] for place in minimal_conflict(range(len(limits)), kept))
    return Diagnosis(conflict, steps=True, stepped=_stepped_in(recipe, conflict), minimal=not left_open)


def _stepped_in(recipe: Recipe, conflict: Sequence[Limit]) -> tuple[Stepped, ...]:
    """The ingredients in a conflict that come in pieces, or in other steps than 1 g."""
    rows = [limit.row()[0] for limit in conflict]
    return tuple(
        Stepped(item.label, step_of(item), bool(item.piece)) for place, item in enumerate(recipe.ingredients)
        if item.adjustable and (item.piece or step_of(item) != DEFAULT_STEP) and any(row[place] for row in rows)
    )


def feasible_on_steps(recipe: Recipe, limits: Sequence[Limit]) -> bool:
    """Whether any weights on the steps keep these limits exactly; no weight is negative."""
    model = limits_model(recipe, limits, roomy(recipe))
    return minimum(whole_of(model, steps_of(recipe)), model.costs[0]) is not None


def steps_of(recipe: Recipe) -> tuple[Steps, ...]:
    """The steps of the adjustable ingredients in listing order."""
    return tuple((step_of(item), base_of(item)) for item in recipe.ingredients if item.adjustable)


def whole_of(model: LinearModel, steps: Sequence[Steps]) -> WholeModel:
    """A model of `limits_model` whose first variables, the weights, are held to steps."""
    variables = tuple(
        replace(variable, step=steps[place][0], base=steps[place][1]) if place < len(steps) else variable
        for place, variable in enumerate(model.variables)
    )
    grids = (*(common_divisor(pair) for pair in steps), *(variable.step for variable in variables[len(steps):]))
    weight = {variable.name: place for place, variable in enumerate(variables[:len(steps)])}
    of_used = tuple(weight[variable.name.removesuffix(" used")] for variable in variables[len(steps):])

    def completed(values: Vector) -> Vector:
        return (*values[:len(steps)], *(ONE if values[place] > 0 else ZERO for place in of_used))

    return WholeModel(replace(model, variables=variables), grids, completed)
