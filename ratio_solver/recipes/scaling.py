"""The same dish in another size."""

from __future__ import annotations

import math
from dataclasses import replace

from ratio_solver.faults import BadInput, Fault
from ratio_solver.recipes.recipe import Recipe


def scaled(recipe: Recipe, factor: float) -> Recipe:
    """Everything times a factor: weights, bounds, weights of parts, and the servings.

    Raises
    ------
    BadInput
        Where the factor is no positive number, or makes no whole number of servings.
    """
    if not (math.isfinite(factor) and 0 < factor <= 10_000):
        raise BadInput([Fault("--scale", "", f"{factor:g}", "expected a factor above 0, at most 10,000")])
    servings = round(recipe.servings * factor, 9)
    if servings != int(servings) or servings < 1:
        raise BadInput([Fault("--scale", "", f"{factor:g}",
                              f"expected a whole number of servings; {recipe.servings} times {factor:g} "
                              f"is {servings:g}")])

    def times(value: float | None) -> float | None:
        return None if value is None else round(value * factor, 9)

    return replace(
        recipe,
        servings=int(servings),
        ingredients=tuple(
            replace(i, start=round(i.start * factor, 9), minimum=times(i.minimum), maximum=times(i.maximum))
            for i in recipe.ingredients
        ),
        parts=tuple(
            replace(part, minimum=times(part.minimum), maximum=times(part.maximum)) for part in recipe.parts
        ),
    )


def with_servings(recipe: Recipe, servings: int) -> Recipe:
    """The same batch in other portions; targets stay per serving."""
    return replace(recipe, servings=servings)
