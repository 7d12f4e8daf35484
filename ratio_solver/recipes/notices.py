"""What a reader of the figures must be told: unknown figures, allergens, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from ratio_solver.foods.content import ZERO
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import NET_CARBS, spoken, unit_of
from ratio_solver.recipes.alcohol import alcohol_warnings
from ratio_solver.recipes.facts import Facts
from ratio_solver.recipes.intervals import interval_notes, most_weights
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

BY_GRAMS_CAUTION = f"By fat : (protein + net carbs) a serving is at 3:1 or above. {STRONG_CAUTION}"
"""The same where the recipe's own formula gives less: its reader must not think that it is about another dish."""

LARGE_SHARE = 5.0
"""From here on a share of one group beside another is asked about: 8 may mean eight times as much, or 8 %."""

SHORT_CAUTIONS = (
    "no medical advice; physician and dietitian first",
    "no medical advice; at 3:1 and above only under a physician and dietitian who ordered this ratio",
)
"""For a cell beside figures: the usual caution, and the stronger one."""


def cautions(recipe: Recipe, *servings: Facts) -> tuple[str, ...]:
    """Cautions that go with a stated ratio; stronger from 3:1 up, or where there is no finite ratio.

    The ratio by the recipe's formula counts, wanted or reached, and so does fat : (protein + net carbs), by which
    therapy is prescribed: of total carbs, or as a quotient, the same dish has a lower figure. Compared exactly.

    Parameters
    ----------
    recipe : Recipe
    servings : Facts
        Of every serving that the report is about; none where there are no weights.
    """
    target = recipe.target(RATIO)
    wanted = max((end for end in (target.minimum, target.maximum) if end is not None), default=0.0) if target else 0
    if wanted >= STRONG_FROM or any(facts.ratio is None or facts.ratio >= STRONG_FROM for facts in servings):
        return CAUTION, STRONG_CAUTION
    return (CAUTION, BY_GRAMS_CAUTION) if any(map(_strong_by_grams, servings)) else (CAUTION,)


def _strong_by_grams(facts: Facts) -> bool:
    """Whether a serving's fat : (protein + net carbs), grams, is that of therapy, whatever formula the recipe has."""
    fat, protein, net = (facts.amounts.get(column, ZERO) for column in ("fat_g", "protein_g", NET_CARBS))
    return fat >= STRONG_FROM * (protein + net)


def warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None,
             settled: bool = True, added: Sequence[Food] = ()) -> tuple[str, ...]:
    """Targets that no longer hold, figures that are missing where they matter, and the alcohol that a serving holds.

    `settled` says that the weights are those of a dish: without, nothing is told that has a figure of its serving;
    `added` are foods that are tried beside the ingredients.
    """
    used = [i for i, weight in zip(recipe.ingredients, weights, strict=True) if weight or i.adjustable]
    found = []
    found.extend(_fibre_warnings(recipe, used))
    for target in recipe.targets:
        if target.nutrient == RATIO or target.nutrient == "fibre_g":
            continue
        column = target.nutrient
        lacking = [i for i in used if _unknown(column, i.food.amounts)]
        missing = [i.label for i in lacking if column not in i.food.high]
        below = [f"{i.food.high[column]:g} {unit_of(column)} in 100 g of {i.label}" for i in lacking
                 if column in i.food.high]
        if missing:
            found.append(f"{spoken(column)} is unknown for {', '.join(missing)} and counts as none")
        if below:
            found.append(f"{spoken(column)} is only known to be at most {', '.join(below)}: a maximum counts it as "
                         f"that, a minimum as none")
    unknown_allergens = [i.label for i in used if i.food.allergens is None]
    if unknown_allergens:
        found.append(f"allergens are unknown for {', '.join(unknown_allergens)}: read the label")
    found.extend(interval_notes(recipe, weights if settled else most_weights(recipe), guaranteed, added))
    found.extend(_idle_warnings(recipe))
    alcohol = alcohol_warnings(recipe, weights, guaranteed=guaranteed) if settled else ()
    return (*recipe.remarks, *found, *alcohol, *preparation_warnings(recipe, weights))


def _idle_warnings(recipe: Recipe) -> list[str]:
    """Groups that are hardly meant as they are written: shares that look like per cent, a choice of all there is."""
    shares = [(share, end) for share in recipe.proportions for end in (share.minimum, share.maximum)
              if end is not None and end >= LARGE_SHARE]
    found = [f"{share.of_name} in {share.to_name} is held to {end:g}, which is {100 * end:g} %; 8 % is written 0.08"
             for share, end in shares]
    return found + [f"the choice of {choose.at_most} from {', '.join(choose.labels)} allows them all"
                    for choose in recipe.chooses if choose.at_most >= len(choose.labels)]


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
