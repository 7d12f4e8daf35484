"""From the conflict that makes a recipe impossible to what the cook can do about it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.addition import beyond_with
from ratio_solver.dish.constraints import LESS, MORE, Limit, limits_of
from ratio_solver.errors import BadInput
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import NET_CARBS, spoken
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.search import minimum
from ratio_solver.lp.solve import has_point, seeker
from ratio_solver.recipe.model import BATCH, RATIO, Ingredient, Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.formulation import Formulation
from ratio_solver.solving.infeasible.conflict import bounded_model, limits_model
from ratio_solver.solving.infeasible.domain import Ground
from ratio_solver.solving.infeasible.joint_change import joint_repair
from ratio_solver.solving.infeasible.one_change import single_repairs
from ratio_solver.solving.infeasible.reachable import reachable
from ratio_solver.solving.result import CuringFat, Diagnosis
from ratio_solver.solving.scale_steps import steps_of, whole_of

FATS_SHOWN = 5
REACH_DECIMALS = 6

MOST_PARTS = 64
"""Parts into which a proof that there are no weights is split at most; on the steps more would take too long."""


def with_cures(
    formulation: Formulation, diagnosis: Diagnosis, foods: FoodTable | None = None, *, on_steps: bool = False
) -> Diagnosis:
    """The diagnosis of a recipe without an answer, with everything that would cure it.

    Parameters
    ----------
    formulation : Formulation
        Of the recipe; the limits of the conflict are among its own.
    diagnosis : Diagnosis
        With the conflict.
    foods : FoodTable, optional
        Where to look for a fat that cures.
    on_steps : bool
        Whether a cure must give weights on the steps.
    """
    recipe, limits = formulation.recipe, formulation.limits
    ground = Ground(recipe, on_steps)
    if diagnosis.empty:  # a change that cures would have the same end: it takes a least weight of the batch
        asked = [(limit, reachable(ground.anywhere, limits, limit)) for limit in limits if limit.key == (RATIO, MORE)]
        return replace(diagnosis, best_ratio=_reached(asked, RATIO, MORE),
                       proven=has_point(bounded_model(recipe, limits)) is False)
    reached = [(limit, reachable(ground, limits, limit)) for limit in diagnosis.conflict]
    repairs = single_repairs(ground, limits, reached)
    fats = () if foods is None else curing_fats(ground, limits, foods.with_role("fat"), formulation.guaranteed)
    return replace(
        diagnosis,
        repairs=repairs,
        joint_repair=() if repairs else joint_repair(ground, limits, diagnosis.conflict),
        best_ratio=_reached(reached, RATIO, MORE),
        least_net_carbs=_reached(reached, spoken(NET_CARBS), LESS),
        fats=None if foods is None else fats,
        proven=_proven(ground, limits),
    )


def _proven(ground: Ground, limits: Sequence[Limit]) -> bool:
    """Whether exact arithmetic shows that no weights, on the steps where they are to be, keep the limits."""
    model = bounded_model(ground.recipe, limits)
    if has_point(model, MOST_PARTS) is False:
        return True
    return ground.on_steps and has_point(whole_of(model, steps_of(ground.recipe)).model, MOST_PARTS) is False


def _reached(reached: Sequence[tuple[Limit, Fraction | None]], name: str, sense: str) -> Fraction | None:
    """The best of a target's quantity within the other limits, rounded to the side that is really reached.

    Of a target outside the conflict nothing is: the conflict stays whatever becomes of it.
    """
    value = next((found for limit, found in reached
                  if limit.kind == "target" and limit.key == (name, sense)), None)
    if value is None:
        return None
    value = Fraction(round(value, REACH_DECIMALS + 4))  # a solver's last digits are noise
    scaled: Fraction = value * 10**REACH_DECIMALS
    return Fraction(math.floor(scaled) if sense == MORE else math.ceil(scaled), 10**REACH_DECIMALS)


def curing_fats(
    ground: Ground, limits: Sequence[Limit], foods: Iterable[Food], guaranteed: Guaranteed = None,
    most: int = FATS_SHOWN,
) -> tuple[CuringFat, ...]:
    """The foods that cure with the fewest grams as one more ingredient, started at 0 and without a maximum.

    A food that lacks a figure which a maximum needs is passed over, and so is one of which a serving would then hold
    more than a person may eat.
    """
    recipe = ground.recipe
    model = limits_model(recipe, limits)
    alike: dict[Vector, list[Food]] = {}
    for food in foods:
        try:
            alike.setdefault(_column(limits, _alone(recipe, food, guaranteed)), []).append(food)
        except BadInput:
            continue
    cost = (ONE, *[ZERO] * len(model.variables))
    found = [(_with_column(model, column), group) for column, group in alike.items()]
    reached = [(values, added, group) for added, group in found if (values := seeker(added)(cost)) is not None]
    reached.sort(key=lambda entry: float(entry[0][0]))
    if ground.on_steps:
        lowest = [(float(values[0]), added, group) for values, added, group in reached]
        return _on_steps(recipe, lowest, most, guaranteed)
    curing: list[CuringFat] = []
    for values, added, group in reached:
        eatable = _eatable(recipe, group, values, guaranteed)
        enough = _rounded_up(added, float(values[0])) if eatable and len(curing) < most else None
        curing += [CuringFat(food, enough) for food in eatable if enough is not None]
    return tuple(curing[:most])


def _eatable(recipe: Recipe, foods: Iterable[Food], values: Vector, guaranteed: Guaranteed) -> list[Food]:
    """Those of some foods of which a serving holds no more than a person may eat.

    `values` are of the model: g added to the batch, then the adjustable weights.
    """
    added, *rest = values
    adjusted = iter(rest)
    weights = tuple(next(adjusted) if item.adjustable else exact(item.start) for item in recipe.ingredients)
    return [food for food in foods if not beyond_with(recipe, [food], weights, (added,), guaranteed)]


def _rounded_up(model: LinearModel, grams: float) -> Fraction | None:
    """The first weight of the model in as few decimals as do, at least two, not less than the least that does.

    Just so much does too: what is rounded up may not go past what another limit allows.
    """
    for decimals in range(2, REACH_DECIMALS + 1):
        weight = Fraction(math.ceil(round(grams * 10**decimals, 4)), 10**decimals)
        if has_point(model.with_bounds({0: (weight, weight)})) is not False:
            return weight
    return None


def _on_steps(
    recipe: Recipe, reached: Sequence[tuple[float, LinearModel, list[Food]]], most: int, guaranteed: Guaranteed
) -> tuple[CuringFat, ...]:
    """The same in whole grams; the grams between the steps, which come in rising order, are never more."""
    best: list[CuringFat] = []
    for grams, model, group in reached:
        if len(best) == most and best[-1].grams <= math.ceil(round(grams, 6)):
            break
        cost = (ONE, *[ZERO] * (len(model.variables) - 1))
        point = minimum(whole_of(model, ((ONE, ZERO), *steps_of(recipe))), cost)
        if point is not None:
            best += [CuringFat(food, point.values[0])
                     for food in _eatable(recipe, group, point.values, guaranteed)]
            best = sorted(best, key=lambda addition: addition.grams)[:most]
    return tuple(best)


def _alone(recipe: Recipe, food: Food, guaranteed: Guaranteed) -> dict[tuple[str, str, int], Limit]:
    """The recipe's targets and proportions as they look at one more ingredient, by name, sense and turn."""
    candidate = Ingredient(food.name, food, 0.0, 0.0, HEAVIEST)
    shares = tuple(
        replace(share, of=_grown(share.of_name, food.name), to=_grown(share.to_name, food.name))
        for share in recipe.proportions
    )
    dish = replace(recipe, ingredients=(candidate,), parts=(), chooses=(), proportions=shares)
    return _by_turn(limits_of(dish, guaranteed))


