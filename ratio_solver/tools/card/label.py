"""The part of a card that a label would have: declared figures, ingredients by weight, allergens, statements.

Each figure of the batch is an interval: one that the table does not have for an ingredient is bounded by what it can be
(`foods.unknown`), and the sum over the batch lies between the sum of the least and the sum of the most: exact, as every
weight is 0 or more. The layout is our own: no official panel is drawn, and it is no legal advice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.dish.check import DishAtWeights
from ratio_solver.dish.notices import not_known
from ratio_solver.dish.nutrition import cooked_batch, used
from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.exact import HUNDRED, ZERO, Vector, dot, exact
from ratio_solver.foods.label_rules import EU_NITROGEN, LABELS, NITROGEN_PROTEIN, POLYOLS_LINE, LabelRow, label_between
from ratio_solver.output.blocks import weight_text
from ratio_solver.output.numbers import counted, short
from ratio_solver.recipe.model import Recipe, once

LAXATIVE_FROM = Fraction(1, 10)
"""Share of added polyols in the finished food above which a label in the EU warns of them: Regulation (EU) No
1169/2011, Annex III (from memory). Erythritol is a polyol there. Tables do not say which polyols were added, so all
count: that is the strict side."""

LAXATIVE = "excessive consumption may produce laxative effects"
"""The statement, from memory: its exact legal wording is to be taken from the Regulation."""


@dataclass(frozen=True)
class BatchAmount:
    """What a dish can hold of something, in the unit of its column.

    Attributes
    ----------
    low : Fraction
    high : Fraction or None
        None where an ingredient's figure is unknown and nothing bounds it.
    unknown : mapping of str to str
        Labels of the ingredients whose figure is unknown, and what bounds it; empty where nothing does.
    """

    low: Fraction
    high: Fraction | None
    unknown: Mapping[str, str] = field(default_factory=dict)

    def times(self, share: Fraction) -> BatchAmount:
        """The same in a share of it."""
        return BatchAmount(self.low * share, None if self.high is None else self.high * share, self.unknown)


def held_in_batch(recipe: Recipe, weights: Sequence[Fraction], column: str) -> BatchAmount:
    """What the batch can hold of a label's figure.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    column : str
        As `label_between` takes it.
    """
    pairs = list(used(recipe, weights))
    shares = tuple(grams / exact(item.yield_) / 100 for item, grams in pairs)
    found = [label_between(item.food, column) for item, _ in pairs]
    low = dot(tuple(one.low for one in found), shares)
    unknown = {item.label: one.because for (item, _), one in zip(pairs, found, strict=True) if not one.known}
    if not unknown:
        return BatchAmount(low, low)
    highs = [one.high for one in found if one.high is not None]
    return BatchAmount(low, dot(highs, shares) if len(highs) == len(found) else None, unknown)


def in_100_g(recipe: Recipe, weights: Sequence[Fraction]) -> Fraction | None:
    """What share of the batch 100 g of the finished dish are, cooked where the recipe says; None of an empty one."""
    cooked = cooked_batch(recipe, weights)
    finished = sum(weights, ZERO) if cooked is None else cooked
    return HUNDRED / finished if finished else None


@dataclass(frozen=True)
class Declared:
    """One declared figure of a serving.

    Attributes
    ----------
    name : str
        "fat", "of which saturates", ...
    text : str or None
        As the rules round it, with its unit; "at most ..." where an ingredient's figure is unknown and its bound lets
        it round to more than one; where nothing bounds it "at least ..." of a vitamin or mineral, else None.
    unknown : tuple of str
        Labels of the ingredients whose figure is unknown and leaves a printed one open.
    inner : bool
        Whether it is part of the figure above it.
    per_100_g : str or None
        The same in 100 g of the finished dish.
    daily : str
        Percent of the daily value, where the rules have one.
    least : str
        Where there is no text, what there is at least.
    because : mapping of str to str
        What bounds the unknown figures, by the ingredients' labels.
    """

    name: str
    text: str | None
    unknown: tuple[str, ...] = ()
    inner: bool = False
    per_100_g: str | None = None
    daily: str = ""
    least: str = ""
    because: Mapping[str, str] = field(default_factory=dict)

    @property
    def shown(self) -> str:
        """What stands on the label."""
        return self.text or ("not known" + (f", at least {self.least}" if self.least else ""))


def declared(recipe: Recipe, weights: Sequence[Fraction], rules: str) -> tuple[Declared, ...]:
    """What a label would declare.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    rules : {"us", "eu"}

    Returns
    -------
    tuple of Declared
        In the order of a label.

    Raises
    ------
    BadInput
        Where there are no such rules.

    Examples
    --------
    >>> from ratio_solver import check, declared, load_foods, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> fat = declared(gratin, check(gratin).grams_of_each, "eu")[1]
    >>> fat.name, fat.text, fat.per_100_g
    ('fat', '25 g', '8.5 g')
    """
    if rules not in LABELS:
        raise BadInput([Fault("label", "", shown(rules), f"expected one of {', '.join(LABELS)}")])
    return _declared(recipe, tuple(weights), rules)


@once
def _declared(recipe: Recipe, weights: Vector, rules: str) -> tuple[Declared, ...]:
    hundredth = in_100_g(recipe, weights)
    found = []
    for row in LABELS[rules]:
        batch = [held_in_batch(recipe, weights, column) for column in row.columns]
        if row.only_if_any and not any(held.low or held.unknown for held in batch):
            continue
        serving = [held.times(Fraction(1, recipe.servings)) for held in batch]
        text = _text(row, serving)
        other = None if hundredth is None else _text(row, [held.times(hundredth) for held in batch])
        unknown = batch[-1].unknown if any(one is None or one.startswith(BOUNDED) for one in (text, other)) else {}
        found.append(Declared(row.name, text, tuple(unknown), row.inner, other, _daily(row, serving[0]),
                              _least_text(row, serving) if text is None else "", unknown))
    return tuple(found)


AT_MOST, AT_LEAST = BOUNDED = "at most ", "at least "
_BOUNDS_ITSELF = ("<", "less than")


def _text(row: LabelRow, held: Sequence[BatchAmount]) -> str | None:
    """The figure where all that it can be rounds to one, else the most that it can be, rounded up.

    Of a vitamin or mineral that nothing bounds the least that there is: whoever needs it has that much for sure.
    """
    lows, highs = [one.low for one in held], [one.high for one in held if one.high is not None]
    if len(highs) < len(held):
        least = _least_text(row, held) if row.vitamin else ""
        return AT_LEAST + least if least else None
    low, high = row.text(*lows), row.text(*highs)
    if low == high or high.startswith(_BOUNDS_ITSELF):
        return high
    return AT_MOST + row.text(*map(row.rule.up, highs))


def _least_text(row: LabelRow, held: Sequence[BatchAmount]) -> str:
    """What there is at least, rounded down; nothing where that is nothing."""
    down = [row.rule.down(one.low) for one in held]
    return row.text(*down) if any(down) else ""


def _daily(row: LabelRow, held: BatchAmount) -> str:
    """Percent of the daily value, in the same words; what is at most or at least is in whole percent."""
    if row.daily is None:
        return ""
    least = held.low * 100 // row.daily
    if held.high is None:
        return f"{AT_LEAST}{least} %" if row.vitamin and least else ""
    low, high = (row.percent(amount / row.daily) for amount in (held.low, held.high))
    return f"{high} %" if low == high else f"{AT_MOST}{-(-held.high * 100 // row.daily)} %"


def polyol_statement(recipe: Recipe, weights: Sequence[Fraction]) -> Iterator[str]:
    """What a label in the EU says of polyols that are more than a tenth of the finished weight; nothing below.

    Where the recipe does not tell the finished weight it is that of what goes in, and where cooking off up to half
    of that would bring the polyols above a tenth, this is said.
    """
    polyols, cooked = held_in_batch(recipe, weights, POLYOLS_LINE).low, cooked_batch(recipe, weights)
    batch = sum(weights, ZERO) if cooked is None else cooked
    if polyols > LAXATIVE_FROM * batch:
        yield (f"More than 10 % polyols: {LAXATIVE} (Regulation (EU) No 1169/2011, Annex III; take the "
               "exact wording from there).")
    elif cooked is None and polyols > LAXATIVE_FROM * batch / 2:
        yield ("Polyols may be more than 10 % of the finished weight, which the recipe does not tell (finished_grams, "
               f"cooking_loss): a label then says: {LAXATIVE}.")


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


def label_shown(dish: DishAtWeights, rules: str) -> Mapping[str, object]:
    """Everything that the label's part of a card shows."""
    european = rules == "eu"
    figures = declared(dish.recipe, dish.grams_of_each, rules)
    return {
        "rules": rules,
        "size": _serving_size(dish),
        "other": "in 100 g" if european else "daily value",
        "rows": [{"name": figure.name, "value": figure.shown, "inner": figure.inner,
                  "other": (figure.per_100_g or "not known") if european else figure.daily} for figure in figures],
        "notes": [*_open_figures(figures), *(_eu_notes(dish) if european else ()), *LABEL_NOTES[rules]],
        "ingredients": list(_ingredients_by_weight(dish)),
        "statements": list(_eu_statements(dish) if european else _us_statements(dish)),
        "allergens": ALLERGEN_LISTS.get(rules, ""),
    }


