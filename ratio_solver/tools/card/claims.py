"""What a card claims of a dish: every figure as it stands on the page, and what it follows from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ratio_solver.dish.check import DishAtWeights
from ratio_solver.dish.most import most_warnings
from ratio_solver.dish.notices import allergen_words
from ratio_solver.dish.nutrition import left_out
from ratio_solver.foods.content import content
from ratio_solver.foods.food import Food
from ratio_solver.foods.label_rules import LABELS, label_between
from ratio_solver.foods.nutrients import CARBS, FIBRE, NET_CARBS, WEIGHT
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.quantities import quantity_of
from ratio_solver.foods.substances import COLUMNS
from ratio_solver.foods.unknown import Between
from ratio_solver.output.blocks import limit_words
from ratio_solver.output.dish_text import fact
from ratio_solver.output.numbers import ratio, short, visible
from ratio_solver.recipe.model import RATIO
from ratio_solver.tools.card.label import declared

FACTS = (CARBS, FIBRE, "soluble_fibre_g", "insoluble_fibre_g", NET_CARBS, "fat_g", "protein_g", "energy_kcal")
"""What a card always tells of a serving, in this order."""

ALLERGENS, LABEL = "allergens", "label "
"""Of a claim: that it follows from the allergens, and what begins the name of a label's own column."""

BROKEN = "not kept"
"""Of a claim about a limit."""


@dataclass(frozen=True)
class Claim:
    """One published figure.

    Attributes
    ----------
    name : str
        "net carbs", "ratio", "EU label: salt in 100 g", "ratio at least 2.00:1".
    value : str
        As it is printed.
    columns : tuple of str
        What it follows from: columns of the table, "label ..." of a label's, "allergens"; empty where that is the
        weights alone.
    """

    name: str
    value: str
    columns: tuple[str, ...]


def claims_of(dish: DishAtWeights, label: str = "none") -> tuple[Claim, ...]:
    """All that a card of a dish claims, in the order of the page.

    Parameters
    ----------
    dish : Proposal or Check
    label : {"none", "us", "eu"}
    """
    return (*_serving_claims(dish), *_label_claims(dish, label), *_eater_claims(dish))


def card_columns(dish: DishAtWeights) -> list[str]:
    """Columns of the facts that a card tells of this dish."""
    asked = [*FACTS, *(target.nutrient for target in dish.recipe.targets)]
    return [column for column in dict.fromkeys(asked) if column in dish.facts.amounts]


def stated_ratio(dish: DishAtWeights) -> str:
    """The ratio as it is published: cut to one decimal, so that it never claims more than there is."""
    targets = [state for state in dish.limits if state.limit.nutrient == RATIO and state.binding]
    bound = targets[0].limit.bound if targets and not dish.guaranteed else dish.facts.ratio
    return ratio(bound, decimals=1)


def _serving_claims(dish: DishAtWeights) -> Iterator[Claim]:
    """The facts of a serving and its ratio."""
    for column in card_columns(dish):
        yield Claim(quantity_of(column).words, fact(dish.facts, column, dish.limits),
                    _columns_of(dish.recipe.policy, column))
    for name, grams in left_out(dish.recipe, dish.grams_of_each).items():
        yield Claim(f"left out: {name}", f"{visible(grams, 2)} g", (CARBS, FIBRE, *COLUMNS))
    yield Claim(RATIO, stated_ratio(dish), _columns_of(dish.recipe.policy, RATIO))


def _columns_of(policy: Policy, key: str) -> tuple[str, ...]:
    """The columns that a quantity counts; of the weight none."""
    return tuple(column for column in policy.quantity(key).columns if column != WEIGHT)


def _label_claims(dish: DishAtWeights, label: str) -> Iterator[Claim]:
    """The figures of a label, where there is one."""
    columns = {row.name: tuple(LABEL + column for column in row.columns) for row in LABELS.get(label, ())}
    for figure in declared(dish.recipe, dish.grams_of_each, label) if columns else ():
        name, of = f"{label.upper()} label: {figure.name.removeprefix('of which ')}", columns[figure.name]
        yield Claim(name, figure.shown, of)
        if label == "eu" and figure.per_100_g:
            yield Claim(f"{name} in 100 g", figure.per_100_g, of)
        if figure.daily:
            yield Claim(f"{name}, daily value", figure.daily, of)


def _eater_claims(dish: DishAtWeights) -> Iterator[Claim]:
    """What whoever eats it relies on: the allergens, what is beyond the most of something, and the targets."""
    yield Claim(ALLERGENS, allergen_words(dish.allergens, dish.allergens_unknown), (ALLERGENS,))
    told = most_warnings(dish.recipe, dish.grams_of_each, guaranteed=dish.guaranteed)
    yield Claim("what whoever eats it must know", "; ".join(told) or "nothing known", ())
    for state in dish.limits:
        if state.limit.nutrient:
            kept = state.binding or state.limit.margin(dish.grams_of_each) >= 0
            yield Claim(f"{state.limit.name} {limit_words(state.limit)}", "kept" if kept else BROKEN,
                        _columns_of(dish.recipe.policy, state.limit.nutrient))


def figures_of(food: Food, columns: Sequence[str], policy: Policy) -> Mapping[str, str]:
    """What a food has of the columns that claims follow from, per 100 g, as text; "" where it is not known."""
    return {column: "; ".join((*(food.allergens or ()), *(["unknown"] if food.allergens_unknown else [])))
            if column == ALLERGENS else _label_interval(label_between(food, column.removeprefix(LABEL)))
            if column.startswith(LABEL) else short(content(food, column, policy), 9) for column in columns}


def _label_interval(found: Between) -> str:
    """A label's figure, or both its ends."""
    return short(found.low, 9) if found.known else f"{short(found.low, 9)} to {short(found.high, 9)}"
