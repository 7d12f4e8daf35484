"""What stands on a card, as text: nothing is left to reckon or to round for the page that shows it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.dish.cautions import is_strong
from ratio_solver.dish.check import Check
from ratio_solver.dish.confidence import guaranteed_for, kept_for
from ratio_solver.dish.most import most_warnings
from ratio_solver.dish.notices import alcohol_warnings, allergen_warning, not_known
from ratio_solver.dish.nutrition import left_out
from ratio_solver.dish.status import LimitState
from ratio_solver.errors import written_out
from ratio_solver.exact import exact
from ratio_solver.foods.nutrients import spoken
from ratio_solver.output.blocks import batch_line, broken_words, limit_words, weight_text
from ratio_solver.output.numbers import ratio, short, visible
from ratio_solver.output.serving import fact
from ratio_solver.recipe.model import RATIO, Ingredient
from ratio_solver.tools.card.label import Dish, Figure, Label, label_of

FACTS = ("carbs_g", "fibre_g", "soluble_fibre_g", "insoluble_fibre_g", "net_carbs_g", "fat_g", "protein_g",
         "energy_kcal")
INNER_FACTS = ("fibre_g", "soluble_fibre_g", "insoluble_fibre_g")
"""Facts that are part of the one above them."""

MOST_OFF = Fraction(1, 8)
"""A household measure that misses the weight by more than this share of it is not shown."""

GLUE = "\u00a0"
"""A space at which no line is broken."""

QUARTERS = {0: "", 1: "¼", 2: "½", 3: "¾"}
RELEASE = "USDA SR28"
RELEASE_CITED = (
    "USDA SR28 is the USDA National Nutrient Database for Standard Reference, Release 28, of the US Department of "
    "Agriculture, Agricultural Research Service, Nutrient Data Laboratory, May 2016"
)
_NDB = re.compile(rf"{RELEASE}, (NDB [0-9]+)")


@dataclass(frozen=True)
class Line:
    """An ingredient on the card: what it is called, what food it is, its weight in g and how to measure it."""

    name: str
    food: str
    grams: str
    measure: str


@dataclass(frozen=True)
class Group:
    """Ingredients of one part; the name is empty where the recipe has no parts."""

    name: str
    grams: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class CardView:
    """Everything that a card shows, in the order in which it is read."""

    title: str
    servings: str
    state: str
    broken: tuple[str, ...]
    groups: tuple[Group, ...]
    batch: str
    measured: bool
    facts: tuple[Figure, ...]
    ratio: str
    formula: str
    at_ends: str
    sure: bool
    kept_for: str
    kept: tuple[str, ...]
    reckoned: str
    label: Label | None
    allergens: str
    allergens_unknown: str
    alcohol: str
    eaten: tuple[str, ...]
    method: tuple[str, ...]
    note: str
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    strong: tuple[str, ...]
    sources: tuple[str, ...]


def card_view(dish: Dish, label: str = "none") -> CardView:
    """What the card of a dish shows."""
    recipe, facts, limits = dish.recipe, dish.facts, dish.limits
    targets = [state for state in limits if state.limit.kind == "target"]
    broken = sorted(dish.broken, key=lambda s: s.limit.kind != "target") if isinstance(dish, Check) else []
    groups = ingredient_groups(dish)
    grams = tuple(weight.grams for weight in dish.weights)
    alcohol = alcohol_warnings(recipe, grams, guaranteed=dish.guaranteed)
    unknown = [ingredient.label for ingredient, _ in used(dish) if ingredient.food.allergens_unknown]
    eaten = most_warnings(recipe, grams, guaranteed=dish.guaranteed)
    told = (*alcohol, *eaten, allergen_warning(unknown))  # each where it belongs, and not among the notes
    sure = guaranteed_for(recipe, grams, dish.guaranteed)
    return CardView(
        title=written_out(recipe.title),
        servings=servings_line(dish),
        state="as written" if isinstance(dish, Check) else "",
        broken=tuple(broken_text(state) for state in broken),
        groups=groups,
        batch=weight_text(facts.weight * recipe.servings),
        measured=any(line.measure for group in groups for line in group.lines),
        facts=fact_figures(dish),
        ratio=stated_ratio(facts.ratio, () if dish.guaranteed else targets),
        formula=recipe.policy.formula,
        at_ends=ratio_at_ends(targets) if dish.guaranteed else "",
        sure=sure is not None,
        kept_for=kept_for(dish.guaranteed, sure),
        kept=() if broken else tuple(f"{state.limit.name} {limit_words(state.limit)}" for state in targets),
        reckoned=recipe.policy.described(),
        label=None if label == "none" else label_of(dish, label),
        allergens=written_out(", ".join(dish.allergens)),
        allergens_unknown=written_out(not_known(unknown)) if unknown else "",
        alcohol=written_out(" ".join(alcohol)),
        eaten=tuple(map(written_out, eaten)),
        method=tuple(written_out(step) for step in recipe.method),
        note=written_out(recipe.note),
        warnings=tuple(written_out(warning) for warning in dish.warnings if warning not in told),
        cautions=dish.cautions,
        strong=tuple(caution for caution in dish.cautions if is_strong([caution])),
        sources=sources(dish),
    )


def servings_line(dish: Dish) -> str:
    """Servings, their weight, and the weight of a piece."""
    line = batch_line(dish.recipe, dish.facts)
    if not dish.recipe.pieces:
        return line
    cooked = dish.facts.cooked
    piece = (dish.facts.weight if cooked is None else cooked) / dish.recipe.pieces
    return f"{line}, {weight_text(piece)} g a {'piece' if cooked is None else 'cooked piece'}"


def stated_ratio(value: Fraction | None, targets: Sequence[LimitState]) -> str:
    """The ratio as it is published: cut to one decimal, so that it never claims more than there is."""
    bound = next((s.limit.bound for s in targets if s.limit.nutrient == RATIO and s.binding), None)
    return ratio(value if bound is None else bound, decimals=1)


def ratio_at_ends(targets: Sequence[LimitState]) -> str:
    """The ratio at the ends of the table's intervals."""
    for state in targets:
        if state.limit.nutrient == RATIO and state.actual is not None:
            return stated_ratio(state.actual, [state])
    return ""


