"""A recipe in a saved web page or a JSON file: schema.org Recipe as JSON-LD.

Only the data is read: no script runs, nothing is fetched, and what the data holds ends up as plain text of one line.
"""

from __future__ import annotations

import html
import json
import re
from collections import deque
from collections.abc import Iterator, Mapping
from contextlib import suppress
from html.parser import HTMLParser

from ratio_solver.errors import BadInput, Fault, one_line
from ratio_solver.foods.sizes import MOST_INGREDIENTS
from ratio_solver.recipe.written_text import (
    Line,
    Written,
    heading_of,
    line_kind_of,
    method_step_of,
    part_within,
    servings_in,
)

MOST_NODES = 100_000
"""Values of a page's data that are looked at: a page with more is no recipe."""

MOST_TEXT = 20_000
"""Characters of one value that are read."""

_DATA = re.compile(r"\s*application/(?:ld\+)?json\b", re.IGNORECASE)
_BREAKS = re.compile(r"<\s*(?:br|/p|/li|/div|/h\d)\b[^>]*>", re.IGNORECASE)
_TAG = re.compile(r"<[^<>]{0,1000}>")
_HIDDEN = re.compile(r"<(script|style)\b.*?</\1\s*>", re.IGNORECASE | re.DOTALL)


def is_page(text: str) -> bool:
    """Whether a text is a web page or JSON rather than lines that a cook wrote.

    >>> is_page("<!doctype html><p>"), is_page('{"@type": "Recipe"}'), is_page("[optional] 2 eggs"), is_page("2 eggs")
    (True, True, False, False)
    """
    start = text.lstrip("\ufeff \t\r\n")
    return bool(re.match(r"<(?:!|\?xml|html|head|body|script|meta|div|article)|\{|\[\s*[\[{\"]", start, re.IGNORECASE)
                or re.search(r"<script\b[^>]*ld\+json", text, re.IGNORECASE))


def recipes_in(text: str, source: str = "page") -> tuple[Written, ...]:
    """The recipes of a page or a JSON file that have ingredients, in order.

    Raises
    ------
    BadInput
        Where there is none, with the reason.
    """
    found: list[Written] = []
    wrong = ""
    for block in _blocks(text):
        try:
            data = _loaded(block)
        except (ValueError, RecursionError) as error:
            wrong = wrong or f"; its data is not JSON: {error}"
            continue
        found += [written for node in _recipes(data) if (written := _written_of_page(node)).lines]
    if not found:
        raise BadInput([Fault(source, "", "", "holds no recipe that can be read (schema.org Recipe with "
                              f"recipeIngredient, as JSON-LD){wrong}; expected one, or a text file with one ingredient "
                              "a line")])
    return tuple(dict.fromkeys(found))


class _Scripts(HTMLParser):
    """The data blocks of a page; scripts are text, and no other than data is kept."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.blocks: list[str] = []
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A script that holds data begins a block."""
        kind = next((value for name, value in attrs if name == "type" and value), "")
        if tag == "script":
            self._inside = bool(_DATA.match(kind))
            if self._inside:
                self.blocks.append("")

    def handle_endtag(self, tag: str) -> None:
        """The end of a script ends its block."""
        if tag == "script":
            self._inside = False

    def parse_marked_section(self, i: int, report: int = 1) -> int:
        """What begins with ``<![`` ends at the next ``>``, as in HTML; the base class stops at one without a name."""
        return self.rawdata.find(">", i) + 1 or -1

    def handle_data(self, data: str) -> None:
        """Text of a block."""
        if self._inside:
            self.blocks[-1] += data


def _blocks(text: str) -> list[str]:
    if text.lstrip("\ufeff \t\r\n").startswith(("{", "[")):
        return [text]
    reader = _Scripts()
    reader.feed(text)
    reader.close()
    return reader.blocks


def _loaded(block: str) -> object:
    """JSON as pages have it: in a comment, with raw line ends, a comma too many, or with its quotes as entities."""
    bare = re.sub(r"^\s*(?:<!--|//\s*<!\[CDATA\[|/\*\s*<!\[CDATA\[\s*\*/|<!\[CDATA\[)|"
                  r"(?:-->|//\s*\]\]>|/\*\s*\]\]>\s*\*/|\]\]>)\s*;?\s*$", "", block.strip("\ufeff \t\r\n"))
    bare = bare.strip().rstrip(";")
    for way in (bare, re.sub(r",(\s*[}\]])", r"\1", bare), html.unescape(bare)):
        with suppress(ValueError):
            return json.loads(way, strict=False)
    return json.loads(bare, strict=False)  # says what is wrong with it


