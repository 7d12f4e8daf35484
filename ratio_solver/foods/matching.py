"""From a cook's own words for a food to a row of the table, with how sure that is and what else it may be.

    match(table, "large eggs").food.name          # 'egg, whole, raw'

The words are looked up as they stand, then with less and less of what only says how the food is cut or bought: among
the names of the table, then among other names of the same foods (`Food.also`). Only where nothing is found so are names
weighed that share words with them (`foods.shared_words`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from ratio_solver.foods.claims import not_carried, without_claims
from ratio_solver.foods.food import PERHAPS, Food, Foods
from ratio_solver.foods.shared_words import SharedWords, fat_of, has_fat
from ratio_solver.foods.words import (
    fat_asked,
    first_part,
    folded,
    key_of,
    short_key,
    shorter,
    telling,
    variants,
    without_shares,
    words_of,
    words_of_folded,
)

Grade = Literal["exact", "other name", "close", "guess", "none"]
"""How sure an answer is, the surest first."""
SURE: tuple[Grade, ...] = ("exact", "other name")
"""Grades of an answer that a cook need not look at."""


@dataclass(frozen=True)
class Match:
    """What a cook's words most likely mean.

    Attributes
    ----------
    food : Food or None
    grade : {"exact", "other name", "close", "guess", "none"}
        The table's own name, another name of the same food, nearly so, perhaps; or nothing like it.
    others : tuple of Food
        What else it may be, the most likely first.
    lacks : tuple of str
        What the words say that nothing bears out of the food: "sugar-free". It is a guess then.
    """

    food: Food | None
    grade: Grade
    others: tuple[Food, ...] = ()
    lacks: tuple[str, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether the words name this very food."""
        return self.grade in SURE


_MINCED, _OF_MINCE = ("minced", "mince"), ("meat", "poultry")


def _far(asked: Sequence[str], food: Food) -> tuple[bool, bool]:
    """How far a food's own name is from the words that are looked for: its first word, any of its words, neither."""
    own = words_of(food.name)
    alike = {"ground" if word in _MINCED else word for word in asked}
    ends = len(asked) == 1 and len(asked[0]) > 4 and any(word.endswith(asked[0]) for word in own)
    return not (alike <= set(own) or ends), not own or not (own[0] in asked or ends)


def _not_sure(found: tuple[int, Grade]) -> tuple[int, Grade]:
    """A finding that is close at most."""
    return (found[0], "close") if found[1] in SURE else found


