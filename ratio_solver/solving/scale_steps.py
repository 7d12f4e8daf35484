"""On the scale: weights that are whole multiples of a step, or whole pieces.

Among the weights on the steps that keep every limit exactly, the answer is the one that the preference puts
first; ties go to the fewest grams moved ("closest"), then to the least sum of grams moved times the square roots of
the primes down the list (first listed moves first), then to the least sum of weights times the same roots. The
roots are those of `formulation.roots`: two answers tie by a coincidence of their last digits only, so there is one such
answer, whatever solver looks for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from math import ceil, floor
from types import MappingProxyType

from ratio_solver.dish.constraints import Limit
from ratio_solver.dish.status import LimitState, Weight, state_of
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.lp.model import LinearModel, Variable
from ratio_solver.lp.search import WholeModel, common_divisor
from ratio_solver.lp.solve import Solution
from ratio_solver.lp.whole import WholeSolution, solve_whole
from ratio_solver.recipe.model import Ingredient
from ratio_solver.solving.formulation import Formulation, relative, roots
from ratio_solver.solving.result import Objective

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


def best_on_steps(formulation: Formulation, between: Objective, found: Solution) -> WholeSolution | None:
    """The best weights on the steps, from the objective that those between the steps have; None where none keep all.

    Parameters
    ----------
    formulation : Formulation
    between : Objective
        Of the best weights between the steps.
    found : Solution
        These: where to begin, if the model is the same and has not been cut since.

    Raises
    ------
    NotProven
        Where the search ends at its limit without any weights.
    """
    least = between.bound - formulation.constant if between.proof == "exact" else found.bound
    same = len(found.model.rows) == len(formulation.model.rows)
    prices, values = (found.row_prices, found.values) if same else ((), ())
    return solve_whole(whole_model(formulation), least, prices, values)


def whole_model(formulation: Formulation) -> WholeModel:
    """The model of a recipe with its weights held to their steps; with a preference one last cost leaves no tie."""
    model, items = formulation.model, formulation.items
    steps, bases = [step_of(item) for item in items], [base_of(item) for item in items]
    grids = [common_divisor(pair) for pair in zip(steps, bases, strict=True)]
    rows, costs = model.rows, model.costs
    if formulation.prefer:
        moves = [common_divisor([step, exact(item.start) - base]) or step
                 for step, base, item in zip(steps, bases, items, strict=True)]
        grids += [*moves, *moves]
        if formulation.prefer == "even":
            grids.append(common_divisor([relative(item) * move for item, move in zip(items, moves, strict=True)]))
        rows = (*rows, *formulation.not_empty())
        costs = (*costs, (*roots(len(items)), *[ZERO] * (len(model.variables) - len(items))))
    variables = _stepped(formulation)
    return WholeModel(
        LinearModel(variables, rows, costs), (*grids, *(variable.step for variable in variables[len(grids):])),
        lambda values: formulation.values(values[:len(items)]), RESOLUTION.get(formulation.prefer),
        formulation.constant, lambda values: not _mirrored(formulation, values), len(items),
    )


def _stepped(formulation: Formulation) -> tuple[Variable, ...]:
    """The variables with their steps; unavoidable moves (from a start out of bounds) are lower bounds."""
    count, found = len(formulation.items), list(formulation.model.variables)
    for k, item in enumerate(formulation.items):
        start, step, base = exact(item.start), step_of(item), base_of(item)
        least, most = (base + whole((end - base) / step) * step
                       for whole, end in ((ceil, found[k].lower), (floor, found[k].upper)))
        found[k] = replace(found[k], step=step, base=base)
        if formulation.prefer:
            for place, unavoidable in ((count + k, least - start), (2 * count + k, start - most)):
                if unavoidable > 0:
                    found[place] = replace(found[place], lower=min(unavoidable, found[place].upper))
    return tuple(found)


def _mirrored(formulation: Formulation, values: Vector) -> bool:
    """Whether another answer may move every ingredient as far as this one, some up where this goes down.

    Half way between the two those ingredients do not move at all, which is better; so it can only be where
    half way is off the steps or against a choice.
    """
    for item, weight in zip(formulation.items, values, strict=False):
        start, step, base = exact(item.start), step_of(item), base_of(item)
        other = 2 * start - weight
        within = exact(item.minimum or 0.0) <= other <= exact(item.maximum or 0.0)
        if other != weight and within and ((other - base) / step).denominator == 1 and (
                formulation.recipe.chooses or ((start - base) / step).denominator != 1):
            return True
    return False


def weight_on_steps(between: Weight, grams: Fraction, item: Ingredient) -> Weight:
    if not item.adjustable:
        return between
    at = "min" if grams == between.minimum else "max" if grams == between.maximum else None
    return replace(between, grams=grams, at=at, step=step_of(item), piece=bool(item.piece) and not base_of(item))


def state_on_steps(between: LimitState, limit: Limit, weights: Vector) -> LimitState:
    here = state_of(limit, weights)
    return LimitState(limit, here.actual, here.slack, here.binding, between.price, between.holds_from, between.holds_to,
                      between.looser)
