"""The part of a card that a label would have: declared figures, ingredients by weight, allergens, statements.

Its layout is our own: no official panel is drawn, and it is no legal advice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.dish.check import DishAtWeights
from ratio_solver.dish.label import by_weight, used
from ratio_solver.dish.notices import not_known
from ratio_solver.foods.label_rules import EU_NITROGEN, NITROGEN_PROTEIN
from ratio_solver.output.blocks import weight_text
from ratio_solver.output.numbers import short
from ratio_solver.recipe.model import Recipe
from ratio_solver.tools.card.declared import Declared, declared, polyol_statement

COMPLETE = ("The ratio is reckoned before rounding: rounded figures do not give it. This is a help for whoever makes a "
            "label, not legal advice: local labelling law comes first.")

LABEL_NOTES = {
    "us": (
        "Rounded per serving by FDA, A Food Labeling Guide, Appendix H (2009); protein, polyols, cholesterol, sodium, "
        "vitamins, minerals and daily values by 21 CFR 101.9, from memory. Carbohydrate includes fibre. Energy by the "
        "factors 4, 4 and 9, each polyol by its own and fibre 2 unless it is known to be insoluble, so it differs from "
        "the energy above where that has other factors.",
        COMPLETE,
    ),
    "eu": (
        "Energy by the factors of Regulation (EU) 1169/2011, Annex XIV, so it differs from the energy above where that "
        "has other factors; carbohydrate without fibre and with polyols, protein as nitrogen times 6.25, salt as "
        "sodium times 2.5, by its Annex I; order by its Annex XV. Rounded by the Commission's guidance of December "
        "2012, not checked against its text.",
        COMPLETE,
    ),
}

ALLERGEN_LISTS = {
    # from memory; coconut: the FDA's guidance on allergens of January 2025 no longer counts it
    "us": "They follow the list of Regulation (EU) No 1169/2011, Annex II, not that of US law: tree nuts that only US "
          "labelling names, such as pine nut and, until 2025, coconut (from memory), are not in it.",
}

US_ALLERGENS: Mapping[str, str] = MappingProxyType({
    "milk": "milk", "eggs": "egg", "fish": "fish (name its kind)",
    "crustaceans": "crustacean shellfish (name its kind)",
    "nuts": "tree nuts (name their kind)", "peanuts": "peanuts", "soybeans": "soy", "sesame": "sesame",
    "gluten": "wheat, if the cereal is wheat",
})
"""Major allergens of US law (21 USC 321(qq), from memory) by the names of the tables; the others are none there."""

SWEETENER, SUGAR = "sweetener", "sugar"

Shown = Mapping[str, object]


def label_shown(dish: DishAtWeights, rules: str) -> Shown:
    """Everything that the label's part of a card shows."""
    recipe, grams = dish.recipe, dish.grams_of_each
    figures = declared(recipe, grams, rules)
    return {
        "rules": rules,
        "size": _serving_size(dish),
        "other": "in 100 g" if rules == "eu" else "daily value",
        "rows": [{"name": figure.name, "value": figure.shown, "inner": figure.inner, "other": _other(figure, rules)}
                 for figure in figures],
        "notes": [*_open_figures(figures), *_finished_weight(recipe, rules), *_nitrogen(recipe, grams, rules),
                  *LABEL_NOTES[rules]],
        "ingredients": list(_ingredients(recipe, grams)),
        "statements": [*sweetener_statement(recipe, grams, rules),
                       *(polyol_statement(recipe, grams) if rules == "eu" else ()), *_contains(dish, rules)],
        "allergens": ALLERGEN_LISTS.get(rules, ""),
    }


def _other(figure: Declared, rules: str) -> str:
    """The second column: 100 g of the finished dish, or percent of the daily value."""
    if rules == "us":
        return figure.daily
    return figure.per_100_g or "not known"


