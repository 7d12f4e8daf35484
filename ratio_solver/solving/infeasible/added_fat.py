"""Foods with which a recipe without an answer has one when they are added as one more ingredient."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.constraints import Identity, Limit, limits_of
from ratio_solver.dish.most import beyond_with
from ratio_solver.errors import BadInput
from ratio_solver.exact import ONE, ZERO, Vector
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.points import least_point
from ratio_solver.lp.search import WholeModel
from ratio_solver.lp.solve import has_point, seeker
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.formulation import HEAVY, Formulation
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.result import CuringFat
from ratio_solver.solving.scale_steps import whole_model

FATS_SHOWN = 5
DECIMALS_OF_FAT = 6


def added_fats(domain: SearchDomain, limits: Sequence[Limit], foods: Iterable[Food],
               guaranteed: Guaranteed = None) -> tuple[CuringFat, ...]:
    """The foods that do with the fewest grams as one more ingredient, started at 0 and without a maximum.

    A food that lacks a figure which a maximum needs is passed over, and so is one of which a serving would then hold
    more than a person may eat.
    """
    formulation = domain.anywhere.formulated(limits)
    alike: dict[Vector, list[Food]] = {}
    for food in foods:
        try:
            alike.setdefault(_column_of_food(limits, _alone(domain.recipe, food, guaranteed)), []).append(food)
        except BadInput:
            continue
    with_food = _with_one_weight_more(formulation.model)
    models = [(_with_column(with_food, column), column, group) for column, group in alike.items()]
    cost = (ONE, *[ZERO] * len(formulation.model.variables))
    reached = [(values, *rest) for rest in models if (values := seeker(rest[0])(cost)) is not None]
    reached.sort(key=lambda entry: entry[0][0])
    whole = whole_model(formulation) if domain.on_steps else None
    found: list[CuringFat] = []
    for values, model, column, group in reached:
        # Grams between the steps come in rising order, and whole grams are never fewer.
        if len(found) == FATS_SHOWN and (whole is None or found[-1].grams <= math.ceil(values[0])):
            break
        if whole is None:
            eatable = _eatable(formulation, group, values, guaranteed)
            grams = _rounded_up(model, float(values[0])) if eatable else None
        else:
            point = least_point(_with_food(whole, column), cost)
            eatable = [] if point is None else _eatable(formulation, group, point, guaranteed)
            grams = None if point is None else point[0]
        if grams is not None:
            found += [CuringFat(food, grams) for food in eatable]
            found = sorted(found, key=lambda one: one.grams)[:FATS_SHOWN]
    return tuple(found)


def _eatable(formulation: Formulation, foods: Iterable[Food], values: Vector, guaranteed: Guaranteed) -> list[Food]:
    """Those of some foods of which a serving holds no more than a person may eat.

    `values` are g added to the batch, then those of the formulation.
    """
    added, *rest = values
    return [food for food in foods
            if not beyond_with(formulation.recipe, [food], formulation.weights(rest), (added,), guaranteed)]


def _rounded_up(model: LinearModel, grams: float) -> Fraction | None:
    """The first weight of the model in as few decimals as do, at least two, not less than the least that does.

    Just so much does too: what is rounded up may not go past what another limit allows.
    """
    for decimals in range(2, DECIMALS_OF_FAT + 1):
        weight = Fraction(math.ceil(round(grams * 10**decimals, 4)), 10**decimals)
        if has_point(model.with_bounds({0: (weight, weight)})) is not False:
            return weight
    return None


def _alone(recipe: Recipe, food: Food, guaranteed: Guaranteed) -> dict[Identity, Limit]:
    """The recipe's targets and proportions as they look at one more ingredient, which is of the batch alone."""
    shares = tuple(replace(share, of=(food.name,) * share.of_batch, to=(food.name,) * share.to_batch)
                   for share in recipe.proportions)
    dish = replace(recipe, ingredients=(Ingredient(food.name, food, 0.0, 0.0, HEAVIEST),), parts=(), chooses=(),
                   proportions=shares)
    return {limit.identity: limit for limit in limits_of(dish, guaranteed)}


def _column_of_food(limits: Sequence[Limit], alone: dict[Identity, Limit]) -> Vector:
    """What 1 g of one more ingredient adds to the row of each limit."""
    return tuple(
        alone[limit.identity].row()[0][0] if limit.kind in ("target", "proportion") else ZERO for limit in limits
    )


def _with_one_weight_more(model: LinearModel, step: Fraction | None = None) -> LinearModel:
    """The model with one more weight, the first, which stands in no row."""
    size = len(model.variables) + 1
    rows = tuple(Row.of(row.name, {1 + j: row.coefficients[j] for j, _ in row.slack.entries}, size, row.sense,
                        row.bound) for row in model.rows)
    return LinearModel((Variable("the food added", ZERO, HEAVY, step), *model.variables), rows, ((ZERO,) * size,))


def _with_column(model: LinearModel, column: Vector) -> LinearModel:
    """The model with entries of its first weight; its first rows are the limits', in their order."""
    changed = tuple(replace(row, coefficients=(entry, *row.coefficients[1:])) if entry else row
                    for entry, row in zip(column, model.rows, strict=False))
    return replace(model, rows=(*changed, *model.rows[len(column):]))


def _with_food(whole: WholeModel, column: Vector) -> WholeModel:
    """The same on the steps: the food comes in whole grams."""
    model = _with_column(_with_one_weight_more(whole.model, ONE), column)
    return replace(whole, model=model, grids=(ONE, *whole.grids),
                   completed=lambda values: (values[0], *whole.completed(values[1:])), count=1 + whole.count)
