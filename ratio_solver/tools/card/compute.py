"""The card of a dish: one printable page for the kitchen and for the reader, without anything from elsewhere.

The same card is a page (HTML), Markdown, plain data (JSON) or structured data: a Recipe with NutritionInformation in
the vocabulary of schema.org, as JSON-LD. Its figures are per serving and have their units. What is not wholly known is
left out, and so is what the vocabulary has no word for: the ratio and the net carbohydrate stand in the description,
with the caution. A photo is in the page as it is where it is small, else scaled down (extra `photos`: Pillow is the one
general library that decodes JPEG, PNG and WebP, and only whoever has large photos needs it).
"""

from __future__ import annotations

import base64
import io
import json
import re
from fractions import Fraction
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.check import DishAtWeights
from ratio_solver.dish.nutrition import used
from ratio_solver.errors import BadInput, Fault, shown, written_out
from ratio_solver.foods.bundled import table_ids
from ratio_solver.foods.label_rules import LABELS
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.sizes import size_words
from ratio_solver.output.dish_text import fact, facts_data, policy_data, weight_data
from ratio_solver.output.json_csv import Data, as_json
from ratio_solver.output.numbers import counted, short, visible
from ratio_solver.recipe.model import Ingredient
from ratio_solver.tools.card.claims import claims_of, stated_ratio
from ratio_solver.tools.card.content import Shown, card_content, food_beside, grams_text
from ratio_solver.tools.card.words import words_in

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
        page = templates(markdown=True).get_template("card.md.j2")
        return page.render(card=content, w=words_in(dish.recipe.presentation.language))
    return templates().get_template("card.html.j2").render(page_of(dish, content))


def page_of(dish: DishAtWeights, content: Shown) -> dict[str, Any]:
    """What the template of a page is given."""
    photo = dish.recipe.presentation.photo
    return {
        "card": content, "w": words_in(dish.recipe.presentation.language), "at": ALONE,
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
        "claims": [{"name": claim.name, "value": claim.value} for claim in claims_of(dish, label)],
        "label": content["label"], "allergens": list(dish.allergens),
        "allergens_unknown": list(dish.allergens_unknown),
        "method": list(dish.recipe.method), "note": dish.recipe.note or None,
        "policy": policy_data(dish.recipe, dish.guaranteed, dish.grams_of_each),
        "sources": list(content["sources"]), "warnings": list(dish.warnings), "cautions": list(dish.cautions),
        "tables": table_ids(dish.recipe.composition),
    }


@lru_cache(maxsize=2)
def templates(*, markdown: bool = False) -> Environment:
    """The templates of pages, or of Markdown: whatever a value holds is seen for what it is, and is text."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    folder = files("ratio_solver.tools.card")
    made = Environment(autoescape=not markdown, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
                       finalize=_text_of_markdown if markdown else _seen,
                       loader=FunctionLoader(lambda name: folder.joinpath(name).read_text(encoding="utf-8")))
    made.filters["words"] = lambda text, words: words(text)
    return made


def _seen(value: object) -> object:
    """A value that can be seen for what it is; markup is our own, of values that have been here."""
    return value if hasattr(value, "__html__") else written_out(str(value))


def _text_of_markdown(value: object) -> str:
    r"""A value that Markdown takes for text.

    >>> [_text_of_markdown(text) for text in ("*salt* <b>", "2.5 g", "- no list", "1. none")]
    ['\\*salt\\* \\<b\\>', '2.5 g', '\\- no list', '1\\. none']
    """
    return _MARKED.sub(_with_backslash, written_out(str(value)))


def _with_backslash(match: re.Match[str]) -> str:
    if match[1]:
        return f"\\{match[1]}"
    return f"{match[2]}{match[3]}\\" if match[3].isdigit() else f"{match[2]}\\{match[3]}"


CONTEXT = "https://schema.org"

NUTRITION = (
    ("calories", "energy_kcal", "kcal", 0), ("carbohydrateContent", "carbs_g", "g", 2),
    ("fiberContent", "fibre_g", "g", 2), ("sugarContent", "sugars_g", "g", 2), ("fatContent", "fat_g", "g", 2),
    ("saturatedFatContent", "saturated_g", "g", 2), ("transFatContent", "trans_g", "g", 2),
    ("cholesterolContent", "cholesterol_mg", "mg", 0), ("sodiumContent", "sodium_mg", "mg", 0),
    ("proteinContent", "protein_g", "g", 2),
)
"""Property of NutritionInformation, column, unit and decimals; "calories" is an Energy, the others a Mass: text of a
number and its unit."""

UNSAFE = {ord(letter): f"\\u{ord(letter):04x}" for letter in "<>&\u2028\u2029"}
"""What could end the element that the data stand in, or a line of a program that reads them."""


def recipe_data(dish: DishAtWeights) -> Data:
    """The dish as schema.org has it: what is not told has no key.

    Parameters
    ----------
    dish : Proposal or Check
    """
    recipe, facts, told = dish.recipe, dish.facts, dish.recipe.presentation
    times = dict(told.times)
    figures = {name: f"{visible(amount, decimals) if amount else 0} {unit}"
               for name, column, unit, decimals in NUTRITION
               if (amount := facts.amounts.get(column)) is not None and column not in facts.unknown}
    found: Data = {
        "@context": CONTEXT,
        "@type": "Recipe",
        "name": recipe.title,
        "description": _description(dish),
        "inLanguage": told.language,
        "author": {"@type": "Person", "name": told.author} if told.author else None,
        "recipeYield": told.yield_text or counted(recipe.servings, "serving"),
        "prepTime": duration(times.get("prep")),
        "cookTime": duration(times.get("cook")),
        "totalTime": duration(sum(times.values()) if times else None),
        "recipeIngredient": [ingredient_text(*pair) for pair in used(recipe, dish.grams_of_each)],
        "recipeInstructions": [{"@type": "HowToStep", "position": place, "text": step}
                               for place, step in enumerate(recipe.method, 1)] or None,
        "nutrition": {"@type": "NutritionInformation", "servingSize": f"{short(facts.served, 1)} g",
                      **figures},
    }
    return {key: value for key, value in found.items() if value is not None}


def _description(dish: DishAtWeights) -> str:
    """The cook's note, and what the vocabulary has no word for as it stands on the card, with the caution."""
    reckoned = f"Ratio {stated_ratio(dish)}{dish.recipe.policy.formula}"
    if NET_CARBS in dish.facts.amounts:
        reckoned += f", net carbs {fact(dish.facts, NET_CARBS, dish.limits)} a serving"
    return " ".join(filter(None, (dish.recipe.note, f"{reckoned}; {in_a_cell(dish.cautions)}.")))


