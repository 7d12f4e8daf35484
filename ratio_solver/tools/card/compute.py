"""The card of a dish: one printable page for the kitchen and for the reader, without anything from elsewhere.

What stands on it is text: nothing is left to reckon or to round for the page that shows it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from importlib.resources import files
from typing import Any

from ratio_solver.dish.cautions import is_strong
from ratio_solver.dish.check import Check, DishAtWeights
from ratio_solver.dish.confidence import guaranteed_for, kept_for
from ratio_solver.dish.most import most_warnings
from ratio_solver.dish.notices import alcohol_warnings, allergen_warning, not_known
from ratio_solver.dish.nutrition import left_out
from ratio_solver.dish.status import LimitState
from ratio_solver.errors import BadInput, Fault, shown, written_out
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.label_rules import LABELS
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.quantities import quantity_of
from ratio_solver.output.blocks import batch_line, limit_words, weight_text
from ratio_solver.output.dish_text import broken_words, fact
from ratio_solver.output.numbers import ratio, short, visible
from ratio_solver.recipe.model import RATIO, Ingredient
from ratio_solver.tools.card.declared import declared, polyol_statement

LABEL_CHOICES = ("none", *LABELS)

FACTS = ("carbs_g", "fibre_g", "soluble_fibre_g", "insoluble_fibre_g", NET_CARBS, "fat_g", "protein_g",
         "energy_kcal")
INNER_FACTS = ("fibre_g", "soluble_fibre_g", "insoluble_fibre_g")
"""Facts that are part of the one above them."""

MOST_OFF = Fraction(1, 8)
"""A household measure that misses the weight by more than this share of it is not shown."""

GLUE = "\u00a0"
"""A space at which no line is broken."""

QUARTERS = {0: "", 1: "¼", 2: "½", 3: "¾"}
CITED_RELEASE = "USDA SR28"
RELEASE_CITED = (
    "USDA SR28 is the USDA National Nutrient Database for Standard Reference, Release 28, of the US Department of "
    "Agriculture, Agricultural Research Service, Nutrient Data Laboratory, May 2016"
)
_NDB = re.compile(rf"{CITED_RELEASE}, (NDB [0-9]+)")


LABEL_NOTES = {
    "us": (
        "Rounded per serving by FDA, A Food Labeling Guide, Appendix H (2009); protein, polyols and sodium by a "
        "rule not checked against its text. Carbohydrate includes fibre. Energy is the composition table's.",
        "The ratio is reckoned before rounding: rounded figures do not give it. This is not a complete label: "
        "local labelling law comes first.",
    ),
    "eu": (
        "Energy by the factors of Regulation (EU) 1169/2011, Annex XIV; carbohydrate without fibre and with polyols, "
        "salt as sodium times 2.5, by its Annex I. Rounded by the Commission's guidance of December 2012, not "
        "checked against its text.",
        "The ratio is reckoned before rounding: rounded figures do not give it. This is not a complete label (one "
        "states 100 g of the finished dish too): local labelling law comes first.",
    ),
}

ALLERGEN_LISTS = {
    # from memory; coconut: the FDA's guidance on allergens of January 2025 no longer counts it
    "us": "They follow the list of Regulation (EU) No 1169/2011, Annex II, not that of US law: tree nuts that only US "
          "labelling names, such as pine nut and, until 2025, coconut (from memory), are not in it.",
}

Shown = Mapping[str, object]
"""What a part of the page shows, by the names that it has in the template."""


def card(dish: DishAtWeights, label: str = "none") -> str:
    """The page (HTML) of a dish with weights.

    Parameters
    ----------
    dish : Proposal or Check
        What `solve` found, or what `check` says of the weights as written.
    label : {"none", "us", "eu"}
        Whose rules round the declared figures, if they are wanted.

    Returns
    -------
    str
        The same for the same dish, always: no date, no script, nothing loaded from elsewhere.

    Raises
    ------
    BadInput
        Where there are no such rules, or where the dish is impossible: it has no card.

    Examples
    --------
    >>> from ratio_solver import card, check, load_foods, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> page = card(check(gratin), label="eu")
    >>> "Declared per serving, EU rules" in page
    True
    """
    from jinja2 import Environment, StrictUndefined

    if label not in LABEL_CHOICES:
        raise BadInput([Fault("label", "", shown(label), f"expected one of {', '.join(LABEL_CHOICES)}")])
    if not isinstance(dish, DishAtWeights):
        raise BadInput([Fault(dish.recipe.source, "", "", "no weights satisfy the limits: there is no card")])
    # Whatever a name holds is seen for what it is, and is text.
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
                       finalize=written_out)
    template = files("ratio_solver.tools.card").joinpath("card.html.j2").read_text(encoding="utf-8")
    return page.from_string(template).render(card=_card(dish, label))


def _card(dish: DishAtWeights, label: str) -> Shown:
    """Everything that a card shows, in the order in which it is read."""
    recipe, facts, grams = dish.recipe, dish.facts, dish.grams_of_each
    targets = [state for state in dish.limits if state.limit.kind == "target"]
    broken = sorted(dish.broken, key=lambda state: state.limit.kind != "target") if isinstance(dish, Check) else []
    groups, unknown = _groups(dish), dish.allergens_unknown
    alcohol = alcohol_warnings(recipe, grams, guaranteed=dish.guaranteed)
    eaten = most_warnings(recipe, grams, guaranteed=dish.guaranteed)
    elsewhere = (*alcohol, *eaten, allergen_warning(unknown))  # each where it belongs, and not among the notes
    sure = guaranteed_for(recipe, grams, dish.guaranteed)
    return {
        "title": recipe.title,
        "servings": _servings_line(dish),
        "state": "as written" if isinstance(dish, Check) else "",
        "broken": [broken_words(state) for state in broken],
        "groups": groups,
        "batch": weight_text(facts.weight * recipe.servings),
        "measured": any(line["measure"] for group in groups for line in group["lines"]),
        "facts": list(serving_figures(dish)),
        "ratio": _stated_ratio(facts.ratio, () if dish.guaranteed else targets),
        "formula": recipe.policy.formula,
        "at_ends": _ratio_at_ends(targets) if dish.guaranteed else "",
        "sure": sure is not None,
        "kept_for": kept_for(dish.guaranteed, sure),
        "kept": [] if broken else [f"{state.limit.name} {limit_words(state.limit)}" for state in targets],
        "reckoned": recipe.reckoned,
        "label": None if label == "none" else _label(dish, label),
        "allergens": ", ".join(dish.allergens),
        "allergens_unknown": not_known(unknown) if unknown else "",
        "alcohol": " ".join(alcohol),
        "eaten": eaten,
        "method": recipe.method,
        "note": recipe.note,
        "warnings": [warning for warning in dish.warnings if warning not in elsewhere],
        "cautions": dish.cautions,
        "strong": [caution for caution in dish.cautions if is_strong([caution])],
        "sources": _sources(dish),
    }


def _servings_line(dish: DishAtWeights) -> str:
    """Servings, their weight, and the weight of a piece."""
    line, cooked = batch_line(dish.recipe, dish.facts), dish.facts.cooked
    if not dish.recipe.pieces:
        return line
    piece = (dish.facts.weight if cooked is None else cooked) / dish.recipe.pieces
    return f"{line}, {weight_text(piece)} g a {'piece' if cooked is None else 'cooked piece'}"


def _stated_ratio(value: Fraction | None, targets: Sequence[LimitState]) -> str:
    """The ratio as it is published: cut to one decimal, so that it never claims more than there is."""
    bound = next((state.limit.bound for state in targets if state.limit.nutrient == RATIO and state.binding), None)
    return ratio(value if bound is None else bound, decimals=1)


def _ratio_at_ends(targets: Sequence[LimitState]) -> str:
    """The ratio at the ends of the table's intervals."""
    states = (state for state in targets if state.limit.nutrient == RATIO and state.actual is not None)
    return next((_stated_ratio(state.actual, [state]) for state in states), "")


