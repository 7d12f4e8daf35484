"""Why no weights satisfy the limits, in the cook's own terms."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from ratio_solver.foods.food import exact
from ratio_solver.linear.conflict import minimal_conflict
from ratio_solver.linear.model import LinearModel, Row, Variable
from ratio_solver.linear.solve import Infeasible, settle, solve_lp
from ratio_solver.proposals.answer import Diagnosis
from ratio_solver.recipes.limits import Limit, dot
from ratio_solver.recipes.reading import HEAVIEST
from ratio_solver.recipes.recipe import Recipe

ZERO, ONE = Fraction(0), Fraction(1)


def diagnose(recipe: Recipe, limits: tuple[Limit, ...]) -> Diagnosis:
    """A minimal conflict among the limits of a recipe that has no answer.

    The ingredients' own bounds are given up first, the targets last, so that the conflict that is named
    is about the fewest things the cook can change only by cooking another dish.
    """
    places = minimal_conflict(
        range(len(limits)),
        lambda dropped: feasible(recipe, [limit for k, limit in enumerate(limits) if k not in dropped]),
    )
    return Diagnosis(tuple(limits[place] for place in places))


def feasible(recipe: Recipe, limits: list[Limit]) -> bool:
    """Whether any weights keep these limits; fixed ingredients stay, no weight is negative."""
    settled = settle(limits_model(recipe, limits))
    return not isinstance(settled, Infeasible) and not isinstance(solve_lp(settled), Infeasible)


def limits_model(recipe: Recipe, limits: list[Limit]) -> LinearModel:
    """The limits alone as a model over the adjustable weights: nothing is preferred.

    Bounds of ingredients are rows like any other, so that each can be left out or moved.
    """
    places = [place for place, ingredient in enumerate(recipe.ingredients) if ingredient.adjustable]
    chosen = sorted({place for limit in limits for place in limit.members if place in places})
    fixed = [ZERO if i.adjustable else exact(i.start) for i in recipe.ingredients]
    size = len(places) + len(chosen)
    rows = []
    for limit in limits:
        if limit.members:
            used = [ONE if place in limit.members else ZERO for place in chosen]
            taken = sum(1 for place in limit.members if fixed[place] > 0)
            rows.append(Row(limit.name, (*[ZERO] * len(places), *used), limit.sense, limit.bound - taken))
        else:
            coefficients, bound = limit.row()
            entries = (*(coefficients[place] for place in places), *[ZERO] * len(chosen))
            rows.append(Row(limit.name, entries, limit.sense, bound - dot(coefficients, fixed)))
    for k, place in enumerate(chosen):
        entries_only = [ZERO] * size
        entries_only[places.index(place)] = -ONE
        entries_only[len(places) + k] = _most(recipe, place, limits)
        label = recipe.ingredients[place].label
        rows.append(Row(f"{label} only if used", tuple(entries_only), ">=", ZERO, definition=True))
    variables = [Variable(recipe.ingredients[place].label, ZERO, Fraction(HEAVIEST)) for place in places]
    variables += [Variable(f"{recipe.ingredients[place].label} used", ZERO, ONE, step=ONE) for place in chosen]
    return LinearModel(tuple(variables), tuple(rows), ((ZERO,) * size,))


def bounded_model(recipe: Recipe, limits: Sequence[Limit]) -> LinearModel:
    """The limits as a model, each weight within its own minimum and maximum."""
    model = limits_model(recipe, list(limits))
    adjustable = [i for i in recipe.ingredients if i.adjustable]
    return model.with_bounds({
        place: (exact(i.minimum or 0.0), exact(i.maximum or 0.0)) for place, i in enumerate(adjustable)
    })


def _most(recipe: Recipe, place: int, limits: list[Limit]) -> Fraction:
    """The most of an ingredient that can be used: its maximum, or far more than the batch where it has none."""
    name = f"{recipe.ingredients[place].label} max"
    bounds = [limit.bound for limit in limits if limit.kind == "ingredient" and limit.name == name]
    batch = sum(max(i.start, i.maximum or 0.0) for i in recipe.ingredients)
    return bounds[0] if bounds else exact(min(HEAVIEST, 100 * batch + 1000))