def ingredient_text(item: Ingredient, grams: Fraction) -> str:
    """An ingredient of the batch in one line: "568 g cauliflower, boiled"."""
    return f"{grams_text(grams)} g {', '.join(filter(None, (item.label, food_beside(item.label, item.food.name))))}"


def duration(minutes: int | None) -> str | None:
    """Minutes as a duration by ISO 8601.

    >>> duration(75), duration(0), duration(None)
    ('PT1H15M', 'PT0M', None)
    """
    if minutes is None:
        return None
    hours, rest = divmod(minutes, 60)
    return "PT" + (f"{hours}H" if hours else "") + (f"{rest}M" if rest or not hours else "")


def as_jsonld(data: object, indent: int | None = None) -> str:
    r"""JSON that may stand inside a page: nothing in it ends its element.

    >>> as_jsonld({"name": "</script>\u2028"})
    '{"name": "\\u003c/script\\u003e\\u2028"}'
    """
    return json.dumps(data, allow_nan=False, indent=indent).translate(UNSAFE)


LARGEST_EMBEDDED = 300_000
"""Bytes of a photo inside a page."""

MOST_READ = 32 << 20
MOST_PIXELS = 64_000_000
LONGER_SIDE = 1200
"""Pixels of the longer side once it is scaled."""

QUALITIES = (85, 75, 65, 55, 45, 35)
PICTURES = {"jpeg": rb"\xff\xd8\xff", "png": rb"\x89PNG\r\n\x1a\n", "gif": rb"GIF8", "webp": rb"RIFF....WEBP"}
"""How the files of each kind begin."""


def embedded(path: str, source: str) -> str:
    """The photo as the address of an image inside a page ("data:image/jpeg;base64,...").

    Parameters
    ----------
    path : str
    source : str
        The recipe file, for faults.

    Raises
    ------
    BadInput
        Where there is no such picture, or it is too large and cannot be scaled.
    """
    try:
        with Path(path).open("rb") as file:
            data = file.read(MOST_READ + 1)
    except (OSError, ValueError) as error:
        raise _photo_fault(source, path, f"cannot be read: {getattr(error, 'strerror', None) or error}") from error
    kind = next((kind for kind, begin in PICTURES.items() if re.match(begin, data, re.DOTALL)), "")
    if not kind or len(data) > MOST_READ:
        raise _photo_fault(source, path, "expected a picture (JPEG, PNG, WebP or GIF) of at most "
                           f"{size_words(MOST_READ)}")
    if len(data) > LARGEST_EMBEDDED:
        data, kind = _scaled_down(data, path, source), "jpeg"
    return f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"


def _scaled_down(data: bytes, path: str, source: str) -> bytes:
    """A JPEG of at most `LARGEST_EMBEDDED`, upright, without what a camera writes into a file."""
    try:
        from PIL import Image, ImageOps
    except ImportError as error:
        raise _photo_fault(source, path, f"is {size_words(len(data))}; expected at most "
                           f"{size_words(LARGEST_EMBEDDED)}, or the extra that scales it: pip install '.[photos]' "
                           "in a clone of the repository") from error
    try:
        with Image.open(io.BytesIO(data)) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise _photo_fault(source, path, f"expected at most {MOST_PIXELS:,} pixels")
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise _photo_fault(source, path, f"cannot be read as a picture: {error}") from error
    picture.thumbnail((LONGER_SIDE, LONGER_SIDE))
    for quality in QUALITIES:
        made = io.BytesIO()
        picture.save(made, "JPEG", quality=quality, optimize=True)
        if made.tell() <= LARGEST_EMBEDDED:
            break
    return made.getvalue()


def _photo_fault(source: str, path: str, expected: str) -> BadInput:
    return BadInput([Fault(source, "photo", path, expected)])
