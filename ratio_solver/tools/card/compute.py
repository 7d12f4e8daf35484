"""The card of a dish: one printable page for the kitchen and for the reader, without anything from elsewhere."""

from __future__ import annotations

from importlib.resources import files

from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.foods.label_rules import LABELS
from ratio_solver.solving.result import Impossible
from ratio_solver.tools.card.label import Dish
from ratio_solver.tools.card.view import card_view

LABEL_CHOICES = ("none", *LABELS)


def card(dish: Dish, label: str = "none") -> str:
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
    """
    from jinja2 import Environment, StrictUndefined

    if label not in LABEL_CHOICES:
        raise BadInput([Fault("label", "", shown(label), f"expected one of {', '.join(LABEL_CHOICES)}")])
    if isinstance(dish, Impossible):
        raise BadInput([Fault(dish.recipe.source, "", "", "no weights satisfy the limits: there is no card")])
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    template = files("ratio_solver.tools.card").joinpath("card.html.j2").read_text(encoding="utf-8")
    return page.from_string(template).render(card=card_view(dish, label))
