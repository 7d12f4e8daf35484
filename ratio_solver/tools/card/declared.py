"""Declared figures of one serving of a dish, by the labelling rules of a jurisdiction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.dish.nutrition import cooked_batch
from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.label_rules import LABELS, POLYOLS_LINE, LabelRow, label_content
from ratio_solver.recipe.model import Recipe

LAXATIVE_FROM = Fraction(1, 10)
"""Share of added polyols in the finished food above which a label in the EU warns of them: Regulation (EU) No
1169/2011, Annex III (from memory). Erythritol is a polyol there. Tables do not say which polyols were added, so all
count: that is the strict side."""

LAXATIVE = "excessive consumption may produce laxative effects"
"""The statement, from memory: its exact legal wording is to be taken from the Regulation."""


@dataclass(frozen=True)
class Declared:
    """One declared figure of a serving.

    Attributes
    ----------
    name : str
        "fat", "of which saturates", ...
    text : str or None
        As the rules round it, with its unit; None where an ingredient's figure is unknown.
    unknown : tuple of str
        Labels of the ingredients whose figure is unknown.
    inner : bool
        Whether it is part of the figure above it.
    """

    name: str
    text: str | None
    unknown: tuple[str, ...] = ()
    inner: bool = False


def declared(recipe: Recipe, weights: Sequence[Fraction], rules: str) -> tuple[Declared, ...]:
    """What a label would declare per serving.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    rules : {"us", "eu"}

    Returns
    -------
    tuple of Declared
        In the order of a label.

    Raises
    ------
    BadInput
        Where there are no such rules.

    Examples
    --------
    >>> from ratio_solver import check, declared, load_foods, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> declared(gratin, check(gratin).grams_of_each, "us")[0].text
    '400 kcal'
    """
    if rules not in LABELS:
        raise BadInput([Fault("label", "", shown(rules), f"expected one of {', '.join(LABELS)}")])
    found = []
    for row in LABELS[rules]:
        unknown = unknown_for(recipe, weights, row)
        amounts = [per_serving(recipe, weights, column) for column in row.columns]
        if unknown or any(amounts) or not row.only_if_any:
            found.append(Declared(row.name, None if unknown else row.rule(*amounts), unknown, row.inner))
    return tuple(found)


def unknown_for(recipe: Recipe, weights: Sequence[Fraction], row: LabelRow) -> tuple[str, ...]:
    """Labels of used ingredients for which a figure of the row is unknown."""
    return tuple(
        ingredient.label
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True)
        if weight and any(label_content(ingredient.food, column) is None for column in row.columns)
    )


def per_serving(recipe: Recipe, weights: Sequence[Fraction], column: str) -> Fraction:
    """Exact amount of a label's figure in one serving, in the column's unit; what is unknown counts as none."""
    total = sum((
        (label_content(ingredient.food, column) or ZERO) / 100 / exact(ingredient.yield_) * weight
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True)
    ), ZERO)
    return total / recipe.servings


def polyol_statement(recipe: Recipe, weights: Sequence[Fraction]) -> tuple[str, ...]:
    """What a label in the EU says of polyols that are more than a tenth of the finished weight; nothing below.

    Where the recipe does not tell the finished weight it is that of what goes in, and where cooking off up to half
    of that would bring the polyols above a tenth, this is said.
    """
    polyols = per_serving(recipe, weights, POLYOLS_LINE) * recipe.servings
    batch, cooked = sum(weights, ZERO), cooked_batch(recipe, weights)
    if polyols > LAXATIVE_FROM * (batch if cooked is None else cooked):
        return (f"More than 10 % polyols: {LAXATIVE} (Regulation (EU) No 1169/2011, Annex III; take the "
                "exact wording from there).",)
    if cooked is None and polyols > LAXATIVE_FROM * batch / 2:
        return ("Polyols may be more than 10 % of the finished weight, which the recipe does not tell (finished_grams, "
                f"cooking_loss): a label then says: {LAXATIVE}.",)
    return ()
