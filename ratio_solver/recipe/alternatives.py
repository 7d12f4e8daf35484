"""Foods that a line leaves the choice of: "vegetable or olive oil", "Gemüse- oder Hühnerbrühe"."""

from __future__ import annotations

import re

OR = r"(?:and/or|or|oder|ou|bzw\.)"
_OR = re.compile(rf"\s*,?\s+{OR}\s+(?!\d)|(?<=[^\W\d_]{{3}})\s*/\s*(?=[^\W\d_]{{3}})", re.IGNORECASE)
_OPENING = re.compile(rf"\s*\(\s*{OR}\s+([^()]+)\)", re.IGNORECASE)
_INSIDE = re.compile(rf"^(?P<noun>[^(),\d]+?)\s*\((?P<first>[^(),\d]+?)\s+{OR}\s+(?P<second>[^(),\d]+)\)",
                     re.IGNORECASE)
_NO_FOODS = re.compile(r"\b(?:more|less|taste|needed|see|if|use|your|similar|other|to)\b", re.IGNORECASE)
_BEFORE = re.compile(r"^(?:use |some |any |the |de la |de l'|du |des |de |d')", re.IGNORECASE)
MOST_OF_NOUN = 3
"""Words of a noun, or of what tells it from others, at most: more is a remark."""


def opened(text: str) -> str:
    """The words with a choice that stands in parentheses put before or after what it belongs to.

    >>> opened("oil (vegetable or sunflower)"), opened("tamari (or soy sauce), to serve")
    ('vegetable or sunflower oil', 'tamari or soy sauce, to serve')
    """
    text = _OPENING.sub(lambda found: found[0] if re.match(_NO_FOODS, found[1]) else f" or {found[1]}", text)
    found = _INSIDE.match(text)
    if not found or _NO_FOODS.search(found[0]) or any(len(part.split()) > MOST_OF_NOUN for part in found.groups()):
        return text
    return f"{found['first']} or {found['second']} {found['noun'].strip()}{text[found.end():]}"


def parted(words: str) -> list[str]:
    """The foods that the words leave the choice of, as they are written; one where they leave none.

    >>> parted("beurre ou de margarine"), parted("cod, haddock or pollock"), parted("onion, diced")
    (['beurre', 'margarine'], ['cod, haddock', 'pollock'], ['onion, diced'])
    """
    found = [_BEFORE.sub("", part.strip(" ,")) for part in _OR.split(words) if part and part.strip(" ,")]
    return found or [words]


def wholes(first: str, second: str) -> tuple[str, ...]:
    """The first of two with what the second ends with, the most first; nothing where it cannot lack that.

    >>> wholes("red", "white wine vinegar"), wholes("Gemüse-", "Hühnerbrühe")[5], wholes("butter", "lard")
    (('red wine vinegar', 'red vinegar'), 'Gemüsebrühe', ())
    """
    name = first.split(",")[0].strip()
    head = second.split(",")[0].split()
    if name.endswith("-") and head:
        stem = name.rstrip("-")
        return tuple(stem + head[-1][place:] for place in range(1, len(head[-1]) - 1))
    if len(name.split()) > MOST_OF_NOUN or (head and name.lower().endswith(head[-1].lower())):
        return ()
    return tuple(" ".join((name, *head[-count:])) for count in range(len(head) - 1, 0, -1))