def _used(dish: DishAtWeights) -> list[tuple[Ingredient, Fraction]]:
    """The ingredients that are not left out, and their weights, g for the batch."""
    return [pair for pair in zip(dish.recipe.ingredients, dish.grams_of_each, strict=True) if pair[1]]


def _groups(dish: DishAtWeights) -> list[dict[str, Any]]:
    """What is used, by part in the order of the recipe; what belongs to no part comes last."""
    used = _used(dish)
    parts = dict.fromkeys(item.part for item, _ in used if item.part)
    members = {name: [pair for pair in used if (pair[0].part or None) == name] for name in (*parts, None)}
    return [{"name": (name or "other") if parts else "",
             "grams": weight_text(sum((grams for _, grams in pairs), ZERO)),
             "lines": [_ingredient_line(*pair) for pair in pairs]} for name, pairs in members.items() if pairs]


def _ingredient_line(item: Ingredient, grams: Fraction) -> Shown:
    """An ingredient: what it is called, what food it is, its weight in g and how to measure it."""
    said = [food_beside(item.label, item.food.name),
            "" if item.yield_ == 1 else f"weighed prepared, yield {short(exact(item.yield_), 3)}"]
    return {"name": item.label, "food": "; ".join(filter(None, said)), "grams": grams_text(grams),
            "measure": measure_beside(item, grams)}


