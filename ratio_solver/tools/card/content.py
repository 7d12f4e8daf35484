"""What stands on a card, as text: nothing is left to reckon or to round for the page that shows it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any

from ratio_solver.dish.cautions import is_strong
from ratio_solver.dish.check import Check, DishAtWeights
from ratio_solver.dish.confidence import guaranteed_for, kept_for
from ratio_solver.dish.label import in_100_g, used
from ratio_solver.dish.most import most_warnings
from ratio_solver.dish.notices import alcohol_warnings, allergen_warning, not_known
from ratio_solver.dish.nutrition import Facts, facts_of, left_out
from ratio_solver.dish.status import LimitState
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.foods.quantities import SHARE, quantity_of
from ratio_solver.output.blocks import limit_words, weight_text
from ratio_solver.output.dish_text import actual_text, broken_words, fact
from ratio_solver.output.numbers import decimal, ratio, short, visible
from ratio_solver.recipe.model import RATIO, Ingredient
from ratio_solver.tools.card import pictures
from ratio_solver.tools.card.claims import fact_columns, stated_ratio
from ratio_solver.tools.card.label import label_shown
from ratio_solver.tools.card.lines import food_beside, grams_text, measure_beside

INNER_FACTS = ("fibre_g", "soluble_fibre_g", "insoluble_fibre_g")
"""Facts that are part of the one above them."""

CITED_RELEASE = "USDA SR28"
RELEASE_CITED = (
    "USDA SR28 is the USDA National Nutrient Database for Standard Reference, Release 28, of the US Department of "
    "Agriculture, Agricultural Research Service, Nutrient Data Laboratory, May 2016"
)
_NDB = re.compile(rf"{CITED_RELEASE}, (NDB [0-9]+)")

TIMES = {"prep": "preparation", "cook": "cooking", "rest": "resting"}
HOUR = 60

Shown = Mapping[str, Any]
"""What a part of the page shows, by the names that it has in the template."""


def card_content(dish: DishAtWeights, label: str = "none", measures: bool = False) -> Shown:
    """Everything that a card shows, in the order in which it is read, in English."""
    recipe, facts, grams = dish.recipe, dish.facts, dish.grams_of_each
    targets = [state for state in dish.limits if state.limit.kind == "target"]
    broken = sorted(dish.broken, key=lambda state: state.limit.kind != "target") if isinstance(dish, Check) else []
    groups, unknown = _groups(dish, measures), dish.allergens_unknown
    alcohol = alcohol_warnings(recipe, grams, guaranteed=dish.guaranteed)
    eaten = most_warnings(recipe, grams, guaranteed=dish.guaranteed)
    elsewhere = (*alcohol, *eaten, allergen_warning(unknown))  # each where it belongs, and not among the notes
    sure = guaranteed_for(recipe, grams, dish.guaranteed)
    return {
        "title": recipe.title,
        "servings": servings_line(dish),
        "state": "as written" if isinstance(dish, Check) else "",
        "byline": list(_byline(dish)),
        "broken": [broken_words(state) for state in broken],
        "groups": groups,
        "batch": weight_text(facts.weight * recipe.servings),
        "measured": any(line["measure"] for group in groups for line in group["lines"]),
        "shares": ["a serving", *(["a piece"] if recipe.pieces else []), "in 100 g"],
        "facts": list(_facts(dish)),
        "ratio": stated_ratio(dish),
        "formula": recipe.policy.formula,
        "at_ends": _ratio_at_ends(targets) if dish.guaranteed else "",
        "sure": sure is not None,
        "compared": list(_compared(dish)),
        "limits": [_limit(state) for state in targets],
        "kept_for": kept_for(dish.guaranteed, sure),
        "kept": [] if broken else [f"{state.limit.name} {limit_words(state.limit)}" for state in targets],
        "reckoned": recipe.reckoned,
        "label": None if label == "none" else label_shown(dish, label),
        "allergens": ", ".join(dish.allergens),
        "allergens_unknown": not_known(unknown) if unknown else "",
        "alcohol": alcohol,
        "eaten": eaten,
        "method": recipe.method,
        "note": recipe.note,
        "warnings": [warning for warning in dish.warnings if warning not in elsewhere],
        "cautions": dish.cautions,
        "strong": [caution for caution in dish.cautions if is_strong([caution])],
        "sources": sources([dish]),
    }


def servings_line(dish: DishAtWeights) -> list[str]:
    """Servings and their weight, after cooking too where it is told, and the pieces of one."""
    recipe, facts = dish.recipe, dish.facts
    word = "serving" if recipe.servings == 1 else "servings"
    line = [f"{recipe.servings} {word} of {weight_text(facts.weight)} g"]
    if facts.cooked is not None:
        line.append(f"{weight_text(facts.cooked)} g cooked")
    if recipe.pieces:
        piece = (facts.weight if facts.cooked is None else facts.cooked) / recipe.pieces
        line += [f"{recipe.pieces} {'piece' if recipe.pieces == 1 else 'pieces'} each",
                 f"{weight_text(piece)} g a {'piece' if facts.cooked is None else 'cooked piece'}"]
    return line


def _byline(dish: DishAtWeights) -> Iterator[str]:
    """Who made it, how long it takes, and what it makes in words."""
    told = dish.recipe.presentation
    if told.author:
        yield f"By {told.author}"
    for name, minutes in told.times:
        yield f"{TIMES[name]} {minutes_text(minutes)}"
    if told.yield_text:
        yield f"Makes {told.yield_text}"


def minutes_text(minutes: int) -> str:
    """Minutes as a cook says them; the units are signs in every language.

    >>> minutes_text(45), minutes_text(90), minutes_text(120)
    ('45 min', '1 h 30 min', '2 h')
    """
    hours, rest = divmod(minutes, HOUR)
    return " ".join(filter(None, (f"{hours} h" if hours else "", f"{rest} min" if rest or not hours else "")))


def _ratio_at_ends(targets: Sequence[LimitState]) -> str:
    """The ratio at the ends of the table's intervals."""
    states = (state for state in targets if state.limit.nutrient == RATIO and state.actual is not None)
    return next((ratio(state.limit.bound if state.binding else state.actual, decimals=1) for state in states), "")