def _serving_size(dish: DishAtWeights) -> str:
    """A serving in a measure of the household and in grams, of the finished dish where its weight is told."""
    recipe = dish.recipe
    measure = "the whole dish" if recipe.servings == 1 else f"1/{recipe.servings} of the dish"
    return f"{counted(recipe.pieces, 'piece') if recipe.pieces else measure} ({weight_text(dish.facts.served)} g)"


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


def _eu_notes(dish: DishAtWeights) -> Iterator[str]:
    """That 100 g may be of what goes in; whose protein is reckoned back to nitrogen, and whose stands as it is."""
    if cooked_batch(dish.recipe, dish.grams_of_each) is None:
        yield ("100 g are of what goes in: the recipe does not tell the finished weight (finished_grams, "
               "cooking_loss), of which 100 g hold more where cooking takes water.")
    items = [item for item, _ in used(dish.recipe, dish.grams_of_each)
             if NITROGEN_PROTEIN not in item.food.amounts and item.food.amounts.get("protein_g")]
    other = [f"{item.label} {item.food.nitrogen_factor:g}" for item in items
             if item.food.nitrogen_factor not in (None, float(EU_NITROGEN))]
    untold = [item.label for item in items if item.food.nitrogen_factor is None]
    if other:
        yield f"In the table protein is nitrogen times another factor than 6.25 of {', '.join(other)}."
    if untold:
        yield f"The factor is not told for {', '.join(untold)}: the protein stands as the table has it."


