"""Why no weights satisfy the limits, in the cook's own terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.constraints import EMPTY, MORE, Limit
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.lp.infeasible import minimal_conflict
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.solve import has_point, solve_lp
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.formulation import NOT_EMPTY
from ratio_solver.solving.result import Diagnosis

HEAVY = Fraction(HEAVIEST)
"""g; no weight is more."""


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


def diagnose_empty(recipe: Recipe, limits: tuple[Limit, ...]) -> Diagnosis:
    """What is said of a recipe whose best weights are those of an empty dish, which has no ratio.

    Either no other dish keeps the limits, and these are in conflict, or others do and none of them is the best: the
    less there is of them, the better they are, without end.
    """
    if feasible(recipe, limits):
        return Diagnosis((), empty=True)
    return replace(diagnose(recipe, limits), empty=True)


def feasible(recipe: Recipe, limits: Sequence[Limit]) -> bool:
    """Whether any weights keep these limits; fixed ingredients stay, no weight is negative.

    That there are none is proven in rationals, but for a choice of too many from too many, where HiGHS says so.
    """
    model = limits_model(recipe, limits)
    told = has_point(model)
    return solve_lp(model) is not None if told is None else told


def limits_model(
    recipe: Recipe, limits: Sequence[Limit], most: Fraction = HEAVY, loose: frozenset[int] = frozenset()
) -> LinearModel:
    """The limits alone as a model over the adjustable weights: nothing is preferred.

    Bounds of ingredients are rows like any other, so that each can be left out or moved. A choice that allows all
    that it names is no row, so that it never stands for the bounds that it would repeat.

    Parameters
    ----------
    recipe : Recipe
    limits : sequence of Limit
        Their rows come first, in their order, a choice that allows everything with a row that says nothing.
    most : Fraction
        What a chosen ingredient can weigh at most where nothing else says so, g.
    loose : frozenset of int
        Places of limits that may be moved: a maximum among them says nothing of what a chosen ingredient can weigh.
    """
    places = [place for place, ingredient in enumerate(recipe.ingredients) if ingredient.adjustable]
    chosen = sorted({place for limit in limits if _chooses(limit) for place in limit.members if place in places})
    fixed = [ZERO if i.adjustable else exact(i.start) for i in recipe.ingredients]
    size = len(places) + len(chosen)
    held = [limit for place, limit in enumerate(limits) if place not in loose]

    def entries(coefficients: Vector) -> Vector:
        return (*(coefficients[place] for place in places), *[ZERO] * len(chosen))

    rows = []
    for limit in limits:
        if limit.members:
            used = [ONE if place in limit.members and _chooses(limit) else ZERO for place in chosen]
            taken = sum(1 for place in limit.members if fixed[place] > 0)
            rows.append(Row(limit.name, (*[ZERO] * len(places), *used), limit.sense, limit.bound - taken))
        else:
            coefficients, bound = limit.row()
            rows.append(Row(limit.name, entries(coefficients), limit.sense, bound - dot(coefficients, fixed)))
    for k, place in enumerate(chosen):
        entries_only = [ZERO] * size
        entries_only[places.index(place)] = -ONE
        entries_only[len(places) + k] = _most(recipe, place, held, most)
        label = recipe.ingredients[place].label
        rows.append(Row(f"{label} only if used", tuple(entries_only), ">=", ZERO, definition=True))
    rows += [Row(NOT_EMPTY, entries(limit.substance), MORE, EMPTY - dot(limit.substance, fixed))
             for limit in limits if limit.unit == ":1" and dot(limit.substance, fixed) < EMPTY]
    variables = [Variable(recipe.ingredients[place].label, ZERO, HEAVY) for place in places]
    variables += [Variable(f"{recipe.ingredients[place].label} used", ZERO, ONE, step=ONE) for place in chosen]
    return LinearModel(tuple(variables), tuple(rows), ((ZERO,) * size,))


def _chooses(limit: Limit) -> bool:
    """Whether a limit is a choice that leaves out anything."""
    return bool(limit.members) and limit.bound < len(limit.members)


def roomy(recipe: Recipe) -> Fraction:
    """Far more than the batch, g: what an ingredient weighs at most, to a solver that searches in doubles."""
    return exact(min(HEAVIEST, 100 * sum(max(i.start, i.maximum or 0.0) for i in recipe.ingredients) + 1000))


def bounded_model(recipe: Recipe, limits: Sequence[Limit]) -> LinearModel:
    """The limits as a model, each weight within its own minimum and maximum."""
    model = limits_model(recipe, limits)
    adjustable = [i for i in recipe.ingredients if i.adjustable]
    return model.with_bounds({
        place: (exact(i.minimum or 0.0), exact(i.maximum or 0.0)) for place, i in enumerate(adjustable)
    })


def _most(recipe: Recipe, place: int, limits: Sequence[Limit], most: Fraction) -> Fraction:
    """The most of an ingredient that can be used: its maximum, if that is held."""
    name = f"{recipe.ingredients[place].label} max"
    return next((limit.bound for limit in limits if limit.kind == "ingredient" and limit.name == name), most)