def _groups(dish: DishAtWeights, measures: bool) -> list[dict[str, Any]]:
    """What is used, by part in the order of the recipe; what belongs to no part comes last."""
    pairs = list(used(dish.recipe, dish.grams_of_each))
    parts = dict.fromkeys(item.part for item, _ in pairs if item.part)
    members = {name: [pair for pair in pairs if (pair[0].part or None) == name] for name in (*parts, None)}
    return [{"name": (name or "other") if parts else "", "own": bool(name),
             "grams": weight_text(sum((grams for _, grams in inside), ZERO)),
             "lines": [_ingredient_line(*pair, measures) for pair in inside]}
            for name, inside in members.items() if inside]


def _ingredient_line(item: Ingredient, grams: Fraction, measures: bool) -> Shown:
    """An ingredient: what it is called, what food it is, its weight in g and how to measure it."""
    return {"name": item.label, "food": food_beside(item.label, item.food.name),
            "prepared": "" if item.yield_ == 1 else f"weighed prepared, yield {short(exact(item.yield_), 3)}",
            "grams": grams_text(grams), "measure": measure_beside(item, grams, measures)}


def _facts(dish: DishAtWeights) -> Iterator[Shown]:
    """Nutrition of one serving, of a piece and of 100 g: carbohydrate first, then what else the targets name.

    What is left out stands between carbohydrate less fibre and net carbs, so that the reader can add them up.
    """
    recipe, facts = dish.recipe, dish.facts
    hundredth = in_100_g(recipe, dish.grams_of_each)
    shares = [*([Fraction(1, recipe.pieces)] if recipe.pieces else []), (hundredth or ZERO) * recipe.servings]
    for column in fact_columns(dish):
        if column == NET_CARBS:
            for name, grams in left_out(recipe, dish.grams_of_each).items():
                yield {"name": f"left out: {name}", "inner": True, "strong": False,
                       "values": [f"{visible(grams, 2)} g", *(f"{visible(grams * share, 2)} g" for share in shares)]}
        values = [fact(facts, column, dish.limits), *(_share(facts, column, share) for share in shares)]
        yield {"name": quantity_of(column).words, "inner": column in INNER_FACTS, "strong": column == NET_CARBS,
               "values": values}


def serving_figures(dish: DishAtWeights) -> Iterator[Shown]:
    """Nutrition of one serving alone, in the same order."""
    for figure in _facts(dish):
        yield {**figure, "value": figure["values"][0]}


def _share(facts: Facts, column: str, share: Fraction) -> str:
    """A figure of a part of a serving, with the digits that its column has."""
    unit, amount = quantity_of(column).unit, facts.amounts[column] * share
    if unit in (SHARE, ":1"):
        return ""
    decimals = 0 if unit == "kcal" else 2 if unit == "g" or facts.amounts[column] < 10 else 0
    least = "at least " if column in facts.unknown and column != NET_CARBS else ""
    return f"{least}{visible(amount, decimals) if amount else decimal(amount, decimals)} {unit}"


def _compared(dish: DishAtWeights) -> Iterator[Shown]:
    """The dish that it came from beside this one: net carbs, the ratio and the energy of a serving, with bars."""
    starts = tuple(exact(start) for start in dish.recipe.starts)
    if isinstance(dish, Check) or starts == dish.grams_of_each or not any(starts):
        return
    was, now = facts_of(dish.recipe, starts), dish.facts
    for column in (NET_CARBS, ENERGY):
        if column in was.amounts and column in now.amounts:
            yield {"name": quantity_of(column).words, "was": fact(was, column, ()),
                   "now": fact(now, column, dish.limits),
                   "picture": pictures.pair(was.amounts[column], now.amounts[column])}
    if was.ratio is not None and now.ratio is not None:
        yield {"name": RATIO, "was": ratio(was.ratio, decimals=1), "now": stated_ratio(dish),
               "picture": pictures.pair(was.ratio, now.ratio)}


def _limit(state: LimitState) -> Shown:
    """A target, what is of it, and a bar up to it."""
    actual = state.actual
    return {"name": state.limit.name, "allowed": limit_words(state.limit),
            "is": state.limit.nothing if actual is None else actual_text(state),
            "picture": "" if actual is None else pictures.against(actual, state.limit.bound)}


def sources(dishes: Sequence[DishAtWeights]) -> list[str]:
    """Where the composition of each ingredient is from; those of the one release together."""
    told = dict.fromkeys((item.label, item.food.source) for dish in dishes
                         for item, _ in used(dish.recipe, dish.grams_of_each))
    cited = {pair: match[1] for pair in told if (match := _NDB.fullmatch(pair[1]))}
    release = ", ".join(f"{label} {number}" for (label, _), number in cited.items())
    found = [f"{CITED_RELEASE}: {release}"] if cited else []
    found += [f"{label}: {source or 'source unknown'}" for label, source in told if (label, source) not in cited]
    if any(CITED_RELEASE in line for line in found):
        found.append(RELEASE_CITED)
    return [f"{line.rstrip('.')}." for line in found]
