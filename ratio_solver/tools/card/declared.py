"""Declared figures of a dish, by the labelling rules of a jurisdiction: per serving and per 100 g."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from ratio_solver.dish.label import Held, held_in_batch, in_100_g, polyols_in_batch
from ratio_solver.dish.nutrition import cooked_batch
from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.exact import ZERO, Vector
from ratio_solver.foods.label_rules import LABELS, LabelRow
from ratio_solver.recipe.model import Recipe, once

LAXATIVE_FROM = Fraction(1, 10)
"""Share of added polyols in the finished food above which a label in the EU warns of them: Regulation (EU) No
1169/2011, Annex III (from memory). Erythritol is a polyol there. Tables do not say which polyols were added, so all
count: that is the strict side."""

LAXATIVE = "excessive consumption may produce laxative effects"
"""The statement, from memory: its exact legal wording is to be taken from the Regulation."""

NOT_KNOWN = "not known"


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
        if self.text is not None:
            return self.text
        return f"{NOT_KNOWN}, at least {self.least}" if self.least else NOT_KNOWN


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
                              _least(row, serving) if text is None else "", unknown))
    return tuple(found)


AT_MOST, AT_LEAST = BOUNDED = "at most ", "at least "
_BOUNDS_ITSELF = ("<", "less than")


def _text(row: LabelRow, held: Sequence[Held]) -> str | None:
    """The figure where all that it can be rounds to one, else the most that it can be, rounded up.

    Of a vitamin or mineral that nothing bounds the least that there is: whoever needs it has that much for sure.
    """
    lows, highs = [one.low for one in held], [one.high for one in held if one.high is not None]
    if len(highs) < len(held):
        least = _least(row, held) if row.vitamin else ""
        return AT_LEAST + least if least else None
    low, high = row.text(*lows), row.text(*highs)
    if low == high or high.startswith(_BOUNDS_ITSELF):
        return high
    return AT_MOST + row.text(*map(row.rule.up, highs))


def _least(row: LabelRow, held: Sequence[Held]) -> str:
    """What there is at least, rounded down; nothing where that is nothing."""
    down = [row.rule.down(one.low) for one in held]
    return row.text(*down) if any(down) else ""


def _daily(row: LabelRow, held: Held) -> str:
    """Percent of the daily value, in the same words; what is at most or at least is in whole percent."""
    if row.daily is None:
        return ""
    least = held.low * 100 // row.daily
    if held.high is None:
        return f"{AT_LEAST}{least} %" if row.vitamin and least else ""
    low, high = (row.percent(amount / row.daily) for amount in (held.low, held.high))
    return f"{high} %" if low == high else f"{AT_MOST}{-(-held.high * 100 // row.daily)} %"


def polyol_statement(recipe: Recipe, weights: Sequence[Fraction]) -> tuple[str, ...]:
    """What a label in the EU says of polyols that are more than a tenth of the finished weight; nothing below.

    Where the recipe does not tell the finished weight it is that of what goes in, and where cooking off up to half
    of that would bring the polyols above a tenth, this is said.
    """
    polyols = polyols_in_batch(recipe, weights)
    batch, cooked = sum(weights, ZERO), cooked_batch(recipe, weights)
    if polyols > LAXATIVE_FROM * (batch if cooked is None else cooked):
        return (f"More than 10 % polyols: {LAXATIVE} (Regulation (EU) No 1169/2011, Annex III; take the "
                "exact wording from there).",)
    if cooked is None and polyols > LAXATIVE_FROM * batch / 2:
        return ("Polyols may be more than 10 % of the finished weight, which the recipe does not tell (finished_grams, "
                f"cooking_loss): a label then says: {LAXATIVE}.",)
    return ()