def _recipes(data: object) -> Iterator[Mapping[str, object]]:
    """Every object of type Recipe, wherever it is; what is inside one is not looked through again."""
    waiting = deque([data])
    for _ in range(MOST_NODES):
        if not waiting:
            return
        node = waiting.popleft()
        if isinstance(node, Mapping):
            kinds = node.get("@type")
            names = kinds if isinstance(kinds, list) else [kinds]
            if any(isinstance(name, str) and name.rsplit("/", 1)[-1].lower() == "recipe" for name in names) or (
                    kinds is None and "recipeIngredient" in node):
                yield node
            else:
                waiting.extendleft(reversed(list(node.values())))
        elif isinstance(node, list):
            waiting.extendleft(reversed(node))


def _written_of_page(node: Mapping[str, object]) -> Written:
    part = ""
    lines: list[Line] = []
    over: list[str] = []
    servings = _servings(node.get("recipeYield") or node.get("yield"))
    for text in _texts(node.get("recipeIngredient") or node.get("ingredients"))[:2 * MOST_INGREDIENTS]:
        kind = line_kind_of(text)
        if kind == "heading":
            part = heading_of(text)
        elif kind == "item":
            lines.append(Line(text, part_within(text)[0] or part))
        elif kind == "servings":
            servings = servings or servings_in(text)
        else:
            over.append(text)
    title = next(iter(_texts(node.get("name") or node.get("headline"))), "")
    method = tuple(step for step in map(method_step_of, _steps(node.get("recipeInstructions"))) if step)
    return Written(title, servings, tuple(lines), method, tuple(over))


def _servings(value: object) -> int | None:
    """The number in a yield: 4, "4", "Serves 4", ["4", "4 bowls"]."""
    return next((count for text in _texts(value) if (count := servings_in(text)) is not None), None)


def _texts(value: object) -> list[str]:
    """The lines of a value, without markup: of a text, a list, or objects with a text or a name."""
    if isinstance(value, bool) or value is None:
        return []
    if isinstance(value, int | float):
        return [f"{value:g}"]
    if isinstance(value, str):
        return lines_of_markup(value)
    if isinstance(value, list):
        return [line for item in value[:MOST_NODES] if not isinstance(item, list) for line in _texts(item)]
    if isinstance(value, Mapping):
        told = (value.get(key) for key in ("amount", "text", "name", "value"))
        return lines_of_markup(" ".join(str(one) for one in told if isinstance(one, str | int | float)))
    return []


def _steps(value: object, depth: int = 0) -> Iterator[str]:
    """The steps of a method: a text, a list, HowToSteps, HowToSections of them."""
    if isinstance(value, str):
        yield from lines_of_markup(value)
    elif isinstance(value, list) and depth < 8:
        for item in value[:MOST_NODES]:
            yield from _steps(item, depth + 1)
    elif isinstance(value, Mapping) and depth < 8:
        inside = value.get("itemListElement") or value.get("steps")
        text = value.get("text") or value.get("name")
        if inside:
            yield from (f"{line.rstrip(':')}:" for line in _texts(value.get("name")))
            yield from _steps(inside, depth + 1)
        elif isinstance(text, str):
            yield from lines_of_markup(text)


def lines_of_markup(text: str) -> list[str]:
    """The lines of a text with markup and entities, as plain text of one line each.

    >>> lines_of_markup("1&frac12; cups <b>flour</b><br>2 eggs"), lines_of_markup("Tom &amp;amp; Kha")
    (['1½ cups flour', '2 eggs'], ['Tom & Kha'])
    """
    text = text[:MOST_TEXT]
    for spelled in (str, html.unescape, html.unescape):
        text = _TAG.sub("", _BREAKS.sub("\n", _HIDDEN.sub("", spelled(text))))
    return [line for line in map(one_line, text.splitlines()) if line]