def food_beside(label: str, food: str) -> str:
    """The food, where the label does not say it; only what the label leaves out where it is the food's first word.

    >>> food_beside("turnip", "turnip, raw"), food_beside("stale rolls", "bread, white"), food_beside("salt", "salt")
    ('raw', 'bread, white', '')
    """
    if food.casefold() == label.casefold():
        return ""
    return food[len(label) + 2:] if food.casefold().startswith(f"{label}, ".casefold()) else food


def grams_text(grams: Fraction) -> str:
    """What goes on the scale: all its decimals up to three, else to a hundredth, and never a 0 that is not one.

    >>> grams_text(Fraction(1, 8)), grams_text(Fraction(200, 3)), grams_text(Fraction(1, 1000000))
    ('0.125', '66.67', '0.000001')
    """
    if (grams * 1000).denominator == 1:
        return short(grams, 3)
    return visible(grams, 2)


def measure_beside(ingredient: Ingredient, grams: Fraction) -> str:
    """How many of the cook's household measure, or of whole pieces, a weight is; empty where that says nothing.

    The measures of a food are of the food before preparation, so with a yield there are none.
    """
    size = ingredient.food.measures.get(ingredient.measure)
    if size and ingredient.yield_ == 1:
        count = Fraction(round(grams / exact(size) * 4), 4)
        off = abs(count * exact(size) - grams)
        if count and off <= MOST_OFF * grams:
            whole, quarters = divmod(int(count * 4), 4)
            return f"{'about ' if off else ''}{whole or ''}{QUARTERS[quarters]}{GLUE}{ingredient.measure}"
    if ingredient.piece and (grams / exact(ingredient.piece)).denominator == 1:
        return f"{short(grams / exact(ingredient.piece), 0)}{GLUE}×{GLUE}{short(exact(ingredient.piece))}{GLUE}g"
    return ""


def serving_figures(dish: DishAtWeights) -> Iterator[Shown]:
    """Nutrition of one serving: carbohydrate first, then what else the targets name.

    What is left out stands between carbohydrate less fibre and net carbs, so that the reader can add them up.
    """
    for column in dict.fromkeys([*FACTS, *(target.nutrient for target in dish.recipe.targets)]):
        if column == NET_CARBS:
            for name, grams in left_out(dish.recipe, dish.grams_of_each).items():
                yield {"name": f"left out: {name}", "value": f"{visible(grams, 2)} g", "inner": True}
        if column in dish.facts.amounts:
            yield {"name": quantity_of(column).words, "value": fact(dish.facts, column, dish.limits),
                   "inner": column in INNER_FACTS, "strong": column == NET_CARBS}


def _label(dish: DishAtWeights, rules: str) -> Shown:
    """Declared figures of one serving by these rules, and what must be said with them."""
    figures = declared(dish.recipe, dish.grams_of_each, rules)
    unknown: dict[tuple[str, ...], list[str]] = {}
    for figure in figures:
        if figure.unknown:
            unknown.setdefault(figure.unknown, []).append(figure.name.removeprefix("of which "))
    return {
        "rules": rules,
        "rows": [{"name": figure.name, "value": figure.text or "not known", "inner": figure.inner}
                 for figure in figures],
        "notes": [*(f"Not known for {', '.join(labels)}: {', '.join(names)}." for labels, names in unknown.items()),
                  *LABEL_NOTES[rules]],
        "statements": polyol_statement(dish.recipe, dish.grams_of_each) if rules == "eu" else (),
        "allergens": ALLERGEN_LISTS.get(rules, ""),
    }


def _sources(dish: DishAtWeights) -> list[str]:
    """Where the composition of each ingredient is from; those of the one release together."""
    items = [item for item, _ in _used(dish)]
    numbers = {item.label: match[1] for item in items if (match := _NDB.fullmatch(item.food.source))}
    release = ", ".join(f"{label} {number}" for label, number in numbers.items())
    found = [f"{CITED_RELEASE}: {release}"] if numbers else []
    found += [f"{item.label}: {item.food.source or 'source unknown'}" for item in items if item.label not in numbers]
    if any(CITED_RELEASE in line for line in found):
        found.append(RELEASE_CITED)
    return [f"{line.rstrip('.')}." for line in found]
