"""What a reader of the figures must be told: unknown figures, allergens, heat, alcohol and the like."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from ratio_solver.dish.confidence import interval_notes, most_weights
from ratio_solver.dish.constraints import bound_of_unknown
from ratio_solver.dish.most import NOISE_DECIMALS, most_warnings
from ratio_solver.dish.nutrition import alcohol_per_serving, cooked_batch, dry_matter, known_wholly, ratio_at
from ratio_solver.exact import ZERO, cut_down, exact
from ratio_solver.foods.content import content
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.heat import after_heat, bundled_yields
from ratio_solver.foods.nutrients import CARBS, ENERGY, FIBRE, NET_CARBS, NONE_IF_BLANK, WEIGHT, spoken, unit_of
from ratio_solver.foods.quantities import CARBS_ENERGY, RATIO, quantity_of
from ratio_solver.foods.unknown import Between
from ratio_solver.recipe.heat import fat_in_doubt, share_told
from ratio_solver.recipe.model import Ingredient, Recipe

LARGE_SHARE = 5.0
"""From here on a share of one group beside another is asked about: 8 may mean eight times as much, or 8 %."""

ALLERGENS_ARE = "allergens are "
NONE_KNOWN = "none known"
NOT_KNOWN = "not known: read the label"
"""What is said of allergens of which all are known and there are none, and of those that the table does not tell."""

NEVER_TOLD = (RATIO, FIBRE, NET_CARBS, ENERGY, CARBS, CARBS_ENERGY, WEIGHT, *NONE_IF_BLANK)
"""What targets count whose unknown figures are derived, stand for none, or are told of in words of their own."""

ALCOHOL_FROM = Fraction(1, 10)
"""Grams in one serving from which alcohol is told of: the least that a figure of one decimal shows."""


def warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None,
             settled: bool = True, eating: bool = True, added: Sequence[Food] = ()) -> tuple[str, ...]:
    """Targets that no longer hold, figures that are missing where they matter, and what a person must know who eats it.

    `settled` says that the weights are those of a dish: without, nothing is told that has a figure of its serving;
    `eating` that what is eaten is the recipe's own serving; `added` are foods that are tried beside the ingredients.
    """
    pairs = list(zip(recipe.ingredients, weights, strict=True))
    used = [(item, weight) for item, weight in pairs if weight or item.adjustable]
    items = [item for item, _ in used]
    allergens_untold = [item.label for item, weight in pairs
                        if item.food.allergens_unknown and (weight or (not settled and item.maximum))]
    return (
        *recipe.remarks,
        *_fibre_warnings(recipe, [item for item, weight in used if weight or not settled]),
        *_unknown_warnings(recipe, items),
        *([allergen_warning(allergens_untold)] if allergens_untold else []),
        *(f"{', '.join(item.food.dropped)}: the row for {item.label} says that it has none, the one that it replaces "
          "has" for item in items if item.food.dropped),
        *interval_notes(recipe, weights if settled else most_weights(recipe), guaranteed, added),
        *_idle_warnings(recipe),
        *(eating_warnings(recipe, weights, guaranteed=guaranteed) if settled and eating else ()),
        *(f"{item.label}: {item.measure_note}" for item in items if item.measure_note),
        *(f"{item.label}: {item.yield_note}" for item in items if item.yield_note),
        *_heat_warnings(recipe, weights, settled),
        *_piece_warnings(used),
        *_batch_warnings(recipe, weights),
    )


def eating_warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None) -> tuple[str, ...]:
    """What whoever eats a serving must know of it: what is beyond the most that a person may eat, and alcohol."""
    return (*most_warnings(recipe, weights, guaranteed=guaranteed),
            *alcohol_warnings(recipe, weights, guaranteed=guaranteed))


def alcohol_warnings(recipe: Recipe, weights: Sequence[Fraction], *, guaranteed: Guaranteed = None) -> tuple[str, ...]:
    """What one serving holds at most, rounded up to a tenth of a gram; nothing where it is under `ALCOHOL_FROM`.

    A guest who may have none must be told, whatever the pot takes away. How much stays in the dish depends on how and
    how long it cooks: from a few per cent after hours to most of it where it is only stirred in (from memory: J.
    Augustin and others, Alcohol retention in food preparation, J Am Diet Assoc 92:486, 1992). So all that went in is
    told.
    """
    grams = alcohol_per_serving(recipe, weights, guaranteed=guaranteed)
    if grams < ALCOHOL_FROM:
        return ()
    tenths = math.ceil(round(grams, NOISE_DECIMALS) * 10)
    return (f"one serving holds up to {tenths / 10:.1f} g of alcohol; cooking takes away some of it, not all",)


def told_columns(key: str) -> tuple[str, ...]:
    """The columns that a target counts of which it is told where a figure is unknown."""
    return () if key in NEVER_TOLD else tuple(c for c in quantity_of(key).columns if c not in NEVER_TOLD)


def _unknown_warnings(recipe: Recipe, used: Sequence[Ingredient]) -> Iterator[str]:
    """Figures that a target counts and a table does not have, or of which it only says that they are below so much."""
    for column in dict.fromkeys(column for target in recipe.targets for column in told_columns(target.nutrient)):
        lacking = [item for item in used if content(item.food, column, recipe.policy) is None]
        bounded = _bounded(recipe, column, lacking)
        missing = [item.label for item in lacking if column not in item.food.high and item.label not in bounded]
        below = [f"{item.food.high[column]:g} {unit_of(column)} in 100 g of {item.label}" for item in lacking
                 if column in item.food.high]
        if missing:
            yield f"{spoken(column)} is unknown for {', '.join(missing)} and counts as none"
        if bounded:
            ends = ", ".join(f"{float(found.high or 0):g} {unit_of(column)} in 100 g of {label} ({found.because})"
                             for label, found in bounded.items())
            yield f"{spoken(column)} is unknown and at most {ends}: a maximum counts it as that, a minimum as none"
        if below:
            yield (f"{spoken(column)} is only known to be at most {', '.join(below)}: a maximum counts it as that, a "
                   "minimum as none")


def _bounded(recipe: Recipe, column: str, lacking: Sequence[Ingredient]) -> dict[str, Between]:
    """What an unknown figure can be at most where a maximum, or a quotient, counts it so, by ingredient."""
    counted = any(target.maximum is not None or quantity_of(target.nutrient).quotient for target in recipe.targets
                  if column in quantity_of(target.nutrient).columns)
    if not counted or column in recipe.policy.unknown_as_zero:
        return {}
    found = {item.label: bound_of_unknown(item.food, column) for item in lacking if column not in item.food.high}
    return {label: bound for label, bound in found.items() if bound is not None and bound.high}


def _idle_warnings(recipe: Recipe) -> Iterator[str]:
    """Groups that are hardly meant as they are written: shares that look like per cent, a choice of all there is."""
    for share in recipe.proportions:
        for end in (share.minimum, share.maximum):
            if end is not None and end >= LARGE_SHARE:
                yield (f"{share.of_name} in {share.to_name} is held to {end:g}, which is {100 * end:g} %; 8 % is "
                       "written 0.08")
    for choose in recipe.chooses:
        if choose.at_most >= len(choose.labels):
            yield f"the choice of {choose.at_most} from {', '.join(choose.labels)} allows them all"


def _fibre_warnings(recipe: Recipe, used: Sequence[Ingredient]) -> Iterator[str]:
    """Unknown fibre: net carbs can be lower where the table's carbs include it; else total carbs can be higher.

    So can energy by factors, which then lacks that of the fibre.
    """
    ratio = ", the ratio at most" if recipe.policy.ratio_formula == "total" else ""
    whole = {item.label: known for item, known in zip(recipe.ingredients, known_wholly(recipe, ENERGY), strict=True)}
    least = "total carbs and fibre" if all(whole[item.label] for item in used) else "total carbs, fibre and energy"
    for basis, so in (("by_difference", "net carbs can only be lower"),
                      ("available", f"{least} are at least what is stated{ratio}")):
        unknown = [item.label for item in used if FIBRE not in item.food.amounts and item.food.basis == basis]
        if unknown:
            yield f"fibre is unknown for {', '.join(unknown)} and counts as none: {so}"


def _heat_warnings(recipe: Recipe, weights: Sequence[Fraction], settled: bool) -> Iterator[str]:
    """Meat whose fat counts though it may leave the dish, and what that would make of the ratio."""
    cooks = recipe.finished_grams is not None or recipe.cooking_loss is not None
    ways = {place: way for place, (item, weight) in enumerate(zip(recipe.ingredients, weights, strict=True))
            if (weight or item.adjustable) and (way := fat_in_doubt(item, cooks)) and way.fat_left < 1}
    if not ways:
        return
    doubts = [(recipe.ingredients[place], way) for place, way in ways.items()]
    labels = ", ".join(item.label for item, _ in doubts)
    found = f"{labels}: fat that runs out in the heat counts as if it stayed in the dish"
    if settled:
        dripped = replace(recipe, ingredients=tuple(
            replace(item, food=after_heat(item.food, ways[place].fat_left)) if place in ways else item
            for place, item in enumerate(recipe.ingredients)))
        now, then = _ratio_words(recipe, weights), _ratio_words(dripped, weights)
        if now == then:
            return
        left = "; ".join(
            f"{item.label} {share_told(way.fat_left)}"
            f"{' when' if way in bundled_yields().of(item.food) else f', as {way.food}'} {way.prepared}"
            for item, way in doubts)
        found += f": the ratio is {now}, and {then} where only the least known of it stays ({left})"
    if any(item.drippings is None and item.yield_ == 1 for item, _ in doubts):
        found += '; drippings = "kept" or "lost" says which'
    yield found


def _ratio_words(recipe: Recipe, weights: Sequence[Fraction]) -> str:
    ratio = ratio_at(recipe, weights)
    return "without end" if ratio is None else f"{float(cut_down(ratio, 2)):.2f}:1"


def _piece_warnings(used: Sequence[tuple[Ingredient, Fraction]]) -> Iterator[str]:
    """Fixed weights that are no whole pieces; then bowls that hold no whole number of pieces or steps."""
    for item, weight in used:
        if item.piece and not item.adjustable and weight % exact(item.piece):
            yield (f"{item.label} is no whole number of pieces: {float(weight):g} g is "
                   f"{float(weight / exact(item.piece)):.4g} of {item.piece:g} g")
    for item, _ in used:
        size = item.piece or item.step or 1
        if item.adjustable and exact(item.in_bowl) % exact(size):
            unit = f"pieces of {size:g} g" if item.piece else f"steps of {size:g} g"
            yield (f"{item.label}: the {item.in_bowl:g} g in the bowl are no whole number of {unit}; "
                   "what is added is")


def _batch_warnings(recipe: Recipe, weights: Sequence[Fraction]) -> Iterator[str]:
    """A finished batch that weighs less than what cannot boil away, or more than went in."""
    cooked = cooked_batch(recipe, weights)
    if cooked is None:
        return
    batch = sum(weights, ZERO)
    if batch and cooked < (dry := dry_matter(recipe, weights)):
        yield (f"the finished batch of {float(cooked):g} g is less than its dry matter, {float(dry):.0f} g: more than "
               "water has left it, so the figures are those of what went in")
    if recipe.finished_grams is not None and cooked > batch > 0:
        yield f"the finished batch of {float(cooked):g} g weighs more than the {float(batch):g} g that went in"


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


def allergen_words(known: Iterable[str], unknown: Iterable[str], parted: str = ", ") -> str:
    """Allergens as they are told everywhere: "none known" only where they are known of every ingredient.

    `parted` stands between them.

    >>> allergen_words(["eggs", "milk"], ["dumpling meal"]), allergen_words([], [])
    ('eggs, milk; not known for dumpling meal: read the label', 'none known')
    """
    named, missing = parted.join(known), list(unknown)
    if not missing:
        return named or NONE_KNOWN
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
        return named or NONE_KNOWN
    return f"{named}; others {NOT_KNOWN}" if named else NOT_KNOWN