def _serving_size(dish: DishAtWeights) -> str:
    """A serving in a measure of the household and in grams, of the finished dish where its weight is told."""
    recipe, facts = dish.recipe, dish.facts
    weight = facts.weight if facts.cooked is None else facts.cooked
    measure = "the whole dish" if recipe.servings == 1 else f"1/{recipe.servings} of the dish"
    if recipe.pieces:
        measure = f"{recipe.pieces} {'piece' if recipe.pieces == 1 else 'pieces'}"
    return f"{measure} ({weight_text(weight)} g)"


def _open_figures(figures: Iterable[Declared]) -> Iterator[str]:
    """Figures that are not one number: of which ingredients they are unknown, and what bounds them."""
    alike: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for figure in figures:
        if figure.unknown:
            alike.setdefault(tuple(figure.because.items()), []).append(figure.name.removeprefix("of which "))
    for unknown, names in alike.items():
        reasons: dict[str, list[str]] = {}
        for label, because in unknown:
            reasons.setdefault(because, []).append(label)
        told = "; ".join(", ".join(labels) + (f" ({because})" if because else "")
                         for because, labels in reasons.items())
        yield f"Not known in full: {', '.join(names)}. The tables lack it for {told}."


def _finished_weight(recipe: Recipe, rules: str) -> Iterator[str]:
    """That 100 g are of what goes in, where the recipe does not tell what comes out."""
    if rules == "eu" and recipe.finished_grams is None and recipe.cooking_loss is None:
        yield ("100 g are of what goes in: the recipe does not tell the finished weight (finished_grams, "
               "cooking_loss), of which 100 g hold more where cooking takes water.")


def _nitrogen(recipe: Recipe, grams: Sequence[Fraction], rules: str) -> Iterator[str]:
    """Whose protein is reckoned back to nitrogen, and whose stands as its table has it."""
    if rules != "eu":
        return
    items = [item for item, _ in used(recipe, grams)
             if NITROGEN_PROTEIN not in item.food.amounts and item.food.amounts.get("protein_g")]
    other = [f"{item.label} {item.food.nitrogen_factor:g}" for item in items
             if item.food.nitrogen_factor not in (None, float(EU_NITROGEN))]
    untold = [item.label for item in items if item.food.nitrogen_factor is None]
    if other:
        yield f"In the table protein is nitrogen times another factor than 6.25 of {', '.join(other)}."
    if untold:
        yield f"The factor is not told for {', '.join(untold)}: the protein stands as the table has it."


def _ingredients(recipe: Recipe, grams: Sequence[Fraction]) -> Iterator[Shown]:
    """The list of ingredients in descending weight, each with its allergens, and its percentage where that is asked."""
    total = sum(grams)
    for item, weight in by_weight(recipe, grams):
        share = f" {short(weight / total * 100, 0)} %" if item.label in recipe.presentation.percent_of else ""
        yield {"name": f"{item.label}{share}", "allergens": ", ".join(item.food.allergens or ()),
               "unknown": item.food.allergens_unknown}


def sweetener_statement(recipe: Recipe, grams: Sequence[Fraction], rules: str) -> tuple[str, ...]:
    """What goes with the name of a food with sweeteners: Regulation (EU) 1169/2011, Annex III (from memory)."""
    roles = {item.food.role for item, _ in used(recipe, grams)}
    if rules != "eu" or SWEETENER not in roles:
        return ()
    return ("With sugar(s) and sweetener(s)." if SUGAR in roles else "With sweetener(s).",)


def _contains(dish: DishAtWeights, rules: str) -> Iterator[str]:
    """The statement of allergens of a US label."""
    if rules != "us":
        return
    named = [US_ALLERGENS[allergen] for allergen in dish.allergens if allergen in US_ALLERGENS]
    unknown = not_known(dish.allergens_unknown) if dish.allergens_unknown else ""
    if named or unknown:
        yield f"Contains: {'; '.join(filter(None, (', '.join(named), unknown)))}."
