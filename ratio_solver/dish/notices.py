"""What a reader of the figures must be told: unknown figures, allergens, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from ratio_solver.dish.alcohol import alcohol_warnings
from ratio_solver.dish.cautions import BY_GRAMS, STRONG, WHOLE
from ratio_solver.dish.constraints import FIBRE
from ratio_solver.dish.intervals import interval_notes, most_weights
from ratio_solver.dish.most import most_warnings
from ratio_solver.dish.nutrition import Facts
from ratio_solver.dish.preparation import preparation_warnings
from ratio_solver.exact import ZERO
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, NONE_IF_BLANK, spoken, unit_of
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe

STRONG_FROM = Fraction(3)

LARGE_SHARE = 5.0
"""From here on a share of one group beside another is asked about: 8 may mean eight times as much, or 8 %."""

ALLERGENS_ARE = "allergens are "
NOT_KNOWN = "not known: read the label"
"""What is said of the allergens of one food that the table does not tell."""


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
        return *WHOLE, STRONG
    return (*WHOLE, BY_GRAMS) if any(map(_strong_by_grams, servings)) else WHOLE


def _strong_by_grams(facts: Facts) -> bool:
    """Whether a serving's fat : (protein + net carbs), grams, is that of therapy, whatever formula the recipe has."""
    fat, protein, net = (facts.amounts.get(column, ZERO) for column in ("fat_g", "protein_g", NET_CARBS))
    return fat >= STRONG_FROM * (protein + net)


def warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None,
             settled: bool = True, added: Sequence[Food] = ()) -> tuple[str, ...]:
    """Targets that no longer hold, figures that are missing where they matter, and what a person must know who eats it.

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
    unknown_allergens = [i.label for i, weight in zip(recipe.ingredients, weights, strict=True)
                         if i.food.allergens_unknown and (weight or (not settled and i.maximum))]
    if unknown_allergens:
        found.append(allergen_warning(unknown_allergens))
    found += [f"{', '.join(i.food.dropped)}: the row for {i.label} says that it has none, the one that it replaces has"
              for i in used if i.food.dropped]
    found.extend(interval_notes(recipe, weights if settled else most_weights(recipe), guaranteed, added))
    found.extend(_idle_warnings(recipe))
    eaten = eating_warnings(recipe, weights, guaranteed=guaranteed) if settled else ()
    return (*recipe.remarks, *found, *eaten, *preparation_warnings(recipe, weights, settled=settled))


def eating_warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None) -> tuple[str, ...]:
    """What whoever eats a serving must know of it: what is beyond the most that a person may eat, and alcohol."""
    return (*most_warnings(recipe, weights, guaranteed=guaranteed),
            *alcohol_warnings(recipe, weights, guaranteed=guaranteed))


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
    derived = (NET_CARBS, ENERGY, "carbs_g", *NONE_IF_BLANK)
    return column not in derived and isinstance(amounts, dict) and column not in amounts


def allergens(recipe: Recipe, weights: Sequence[Fraction]) -> tuple[str, ...]:
    """Allergens of the ingredients that are used, in the order of the alphabet."""
    return tuple(sorted({
        allergen
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True) if weight
        for allergen in ingredient.food.allergens or ()
    }))


def allergens_unknown(recipe: Recipe, weights: Sequence[Fraction]) -> tuple[str, ...]:
    """Labels of the ingredients that are used and of whose allergens the table does not tell all."""
    return tuple(
        ingredient.label
        for ingredient, weight in zip(recipe.ingredients, weights, strict=True)
        if weight and ingredient.food.allergens_unknown
    )


def allergen_words(known: Iterable[str], unknown: Iterable[str]) -> str:
    """Allergens as they are told everywhere: "none known" only where they are known of every ingredient.

    >>> allergen_words(["eggs", "milk"], ["dumpling meal"]), allergen_words([], [])
    ('eggs, milk; not known for dumpling meal: read the label', 'none known')
    """
    named, missing = ", ".join(known), list(unknown)
    if not missing:
        return named or "none known"
    return "; ".join(filter(None, (named, not_known(missing))))


def not_known(labels: Iterable[str]) -> str:
    """What is said everywhere of ingredients of whose allergens the table does not tell all."""
    return f"not known for {', '.join(labels)}: read the label"


def allergen_warning(labels: Iterable[str]) -> str:
    """The same as a warning, where no line of allergens says it."""
    return f"{ALLERGENS_ARE}{not_known(labels)}"


def allergens_of_food(food: Food) -> str:
    """The allergens of one food, in the same words.

    >>> allergens_of_food(Food("salsa", "salsa", "available", {}, allergens=("celery",), allergens_complete=False))
    'celery; others not known: read the label'
    """
    named = ", ".join(food.allergens or ())
    if not food.allergens_unknown:
        return named or "none known"
    return f"{named}; others {NOT_KNOWN}" if named else NOT_KNOWN