class Names:
    """All names of a table's foods, to be looked up; each index is made once, where first needed.

    Parameters
    ----------
    foods : Foods
        Only those that are found are read whole.
    """

    def __init__(self, foods: Foods) -> None:
        self.foods = foods
        self.named = [row.named() for row in foods.rows]

    def match(self, words: str, most: int = 3) -> Match:
        """As `ratio_solver.match`."""
        said, (place, grade) = self._meant(words)
        if place is None:
            return Match(None, "none")
        lacks = not_carried(words, self.foods[place])
        others = [other for other, _ in self._shared.likely(said) if other != place] if most > 1 else []
        return Match(self.foods[place], "guess" if lacks else grade,
                     tuple(self.foods[other] for other in others[:most - 1]), lacks)

    def _meant(self, words: str) -> tuple[str, tuple[int, Grade] | tuple[None, Literal["none"]]]:
        """The words as they can be spelt, and the food: by its name, mended, by all its words, by the last of them."""
        if found := self._found(words):
            return words, found
        ways = self._shared.mended(words) or [words]
        if ways != [words]:
            for way in ways:
                if named := self._found(way):
                    return way, _not_sure(named)
        if (bare := without_claims(words)) and bare != folded(words) and (named := self._found(bare)):
            return words, (named[0], "guess")
        likely = self._shared.likely(ways[0])
        if likely and likely[0][1]:
            return ways[0], (likely[0][0], "close")
        return ways[0], self._ended(words) or ((likely[0][0], "guess") if likely else (None, "none"))

    def _ended(self, words: str) -> tuple[int, Grade] | None:
        """A food by the last of the words, which say what it is, as a guess: the whisky of "single malt whisky"."""
        told = telling(words_of_folded(first_part(without_shares(words))))
        for place in range(1, len(told)):
            rest = told[place:]
            if (found := self._found(" ".join(rest))) and (len(rest) > 1 or self._shared.particular(rest[0])):
                return found[0], "guess"
        return None

    # --- looking up --------------------------------------------------------------------------------------------

    @cached_property
    def _spoken(self) -> dict[str, tuple[int, Grade]]:
        """Each name as it is written, but for capitals and accents."""
        found: dict[str, tuple[int, Grade]] = {}
        for place, food in enumerate(self.named):
            for name in food.also:
                perhaps = name[-1] == PERHAPS
                found.setdefault(folded(name[:-1] if perhaps else name), (place, "guess" if perhaps else "other name"))
        own: list[tuple[str, tuple[int, Grade]]] = [
            (folded(name), (place, "exact")) for place, food in enumerate(self.named) for name in (food.id, food.name)]
        return found | dict(own)

    @cached_property
    def _keys(self) -> dict[tuple[str, ...], tuple[int, Grade]]:
        """The words of each name in no order; of two names alike the surer one, the table's own before others."""
        own: list[tuple[Sequence[str], tuple[int, Grade]]] = [
            (words_of(name), (place, "exact")) for place, food in enumerate(self.named) for name in variants(food.name)]
        others = [(words_of_folded(spoken), found) for spoken, found in self._spoken.items() if found[1] != "exact"]
        surest_first = [*own, *sorted(others, key=lambda named: named[1][1] == "guess")]
        keys = [*((key_of(words), found) for words, found in surest_first),
                *((short_key(words), found) for words, found in (*own, *others))]
        return dict(reversed(keys))

    @cached_property
    def _joined(self) -> dict[str, tuple[int, Grade]]:
        """Each name written as one word."""
        return {spoken.replace(" ", ""): found for spoken, found in self._spoken.items()}

    @cached_property
    def _families(self) -> dict[tuple[str, ...], list[int]]:
        """Foods of one name that differ in how much fat they have."""
        found: dict[tuple[str, ...], list[int]] = defaultdict(list)
        for place, food in enumerate(self.named):
            if "%" in food.name:
                found[short_key(words_of(without_shares(food.name)))].append(place)
        return found

    def _found(self, words: str) -> tuple[int, Grade] | None:
        """A food by one of its names, with less and less of what is written beside it."""
        spoken = " ".join(folded(words).split())
        if spoken in self._spoken:
            return self._spoken[spoken]
        fat = fat_asked(words)
        texts = [words] if fat is None else [words, without_shares(words)]
        for asked, near in (one for text in texts for one in shorter(text)):
            if (found := self._named(asked, fat)) is not None:
                return _not_sure(found) if near else found
        joined = self._joined.get(spoken.replace(" ", ""))
        first, two, _ = spoken.partition(" and ")
        if joined is None and two and (one := self._found(first)):
            return one[0], "guess"
        return joined and _not_sure(joined)

    def _named(self, asked: str, fat: float | None) -> tuple[int, Grade] | None:
        """The food that has this very name, or of which it is another one, with the share of fat that is asked."""
        words = words_of_folded(asked)
        found = self._spoken.get(asked) or self._keys.get(key_of(words)) or self._keys.get(short_key(words))
        if fat is None:
            return found
        own = short_key(words_of(without_shares(self.named[found[0]].name))) if found else ()
        family = self._families.get(own) or self._families.get(short_key(words))
        if family:
            place = min(family, key=lambda one: abs(fat_of(self.named[one]) - fat))
            sure: Grade = found[1] if found else "exact"
            return place, sure if has_fat(self.named[place], fat) else "guess"
        if found is None or not has_fat(self.named[found[0]], fat):
            return None
        return found[0], "close" if found[1] == "guess" else found[1]

    @cached_property
    def _shared(self) -> SharedWords:
        return SharedWords(self.named)

    def of_other_fat(self, food: Food) -> list[Food]:
        """The foods that differ from one only in the share of fat that their names state, in the order of the table."""
        family = self._families.get(short_key(words_of(without_shares(food.name)))) if "%" in food.name else None
        return [self.foods[place] for place in family or () if self.named[place].id != food.id]

    # --- searching ---------------------------------------------------------------------------------------------

    def search(self, words: str) -> list[Food]:
        """Foods whose names, id or role hold all the words, as they are spelt; the one that they name first."""
        asked = words_of(words)
        named = self._found(words) if asked else None
        first = [self.named[named[0]]] if named and named[1] != "guess" else []
        holding = self._holding(asked) if asked else []
        begin = asked[0] if asked else ""
        holding.sort(key=lambda food: (*_far(asked, food), not folded(food.name).startswith(begin), len(food.name)))
        if first and len(asked) > 1:  # "vegetable oil" is meant, and no vegetable that lies in oil
            own = {food.id: set(words_of(" ".join((food.name, food.id, *food.also)))) for food in holding}
            holding = [food for food in holding if all(word in own[food.id] or word in _MINCED for word in asked)]
        places = dict.fromkeys(self.foods.places[food.id.lower()] for food in (*first, *holding))
        return [self.foods[place] for place in places]

    def _holding(self, asked: Sequence[str]) -> list[Food]:
        """Foods that hold every word: whole, else as the start of one of theirs, else anywhere."""
        alike = [(word, "ground") if word in _MINCED else (word,) for word in asked]
        anywhere = [(food, text) for food, text in self._texts
                    if all(any(one in text for one in words) for words in alike)
                    and (food.role in _OF_MINCE or all(word in text for word in asked if word in _MINCED))]
        anywhere += [(food, text) for food, text in self._texts if len(asked) == 1 and len(begin := asked[0]) > 4
                     and begin not in text and any(word.endswith(begin) for word in words_of(food.name))]
        held = [(food, frozenset((*words_of_folded(text), food.id.lower()))) for food, text in anywhere]
        whole = [food for food, own in held if all(not own.isdisjoint(words) for words in alike)]
        if len(asked) == 1 and len(asked[0]) > 4:  # a blueberry is a berry
            whole += [food for food, own in held if food not in whole
                      and any(word.endswith(asked[0]) for word in words_of(food.name))]
        return whole or [food for food, own in held if all(
            any(name.startswith(words) for name in own) for words in alike)] or [food for food, _ in anywhere]

    @cached_property
    def _texts(self) -> list[tuple[Food, str]]:
        return [(food, folded(" ".join((food.name, food.id, food.role, *food.also)))) for food in self.named]