def _grown(group: str, label: str) -> tuple[str, ...]:
    """A new ingredient belongs to the batch and to no other group."""
    return (label,) if BATCH in group.lower().split(" + ") else ()


def _by_turn(limits: Iterable[Limit]) -> dict[tuple[str, str, int], Limit]:
    found: dict[tuple[str, str, int], Limit] = {}
    for limit in limits:
        turn = sum(1 for name, sense, _ in found if (name, sense) == limit.key)
        found[(*limit.key, turn)] = limit
    return found


def _column(limits: Sequence[Limit], alone: dict[tuple[str, str, int], Limit]) -> Vector:
    """What 1 g of one more ingredient adds to the row of each limit."""
    return tuple(
        alone[key].row()[0][0] if key in alone and limit.kind in ("target", "proportion") else ZERO
        for key, limit in _by_turn(limits).items()
    )


def _with_column(model: LinearModel, column: Vector) -> LinearModel:
    """The model with one more weight, the first; its first rows are the limits', in their order."""
    entries = (*column, *[ZERO] * (len(model.rows) - len(column)))
    rows = tuple(
        Row(row.name, (entry, *row.coefficients), row.sense, row.bound, row.definition)
        for row, entry in zip(model.rows, entries, strict=True)
    )
    weight = Variable("the food added", ZERO, Fraction(HEAVIEST))
    return LinearModel((weight, *model.variables), rows, ((ZERO,) * (len(model.variables) + 1),))