def _ingredients_by_weight(dish: DishAtWeights) -> Iterator[Mapping[str, object]]:
    """In descending weight at mixing, each with its allergens, and its percentage where that is asked."""
    total, asked = sum(dish.grams_of_each), dish.recipe.presentation.percent_of
    for item, weight in sorted(used(dish.recipe, dish.grams_of_each), key=lambda pair: -pair[1]):
        share = f" {short(weight / total * 100, 0)} %" if item.label in asked else ""
        yield {"name": f"{item.label}{share}", "allergens": ", ".join(item.food.allergens or ()),
               "unknown": item.food.allergens_unknown}


def _eu_statements(dish: DishAtWeights) -> Iterator[str]:
    """What goes with the name of a food with sweeteners: Regulation (EU) 1169/2011, Annex III, from memory."""
    roles = {item.food.role for item, _ in used(dish.recipe, dish.grams_of_each)}
    if SWEETENER in roles:
        yield "With sugar(s) and sweetener(s)." if SUGAR in roles else "With sweetener(s)."
    yield from polyol_statement(dish.recipe, dish.grams_of_each)


def _us_statements(dish: DishAtWeights) -> Iterator[str]:
    """The statement of allergens of a US label."""
    named = [US_ALLERGENS[allergen] for allergen in dish.allergens if allergen in US_ALLERGENS]
    unknown = not_known(dish.allergens_unknown) if dish.allergens_unknown else ""
    if named or unknown:
        yield f"Contains: {'; '.join(filter(None, (', '.join(named), unknown)))}."
