"""A card as structured data: a Recipe with NutritionInformation in the vocabulary of schema.org, as JSON-LD.

Figures are per serving and have their units. What is not wholly known is left out, and so is what the vocabulary has no
word for: the ratio and the net carbohydrate stand in the description, with the caution.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.check import DishAtWeights
from ratio_solver.dish.label import used
from ratio_solver.dish.nutrition import Facts
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.dish_text import fact
from ratio_solver.output.numbers import short, visible
from ratio_solver.recipe.model import Ingredient
from ratio_solver.tools.card.claims import stated_ratio
from ratio_solver.tools.card.lines import food_beside, grams_text

CONTEXT = "https://schema.org"

NUTRITION = (
    ("calories", "energy_kcal", "kcal", 0), ("carbohydrateContent", "carbs_g", "g", 2),
    ("fiberContent", "fibre_g", "g", 2), ("sugarContent", "sugars_g", "g", 2), ("fatContent", "fat_g", "g", 2),
    ("saturatedFatContent", "saturated_g", "g", 2), ("transFatContent", "trans_g", "g", 2),
    ("cholesterolContent", "cholesterol_mg", "mg", 0), ("sodiumContent", "sodium_mg", "mg", 0),
    ("proteinContent", "protein_g", "g", 2),
)
"""Property of NutritionInformation, column, unit and decimals; "calories" is an Energy, the others a Mass: text of a
number and its unit."""

UNSAFE = {ord(letter): f"\\u{ord(letter):04x}" for letter in "<>&\u2028\u2029"}
"""What could end the element that the data stand in, or a line of a program that reads them."""

Data = dict[str, object]


def recipe_data(dish: DishAtWeights) -> Data:
    """The dish as schema.org has it: what is not told has no key.

    Parameters
    ----------
    dish : Proposal or Check
    """
    recipe, facts, told = dish.recipe, dish.facts, dish.recipe.presentation
    times, size = dict(told.times), facts.weight if facts.cooked is None else facts.cooked
    found: Data = {
        "@context": CONTEXT,
        "@type": "Recipe",
        "name": recipe.title,
        "description": _description(dish),
        "inLanguage": told.language,
        "author": {"@type": "Person", "name": told.author} if told.author else None,
        "recipeYield": told.yield_text or f"{recipe.servings} {'serving' if recipe.servings == 1 else 'servings'}",
        "prepTime": duration(times.get("prep")),
        "cookTime": duration(times.get("cook")),
        "totalTime": duration(sum(times.values()) if times else None),
        "recipeIngredient": [ingredient_text(*pair) for pair in used(recipe, dish.grams_of_each)],
        "recipeInstructions": [{"@type": "HowToStep", "position": place, "text": step}
                               for place, step in enumerate(recipe.method, 1)] or None,
        "nutrition": {"@type": "NutritionInformation", "servingSize": f"{short(size, 1)} g",
                      **dict(_figures(facts))},
    }
    return {key: value for key, value in found.items() if value is not None}


def _description(dish: DishAtWeights) -> str:
    """The cook's note, and what the vocabulary has no word for as it stands on the card, with the caution."""
    reckoned = f"Ratio {stated_ratio(dish)}{dish.recipe.policy.formula}"
    if NET_CARBS in dish.facts.amounts:
        reckoned += f", net carbs {fact(dish.facts, NET_CARBS, dish.limits)} a serving"
    return " ".join(filter(None, (dish.recipe.note, f"{reckoned}; {in_a_cell(dish.cautions)}.")))


def ingredient_text(item: Ingredient, grams: Fraction) -> str:
    """An ingredient of the batch in one line: "568 g cauliflower, boiled"."""
    return f"{grams_text(grams)} g {', '.join(filter(None, (item.label, food_beside(item.label, item.food.name))))}"


def _figures(facts: Facts) -> Iterator[tuple[str, str]]:
    """Figures of a serving that are known of every ingredient."""
    for name, column, unit, decimals in NUTRITION:
        if column in facts.amounts and column not in facts.unknown:
            yield name, f"{_number(facts.amounts[column], decimals)} {unit}"


def _number(amount: Fraction, decimals: int) -> str:
    return visible(amount, decimals) if amount else "0"


def duration(minutes: int | None) -> str | None:
    """Minutes as a duration by ISO 8601.

    >>> duration(75), duration(0), duration(None)
    ('PT1H15M', 'PT0M', None)
    """
    if minutes is None:
        return None
    hours, rest = divmod(minutes, 60)
    return "PT" + (f"{hours}H" if hours else "") + (f"{rest}M" if rest or not hours else "")


def as_jsonld(data: object, indent: int | None = None) -> str:
    r"""JSON that may stand inside a page: nothing in it ends its element.

    >>> as_jsonld({"name": "</script>\u2028"})
    '{"name": "\\u003c/script\\u003e\\u2028"}'
    """
    return json.dumps(data, allow_nan=False, indent=indent).translate(UNSAFE)
