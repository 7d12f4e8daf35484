"""What stands on a card, as text: nothing is left to reckon or to round for the page that shows it.

Small pictures beside figures are bars, drawn inside the page: whatever they show stands beside them as text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any

from ratio_solver.dish.cautions import is_strong
from ratio_solver.dish.check import Check, DishAtWeights
from ratio_solver.dish.confidence import guaranteed_for, kept_for
from ratio_solver.dish.most import most_warnings
from ratio_solver.dish.notices import alcohol_warnings, allergen_warning, not_known
from ratio_solver.dish.nutrition import Facts, facts_of, left_out, used
from ratio_solver.dish.status import LimitState
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.foods.quantities import SHARE, quantity_of
from ratio_solver.output.blocks import limit_words, weight_text
from ratio_solver.output.dish_text import actual_text, at_least, broken_words, decimals_of, fact
from ratio_solver.output.numbers import counted, decimal, ratio, short, visible
from ratio_solver.recipe.measures import household
from ratio_solver.recipe.model import RATIO, Ingredient
from ratio_solver.tools.card.claims import card_columns, stated_ratio
from ratio_solver.tools.card.label import in_100_g, label_shown

HEIGHT, BAR = 9, 4
"""Of a picture and of a bar in it; both are 100 wide."""

HEADROOM = Fraction(11, 10)
"""The width stands for this many times the greatest of what is shown."""


def was_and_now(before: Fraction, now: Fraction) -> str:
    """Two bars, one above the other."""
    most = max(before, now)
    return _picture((0, before / most, "was"), (BAR + 1, now / most, "now")) if most else ""


def bar_to_limit(actual: Fraction, bound: Fraction) -> str:
    """A bar up to a figure, and a mark at its limit."""
    most = max(actual, bound) * HEADROOM
    if most <= 0:
        return ""
    return _picture((2, actual / most, "now"),
                    mark=f'<path class="mark" d="M{short(bound / most * 100, 2)} 0V{HEIGHT}"/>')


def _picture(*bars: tuple[int, Fraction, str], mark: str = "") -> str:
    """Bars (top, share of the width, class); a screen reader passes over the picture, as its figures are text."""
    shapes = "".join(f'<rect class="{name}" y="{top}" width="{short(share * 100, 2)}" height="{BAR}"/>'
                     for top, share, name in bars)
    return (f'<svg class="bar" viewBox="0 0 100 {HEIGHT}" preserveAspectRatio="none" aria-hidden="true" '
            f'focusable="false">{shapes}{mark}</svg>')


MOST_OFF = Fraction(1, 8)
"""A household measure that misses the weight by more than this share of it is not shown."""

GLUE = "\u00a0"
"""A space at which no line is broken."""

QUARTERS = {0: "", 1: "¼", 2: "½", 3: "¾"}
_WRITTEN = {"1/4": "¼", "1/2": "½", "3/4": "¾"}


def food_beside(label: str, food: str) -> str:
    """The food, where the label does not say it; only what the label leaves out where it is the food's first words.

    >>> food_beside("turnip", "turnip, raw"), food_beside("stale rolls", "bread, white"), food_beside("salt", "salt")
    ('raw', 'bread, white', '')
    >>> food_beside("psyllium", "psyllium husk powder"), food_beside("minced lamb", "lamb, minced")
    ('husk powder', '')
    """
    said, whole = label.casefold(), food.casefold()
    of_food, of_label = (set(text.replace(",", " ").split()) for text in (whole, said))
    if of_food <= of_label:
        return ""
    begins = whole.startswith(said) and whole[len(said):len(said) + 1] in (",", " ")
    return food[len(label):].lstrip(", ") if begins else food


def grams_text(grams: Fraction) -> str:
    """What goes on the scale: all its decimals up to three, else to a hundredth, and never a 0 that is not one.

    >>> grams_text(Fraction(1, 8)), grams_text(Fraction(200, 3)), grams_text(Fraction(1, 1000000))
    ('0.125', '66.67', '0.000001')
    """
    return short(grams, 3) if (grams * 1000).denominator == 1 else visible(grams, 2)


def measure_beside(ingredient: Ingredient, grams: Fraction, every: bool = False) -> str:
    """How many of the cook's household measure, or of whole pieces, a weight is; empty where that says nothing.

    The measures of a food are of the food before preparation, so with a yield there are none. With `every`, of what
    the cook measured otherwise the measure of the food that suits the amount.
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
    if every and (found := household(ingredient.food, grams, exact(ingredient.yield_))):
        return f"{'' if found.grams == grams else 'about '}{_in_signs(str(found))}"
    return ""


def _in_signs(measure: str) -> str:
    """A measure with its quarters as signs: "3¼ tbsp" for "3 1/4 tbsp"."""
    words = [_WRITTEN.get(word, word) for word in measure.split(" ")]
    if len(words) > 2 and words[1] in _WRITTEN.values():
        words[:2] = ["".join(words[:2])]
    return GLUE.join(words)


