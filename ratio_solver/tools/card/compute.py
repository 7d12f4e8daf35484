"""The card of a dish: one printable page for the kitchen and for the reader, without anything from elsewhere.

The same card is a page (HTML), Markdown, plain data (JSON) or structured data (JSON-LD).
"""

from __future__ import annotations

import re
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from ratio_solver.dish.check import DishAtWeights
from ratio_solver.errors import BadInput, Fault, shown, written_out
from ratio_solver.foods.bundled import table_ids
from ratio_solver.foods.label_rules import LABELS
from ratio_solver.output.dish_data import facts_data, policy_data, weight_data
from ratio_solver.output.json_csv import as_json
from ratio_solver.tools.card.claims import claims
from ratio_solver.tools.card.content import Shown, card_content
from ratio_solver.tools.card.jsonld import as_jsonld, recipe_data
from ratio_solver.tools.card.photo import embedded
from ratio_solver.tools.card.words import Words, words_of

if TYPE_CHECKING:
    from jinja2 import Environment

LABEL_CHOICES = ("none", *LABELS)
FORMS = ("html", "md", "json", "jsonld")

ALONE = {"id": "", "h1": "h1", "h2": "h2"}
"""Where a dish stands on a page of its own: what begins its ids, and its headings."""

_MARKED = re.compile(r"([\\`*_\[\]<>#|~&])|^(\s*)([-+=]|[0-9]+(?=[.)](?:\s|$)))")
"""What Markdown, or HTML inside it, would take for a mark: anywhere, or at the start of a line."""


def card(dish: DishAtWeights, label: str = "none", *, form: str = "html", measures: bool = False) -> str:
    """The page of a dish with weights.

    Parameters
    ----------
    dish : Proposal or Check
        What `solve` found, or what `check` says of the weights as written.
    label : {"none", "us", "eu"}
        Whose rules round the declared figures, if they are wanted.
    form : {"html", "md", "json", "jsonld"}
        A page, Markdown, plain data, or structured data for a page (schema.org).
    measures : bool
        Whether to show a household measure beside every weight that has one.

    Returns
    -------
    str
        The same for the same dish, always: no date, nothing that runs, nothing loaded from elsewhere.

    Raises
    ------
    BadInput
        Where there are no such rules, where the photo cannot be read, or where the dish is impossible: it has no card.

    Examples
    --------
    >>> from ratio_solver import card, check, load_foods, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> page = card(check(gratin), label="eu")
    >>> "Declared per serving, EU rules" in page
    True
    """
    for name, value, choices in (("label", label, LABEL_CHOICES), ("format", form, FORMS)):
        if value not in choices:
            raise BadInput([Fault(name, "", shown(value), f"expected one of {', '.join(choices)}")])
    if not isinstance(dish, DishAtWeights):
        raise BadInput([Fault(dish.recipe.source, "", "", f"{dish.outcome}: there is no card")])
    if form == "jsonld":
        return as_jsonld(recipe_data(dish), indent=2)
    content = card_content(dish, label, measures)
    if form == "json":
        return as_json(card_data(dish, content, label))
    if form == "md":
        return markdown_environment().get_template("card.md.j2").render(card=content, w=words_for(dish))
    return environment().get_template("card.html.j2").render(page_of(dish, content))


def words_for(dish: DishAtWeights) -> Words:
    """The fixed words of a dish's card."""
    return words_of(dish.recipe.presentation.language)


def page_of(dish: DishAtWeights, content: Shown) -> dict[str, Any]:
    """What the template of a page is given."""
    photo = dish.recipe.presentation.photo
    return {
        "card": content, "w": words_for(dish), "at": ALONE,
        "photo": embedded(photo, dish.recipe.source) if photo else "",
        "jsonld": as_jsonld(recipe_data(dish)),
    }


def card_data(dish: DishAtWeights, content: Shown, label: str) -> dict[str, Any]:
    """The card as plain data: what it says, the exact weights and figures beside it."""
    told = dish.recipe.presentation
    return {
        "title": dish.recipe.title, "servings": dish.recipe.servings,
        "author": told.author or None, "times": dict(told.times), "yield_text": told.yield_text or None,
        "language": told.language,
        "weights": [weight_data(weight) for weight in dish.weights],
        "per_serving": facts_data(dish.facts, dish.limits),
        "unknown": {column: list(labels) for column, labels in dish.facts.unknown.items()},
        "claims": [{"name": claim.name, "value": claim.value} for claim in claims(dish, label)],
        "label": content["label"], "allergens": list(dish.allergens),
        "allergens_unknown": list(dish.allergens_unknown),
        "method": list(dish.recipe.method), "note": dish.recipe.note or None,
        "policy": policy_data(dish.recipe, dish.guaranteed, dish.grams_of_each),
        "sources": list(content["sources"]), "warnings": list(dish.warnings), "cautions": list(dish.cautions),
        "tables": table_ids(dish.recipe.composition),
    }


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The templates of pages. Whatever a name holds is seen for what it is, and is text."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
                       finalize=_seen, loader=FunctionLoader(_template))
    made.filters["words"] = _in_words
    return made


@lru_cache(maxsize=1)
def markdown_environment() -> Environment:
    """The templates of Markdown: every value is text, its marks escaped."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    made = Environment(autoescape=False, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
                       finalize=lambda value: unmarked(str(value)), loader=FunctionLoader(_template))
    made.filters["words"] = _in_words
    return made


def _seen(value: object) -> object:
    """A value that can be seen for what it is; markup is our own, of values that have been here."""
    return value if hasattr(value, "__html__") else written_out(str(value))


def _in_words(text: str, words: Words) -> str:
    """A text in the words of a language, as a filter."""
    return words(text)


def unmarked(text: str) -> str:
    r"""A text that Markdown takes for text.

    >>> unmarked("*salt* <b>"), unmarked("2.5 g"), unmarked("- no list"), unmarked("1. none")
    ('\\*salt\\* \\<b\\>', '2.5 g', '\\- no list', '1\\. none')
    """
    return _MARKED.sub(_escaped, written_out(text))


def _escaped(match: re.Match[str]) -> str:
    if match[1]:
        return f"\\{match[1]}"
    return f"{match[2]}{match[3]}\\" if match[3].isdigit() else f"{match[2]}\\{match[3]}"


def _template(name: str) -> str:
    return files("ratio_solver.tools.card").joinpath(name).read_text(encoding="utf-8")
