"""The same dish changed: in another size, at other weights, with foods added."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.errors import BadInput, Fault, collected, shown
from ratio_solver.exact import exact
from ratio_solver.foods.food import Food
from ratio_solver.foods.sizes import SMALLEST, sensible
from ratio_solver.recipe.groups import batch_within
from ratio_solver.recipe.model import BATCH, Ingredient, Recipe


def scaled(recipe: Recipe, factor: float, servings: int | None = None) -> Recipe:
    """Everything times a factor: weights, bounds, weights of parts, and the servings.

    Parameters
    ----------
    recipe : Recipe
    factor : float
    servings : int, optional
        Servings of the scaled batch, where other than the recipe's times the factor.

    Raises
    ------
    BadInput
        Where the factor is no positive number, or makes no whole number of servings.
    """
    if not (math.isfinite(factor) and SMALLEST <= factor <= 10_000):
        raise BadInput([Fault("--scale", "", f"{factor:g}",
                              f"expected a factor above 0, at most 10,000; from {SMALLEST:f}")])
    made = round(recipe.servings * factor, 9) if servings is None else servings
    if made != int(made) or made < 1:
        raise BadInput([Fault("--scale", "", f"{factor:g}",
                              f"expected a whole number of servings; {recipe.servings} times {factor:g} "
                              f"is {made:g}; or say how many with --servings")])

    _whole_pieces(recipe, factor)

    def times(value: float | None) -> float | None:
        return None if value is None else round(value * factor, 9)

    return replace(
        recipe,
        servings=int(made),
        ingredients=tuple(
            replace(i, start=round(i.start * factor, 9), minimum=times(i.minimum), maximum=times(i.maximum))
            for i in recipe.ingredients
        ),
        finished_grams=times(recipe.finished_grams),
        parts=tuple(
            replace(part, minimum=times(part.minimum), maximum=times(part.maximum)) for part in recipe.parts
        ),
    )


def _whole_pieces(recipe: Recipe, factor: float) -> None:
    """Fixed ingredients that are whole pieces must stay so; adjustable ones are solved in pieces again."""
    faults = []
    for place, i in enumerate(recipe.ingredients, 1):
        if i.adjustable or not i.piece or exact(i.start) % exact(i.piece):
            continue
        count = exact(i.start) / exact(i.piece)
        if exact(round(i.start * factor, 9)) % exact(i.piece):
            fitting = _factors(recipe, count, factor)
            faults.append(Fault(
                "--scale", f"ingredients[{place}]", f"{factor:g}",
                f"expected whole pieces of {i.label}; {count} times {factor:g} is {float(count) * factor:g}"
                + (f"; {' and '.join(fitting)} give whole pieces and servings" if fitting else ""),
            ))
    collected(faults)


def _factors(recipe: Recipe, pieces: Fraction, factor: float) -> list[str]:
    """The nearest factors below and above that make whole pieces of one ingredient and whole servings."""
    smallest = Fraction(1, math.gcd(recipe.servings, int(pieces)))
    times = int(exact(factor) / smallest)
    return [short_factor(k * smallest) for k in (times, times + 1) if k > 0]


def short_factor(factor: Fraction) -> str:
    """A factor as it is typed, with so many digits that pieces and servings come out whole.

    >>> short_factor(Fraction(3, 2))
    '1.5'
    """
    return f"{float(factor):.15g}"


def with_servings(recipe: Recipe, servings: int) -> Recipe:
    """The same batch in other portions; targets stay per serving."""
    return replace(recipe, servings=servings)


def with_kept_weight(recipe: Recipe, share: float) -> Recipe:
    """The recipe with the weight of its batch held within a share of what it is at the start.

    What the recipe says of that itself (``keep_weight``, ``[parts.batch]``) gives way.

    Parameters
    ----------
    recipe : Recipe
    share : float
        0.1 for 90 to 110 % of the weight at the start.

    Returns
    -------
    Recipe

    Raises
    ------
    BadInput
        Where the share is not from 0 to 1, the batch weighs nothing at the start, or a part of it is called "batch".

    Examples
    --------
    >>> from ratio_solver import load_foods, read_recipe, solve, with_kept_weight
    >>> gratin = with_kept_weight(read_recipe("examples/celeriac-gratin.toml", load_foods()), 0.1)
    >>> sum(gratin.starts), gratin.parts[-1].minimum, float(sum(solve(gratin).grams_of_each))
    (1769.5, 1592.55, 1593.5)
    """
    if not (0 <= share <= 1 and sensible(share)):
        raise BadInput([Fault("--keep-weight", "", shown(share), "expected a share from 0 to 1, 0.1 for 10 %")])
    if not any(recipe.starts):
        raise BadInput([Fault("--keep-weight", "", shown(share),
                              "expected a batch that weighs something at the start")])
    if any(ingredient.part == BATCH for ingredient in recipe.ingredients):
        raise BadInput([Fault("--keep-weight", "", shown(share), f"expected no part that is called {BATCH}")])
    others = tuple(part for part in recipe.parts if part.name != BATCH)
    return replace(recipe, parts=(*others, batch_within(share, recipe.ingredients)))


def fixed(recipe: Recipe, weights: Sequence[Fraction]) -> Recipe:
    """The recipe as it stands in the bowl: every ingredient fixed at its weight (g for the batch).

    Targets, parts, proportions and choices stay; bounds of ingredients are gone, as nothing may move.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.

    Returns
    -------
    Recipe

    Examples
    --------
    >>> from ratio_solver import fixed, load_foods, read_recipe, solve
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> bowl = fixed(gratin, solve(gratin).grams_of_each)
    >>> bowl.ingredients[4].label, bowl.ingredients[4].start, bowl.ingredients[4].adjustable
    ('cream', 422.0, False)
    """
    return replace(recipe, ingredients=tuple(
        replace(ingredient, start=float(weight), minimum=None, maximum=None, in_bowl=0.0)
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True)
    ))


def planned(recipe: Recipe, weights: Sequence[Fraction]) -> Recipe:
    """The recipe with these weights as its starts: what is solved next stays close to them."""
    return replace(recipe, ingredients=tuple(
        replace(ingredient, start=float(weight))
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True)
    ))


def with_added(recipe: Recipe, foods: Sequence[Food]) -> Recipe:
    """The recipe with 0 g of more foods at its end (of no part; a proportion to the batch counts them)."""
    taken = {ingredient.label.lower() for ingredient in recipe.ingredients}
    added = tuple(
        Ingredient(f"{food.name}, added" if food.name.lower() in taken else food.name, food, 0.0) for food in foods
    )
    labels = tuple(ingredient.label for ingredient in added)

    return replace(
        recipe,
        ingredients=(*recipe.ingredients, *added),
        proportions=tuple(
            replace(share, of=(*share.of, *labels * share.of_batch), to=(*share.to, *labels * share.to_batch))
            for share in recipe.proportions
        ),
    )