INNER_FACTS = ("fibre_g", "soluble_fibre_g", "insoluble_fibre_g")
"""Facts that are part of the one above them."""

CITED_RELEASE = "USDA SR28"
RELEASE_CITED = (
    "USDA SR28 is the USDA National Nutrient Database for Standard Reference, Release 28, of the US Department of "
    "Agriculture, Agricultural Research Service, Nutrient Data Laboratory, May 2016"
)
_NDB = re.compile(rf"{CITED_RELEASE}, (NDB [0-9]+)")

TIMES_SAID = {"prep": "preparation", "cook": "cooking", "rest": "resting"}
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
        "facts": list(_facts(dish, _parts_of_serving(dish))),
        "ratio": stated_ratio(dish),
        "formula": recipe.policy.formula,
        "at_ends": _ratio_at_ends(targets) if dish.guaranteed else "",
        "sure": sure is not None,
        "compared": list(_compared(dish)),
        "limits": [{"name": state.limit.name, "allowed": limit_words(state.limit),
                    "is": state.limit.nothing if state.actual is None else actual_text(state),
                    "picture": "" if state.actual is None else bar_to_limit(state.actual, state.limit.bound)}
                   for state in targets],
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
    cooked = [] if facts.cooked is None else [f"{weight_text(facts.cooked)} g cooked"]
    pieces = [f"{counted(recipe.pieces, 'piece')} each", f"{weight_text(facts.served / recipe.pieces)} g a "
              f"{'cooked piece' if cooked else 'piece'}"] if recipe.pieces else []
    return [f"{counted(recipe.servings, 'serving')} of {weight_text(facts.weight)} g", *cooked, *pieces]


def _byline(dish: DishAtWeights) -> Iterator[str]:
    """Who made it, how long it takes, and what it makes in words."""
    told = dish.recipe.presentation
    if told.author:
        yield f"By {told.author}"
    for name, minutes in told.times:
        yield f"{TIMES_SAID[name]} {minutes_text(minutes)}"
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
             "lines": [{"name": item.label, "food": food_beside(item.label, item.food.name),
                        "prepared": "" if item.yield_ == 1 else
                        f"weighed prepared, yield {short(exact(item.yield_), 3)}",
                        "grams": grams_text(grams), "measure": measure_beside(item, grams, measures)}
                       for item, grams in inside]}
            for name, inside in members.items() if inside]


def _parts_of_serving(dish: DishAtWeights) -> list[Fraction]:
    """What a piece, where there are any, and 100 g are of a serving."""
    recipe = dish.recipe
    hundredth = (in_100_g(recipe, dish.grams_of_each) or ZERO) * recipe.servings
    return [Fraction(1, recipe.pieces), hundredth] if recipe.pieces else [hundredth]


def _facts(dish: DishAtWeights, shares: Sequence[Fraction]) -> Iterator[Shown]:
    """Nutrition of one serving, and of shares of it: carbohydrate first, then what else the targets name.

    What is left out stands between carbohydrate less fibre and net carbs, so that the reader can add them up.
    """
    recipe, facts = dish.recipe, dish.facts
    for column in card_columns(dish):
        if column == NET_CARBS:
            for name, grams in left_out(recipe, dish.grams_of_each).items():
                yield {"name": f"left out: {name}", "inner": True, "strong": False,
                       "values": [f"{visible(grams, 2)} g", *(f"{visible(grams * share, 2)} g" for share in shares)]}
        values = [fact(facts, column, dish.limits), *(_of_share(facts, column, share) for share in shares)]
        yield {"name": quantity_of(column).words, "inner": column in INNER_FACTS, "strong": column == NET_CARBS,
               "values": values}


def serving_figures(dish: DishAtWeights) -> Iterator[Shown]:
    """Nutrition of one serving alone, in the same order."""
    return ({**figure, "value": figure["values"][0]} for figure in _facts(dish, ()))


def _of_share(facts: Facts, column: str, share: Fraction) -> str:
    """A figure of a part of a serving, with the digits that its column has."""
    unit, amount, decimals = quantity_of(column).unit, facts.amounts[column] * share, decimals_of(facts, column)
    if unit in (SHARE, ":1"):
        return ""
    return f"{at_least(facts, column)}{visible(amount, decimals) if amount else decimal(amount, decimals)} {unit}"


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
                   "picture": was_and_now(was.amounts[column], now.amounts[column])}
    if was.ratio is not None and now.ratio is not None:
        yield {"name": RATIO, "was": ratio(was.ratio, decimals=1), "now": stated_ratio(dish),
               "picture": was_and_now(was.ratio, now.ratio)}


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
