"""What a reader of the figures must be told: unknown figures, allergens, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from ratio_solver.foods.content import content
from ratio_solver.foods.nutrients import spoken
from ratio_solver.foods.policy import RATIO_TERMS
from ratio_solver.recipes.facts import Facts
from ratio_solver.recipes.limits import FIBRE
from ratio_solver.recipes.preparing import preparation_warnings
from ratio_solver.recipes.recipe import RATIO, Ingredient, Recipe

CAUTION = (
    "Figures are computed from composition tables; they are no medical advice. Anyone on a prescribed diet, "
    "on insulin or other medicines, pregnant, or with kidney, liver, pancreas or metabolic disease, and "
    "anyone feeding a child, asks the prescribing physician and dietitian first."
)
STRONG_CAUTION = (
    "At 3:1 and above this is the range of prescribed ketogenic therapy: it is used only under a physician "
    "and dietitian who have ordered this ratio, with their own composition figures. A published ratio holds "
    "only with the figures it was computed from."
)
STRONG_FROM = Fraction(3)

SHORT_CAUTIONS = (
    "no medical advice; physician and dietitian first",
    "no medical advice; at 3:1 and above only under a physician and dietitian who ordered this ratio",
)
"""For a cell beside figures: the usual caution, and the stronger one."""


def cautions(recipe: Recipe, facts: Facts | None) -> tuple[str, ...]:
    """Cautions that go with a stated ratio; stronger from 3:1 up, or where there is no finite ratio."""
    target = recipe.target(RATIO)
    wanted = max((end for end in (target.minimum, target.maximum) if end is not None), default=0.0) if target else 0
    reached = facts is not None and (facts.ratio is None or facts.ratio >= STRONG_FROM)
    return (CAUTION, STRONG_CAUTION) if reached or wanted >= STRONG_FROM else (CAUTION,)


def warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: bool = False) -> tuple[str, ...]:
    """Targets that no longer hold, and figures that are missing where they matter to what is stated."""
    used = [i for i, weight in zip(recipe.ingredients, weights, strict=True) if weight or i.adjustable]
    found = []
    found.extend(_fibre_warnings(recipe, used))
    for target in recipe.targets:
        if target.nutrient == RATIO or target.nutrient == "fibre_g":
            continue
        missing = [i.label for i in used if _unknown(target.nutrient, i.food.amounts)]
        if missing:
            found.append(f"{spoken(target.nutrient)} is unknown for {', '.join(missing)} and counts as none")
    unknown_allergens = [i.label for i in used if i.food.allergens is None]
    if unknown_allergens:
        found.append(f"allergens are unknown for {', '.join(unknown_allergens)}: read the label")
    if guaranteed:
        points = [said for i in used if (said := _taken_as_exact(recipe, i))]
        if points:
            found.append(f"no interval in the table for {', '.join(points)}: taken as exact")
    return (*recipe.remarks, *found, *preparation_warnings(recipe, weights))


def _taken_as_exact(recipe: Recipe, item: Ingredient) -> str:
    """An ingredient and which of its figures that the targets use have no interval; empty where all have one.

    A figure of none needs no interval.
    """
    terms = RATIO_TERMS[recipe.policy.ratio_formula]
    columns = dict.fromkeys(
        column for target in recipe.targets
        for column in ((*terms[0], *terms[1]) if target.nutrient == RATIO else (target.nutrient,)))
    figures = {column: [content(item.food, column, recipe.policy, end) for end in ("", "low", "high")]
               for column in columns}
    points = [column for column, ends in figures.items() if ends[0] and len(set(ends)) == 1]
    if not points:
        return ""
    some = any(len(set(ends)) > 1 for ends in figures.values())
    return f"{item.label} ({', '.join(spoken(column) for column in points)})" if some else item.label


def _fibre_warnings(recipe: Recipe, used: Sequence[Ingredient]) -> list[str]:
    """Unknown fibre: net carbs can be lower where the table's carbs include it; else total carbs can be higher."""
    ratio = ", the ratio at most" if recipe.policy.ratio_formula == "total" else ""
    found = []
    for basis, so in (("by_difference", "net carbs can only be lower"),
                      ("available", f"total carbs and fibre are at least what is stated{ratio}")):
        unknown = [i.label for i in used if FIBRE not in i.food.amounts and i.food.basis == basis]
        if unknown:
            found.append(f"fibre is unknown for {', '.join(unknown)} and counts as none: {so}")
    return found


def _unknown(column: str, amounts: object) -> bool:
    derived = ("net_carbs_g", "energy_kcal", "carbs_g", "polyols_g", "erythritol_g", "allulose_g", "alcohol_g")
    return column not in derived and isinstance(amounts, dict) and column not in amounts


def allergens(recipe: Recipe, weights: Sequence[Fraction]) -> tuple[str, ...]:
    """Allergens of the ingredients that are used, in the order of the alphabet."""
    return tuple(sorted({
        allergen
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True) if weight
        for allergen in ingredient.food.allergens or ()
    }))


def allergens_unknown(recipe: Recipe, weights: Sequence[Fraction]) -> tuple[str, ...]:
    """Labels of the ingredients that are used and whose allergens the table does not tell."""
    return tuple(
        ingredient.label
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True)
        if weight and ingredient.food.allergens is None
    )


def allergen_words(known: Iterable[str], unknown: Iterable[str]) -> str:
    """Allergens as they are told everywhere: "none known" only where they are known of every ingredient.

    >>> allergen_words(["eggs", "milk"], ["dumpling meal"]), allergen_words([], [])
    ('eggs, milk; unknown for dumpling meal: read the label', 'none known')
    """
    named, missing = ", ".join(known), ", ".join(unknown)
    if not missing:
        return named or "none known"
    return "; ".join(filter(None, (named, f"unknown for {missing}: read the label")))


def short_caution(told: Sequence[str]) -> str:
    """The cautions that go with an answer, short enough for a cell."""
    return SHORT_CAUTIONS[len(told) > 1]
