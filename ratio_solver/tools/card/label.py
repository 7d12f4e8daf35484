"""Declared figures on a card, and what a label must say with them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ratio_solver.dish.check import Check
from ratio_solver.errors import written_out
from ratio_solver.solving.result import Proposal
from ratio_solver.tools.card.declared import Declared, declared, polyol_statement

Dish = Proposal | Check
"""A dish with weights: solved, or as written."""


@dataclass(frozen=True)
class Figure:
    """A name beside its value."""

    name: str
    value: str
    inner: bool = False
    strong: bool = False


@dataclass(frozen=True)
class Label:
    """Declared figures and what must be said with them.

    Attributes
    ----------
    rules : {"us", "eu"}
    rows : tuple of Figure
    notes : tuple of str
        How the figures are reckoned.
    statements : tuple of str
        What the label itself must say.
    allergens : str
        Which list the card's allergens follow, where it is not that of these rules.
    """

    rules: str
    rows: tuple[Figure, ...]
    notes: tuple[str, ...]
    statements: tuple[str, ...] = ()
    allergens: str = ""


def label_of(dish: Dish, rules: str) -> Label:
    """Declared figures of one serving, and what must be said with them."""
    grams = tuple(weight.grams for weight in dish.weights)
    figures = declared(dish.recipe, grams, rules)
    return Label(rules, tuple(_declared_figure(figure) for figure in figures),
                 (*_unknown_notes(figures), *LABEL_NOTES[rules]),
                 tuple(polyol_statement(dish.recipe, grams)) if rules == "eu" else (), ALLERGEN_LISTS.get(rules, ""))


def _declared_figure(figure: Declared) -> Figure:
    return Figure(figure.name, "not known" if figure.text is None else figure.text, figure.inner)


def _unknown_notes(figures: Iterable[Declared]) -> list[str]:
    by_labels: dict[tuple[str, ...], list[str]] = {}
    for figure in figures:
        if figure.unknown:
            by_labels.setdefault(figure.unknown, []).append(figure.name.removeprefix("of which "))
    return [written_out(f"Not known for {', '.join(labels)}: {', '.join(names)}.")
            for labels, names in by_labels.items()]


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