def broken_text(state: LimitState) -> str:
    """A limit that is not kept, and what is instead."""
    return written_out(broken_words(state))


def used(dish: Dish) -> list[tuple[Ingredient, Fraction]]:
    """The ingredients that are not left out, and their weights, g for the batch."""
    pairs = zip(dish.recipe.ingredients, dish.weights, strict=True)
    return [(ingredient, weight.grams) for ingredient, weight in pairs if weight.grams]


def ingredient_groups(dish: Dish) -> tuple[Group, ...]:
    """What is used, by part in the order of the recipe; what belongs to no part comes last."""
    members = used(dish)
    parts = dict.fromkeys(ingredient.part for ingredient, _ in members if ingredient.part)
    names = [*parts, *([None] if any(not ingredient.part for ingredient, _ in members) else [])]
    return tuple(
        _group((name or "other") if parts else "", [(i, g) for i, g in members if (i.part or None) == name])
        for name in names
    )


def _group(name: str, members: Sequence[tuple[Ingredient, Fraction]]) -> Group:
    total = sum((grams for _, grams in members), Fraction(0))
    return Group(written_out(name), weight_text(total), tuple(_line(*member) for member in members))


def _line(ingredient: Ingredient, grams: Fraction) -> Line:
    food = food_beside(ingredient.label, ingredient.food.name)
    if ingredient.yield_ != 1:
        food = f"{food}; " if food else ""
        food += f"weighed prepared, yield {short(exact(ingredient.yield_), 3)}"
    return Line(written_out(ingredient.label), written_out(food), grams_text(grams),
                written_out(measure_beside(ingredient, grams)))


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
            return f"{'about ' if off else ''}{_count(count)}{GLUE}{ingredient.measure}"
    if ingredient.piece and (grams / exact(ingredient.piece)).denominator == 1:
        return f"{short(grams / exact(ingredient.piece), 0)}{GLUE}×{GLUE}{short(exact(ingredient.piece))}{GLUE}g"
    return ""


def _count(count: Fraction) -> str:
    whole, quarters = divmod(int(count * 4), 4)
    return f"{whole or ''}{QUARTERS[quarters]}"


def fact_figures(dish: Dish) -> tuple[Figure, ...]:
    """Nutrition of one serving: carbohydrate first, then what else the targets name."""
    targeted = (target.nutrient for target in dish.recipe.targets)
    columns = dict.fromkeys([*FACTS, *targeted])
    figures: list[Figure] = []
    for column in columns:
        if column == "net_carbs_g":
            figures.extend(left_out_figures(dish))
        if column in dish.facts.amounts:
            figures.append(Figure(spoken(column), fact(dish.facts, column, dish.limits), column in INNER_FACTS,
                                  column == "net_carbs_g"))
    return tuple(figures)


def left_out_figures(dish: Dish) -> Iterator[Figure]:
    """What stands between carbohydrate less fibre and net carbs, so that the reader can add them up."""
    amounts = left_out(dish.recipe, tuple(weight.grams for weight in dish.weights))
    for name, grams in amounts.items():
        yield Figure(f"left out: {name}", f"{visible(grams, 2)} g", inner=True)


def sources(dish: Dish) -> tuple[str, ...]:
    """Where the composition of each ingredient is from; those of the one release together."""
    members = [ingredient for ingredient, _ in used(dish)]
    numbers = {i.label: match[1] for i in members if (match := _NDB.fullmatch(i.food.source))}
    found = []
    if numbers:
        found.append(f"{RELEASE}: {', '.join(f'{label} {number}' for label, number in numbers.items())}")
    found.extend(f"{i.label}: {i.food.source or 'source unknown'}" for i in members if i.label not in numbers)
    if any(RELEASE in line for line in found):
        found.append(RELEASE_CITED)
    return tuple(written_out(f"{line.rstrip('.')}.") for line in found)


