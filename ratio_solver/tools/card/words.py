"""The fixed words of a card in the language of its recipe, from one catalogue (`data/words.csv`).

What is not in it stays as it is, in English: a cook's own words, names of foods, and the notes on how it was reckoned.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.csv_file import read_text
from ratio_solver.recipe.model import LANGUAGES

CATALOGUE = "words.csv"
_PLACE = re.compile(r"\\\{[0-9]\\\}")
"""Of a sentence as a pattern."""
_POINT = re.compile(r"(?<=[0-9])\.(?=[0-9])")


@dataclass(frozen=True)
class Words:
    """The words of one language.

    Attributes
    ----------
    language : {"en", "de", "fr"}
    exact : mapping of str to str
        English to this language.
    patterns : tuple of (pattern, str)
        Sentences with places for what varies.
    """

    language: str
    exact: Mapping[str, str]
    patterns: tuple[tuple[re.Pattern[str], str], ...]

    @property
    def english(self) -> bool:
        """Whether there is nothing to say in other words."""
        return self.language == LANGUAGES[0]

    def __call__(self, text: str) -> str:
        """A text of a card in this language; in English where the catalogue lacks it."""
        return text if self.english else self.known(text) or self.figure(text)

    def knows(self, text: str) -> bool:
        """Whether a text is said in this language, and not left in English."""
        return self.english or self.known(text) is not None

    def known(self, text: str) -> str | None:
        """The text in this language, or None where the catalogue lacks it."""
        if (found := self.exact.get(text)) is not None:
            return found
        for pattern, said in self.patterns:
            if match := pattern.fullmatch(text):
                return said.format("", *map(self, match.groups()))
        return None

    def figure(self, text: str) -> str:
        """A figure with the decimal sign of this language."""
        return text if self.english else _POINT.sub(",", text)

    def measure(self, text: str) -> str:
        """A household measure, word by word."""
        return text if self.english else "\u00a0".join(map(self, text.split("\u00a0")))

    def listed(self, text: str, between: str = ", ") -> str:
        """A list, each entry in this language."""
        return between.join(map(self, text.split(between)))


@lru_cache(maxsize=8)
def words_in(language: str) -> Words:
    """The words of a language."""
    if language == LANGUAGES[0]:
        return Words(language, {}, ())
    rows = [(row[LANGUAGES[0]], row[language])
            for row in csv.DictReader(read_text(bundled_path(CATALOGUE)).splitlines())]
    return Words(language, dict(rows), tuple(
        (re.compile(_PLACE.sub("(.+?)", re.escape(english))), said) for english, said in rows if "{1}" in english))
