"""From a cook's own words for a food to a row of the table, with how sure that is and what else it may be.

    match(table, "large eggs").food.name          # 'egg, whole, raw'

The words are looked up as they stand, then with less and less of what only says how the food is cut or bought: among
the names of the table, then among other names of the same foods (`Food.also`). Only where nothing is found so are names
weighed that share words with them: rare words count more, and the head word, the one that says what it is ("egg" of an
egg, "butter" of peanut butter), must be among them. A food is meant raw unless the words say otherwise.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

from ratio_solver.foods.food import Food
from ratio_solver.foods.words import (
    CLAUSE,
    MINOR,
    NEUTRAL,
    SAID_BESIDE,
    STATES,
    UNTOUCHED,
    fat_asked,
    folded,
    states_in,
    telling,
    without_shares,
    words_of,
)

Grade = Literal["exact", "other name", "close", "guess", "none"]
SURE: tuple[Grade, ...] = ("exact", "other name")
"""Grades of an answer that a cook need not look at."""

PERHAPS = "?"
"""After another name in the table: the nearest food that there is, not the same one; a guess at most."""

MISSPELT = 78.0
"""How alike, of 100, an unknown word and one of the names must be to stand for it (RapidFuzz's `ratio`); our choice."""

SHORTEST = 4
"""Letters from which on a word may be misspelt: of shorter ones too many are alike."""

LEAST_COVERED = 0.45
"""Share of the words, by weight, that a name must have to be even a guess; our choice."""


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
    """

    food: Food | None
    grade: Grade
    others: tuple[Food, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether the words name this very food."""
        return self.grade in SURE


class Named(Protocol):
    """A table whose foods can be looked up by a cook's words."""

    @property
    def names(self) -> Names:
        """The index of its names."""


def match(table: Named, words: str, most: int = 3) -> Match:
    """The food that a cook's words mean.

    Parameters
    ----------
    table : FoodTable
    words : str
        Without amount and unit: "large eggs", "tinned chopped tomatoes, drained", "Schlagsahne".
    most : int
        Foods named at most, the one meant and the others together.
    """
    return table.names.match(words, most)


@dataclass(frozen=True)
class _Name:
    """One name of a food: its words in their singular, which of them says what it is, what has been done to it."""

    place: int
    words: frozenset[str]
    head: str
    states: frozenset[str]
    length: int
    perhaps: bool


class Names:
    """All names of a table's foods, to be looked up; made once, where first needed.

    Parameters
    ----------
    foods : sequence of Food
    """

    def __init__(self, foods: Sequence[Food]) -> None:
        self.foods = foods
        self._whole: dict[tuple[str, ...], list[int]] = defaultdict(list)
        self._short: dict[tuple[str, ...], list[int]] = defaultdict(list)
        self._also: dict[tuple[str, ...], list[int]] = defaultdict(list)
        self._perhaps: dict[tuple[str, ...], list[int]] = defaultdict(list)
        self._families: dict[tuple[str, ...], list[int]] = defaultdict(list)
        for place, food in enumerate(foods):
            for name in _variants(food.name):
                words = words_of(name)
                self._whole[_key(words)].append(place)
                self._short[_short(words)].append(place)
                if "%" in food.name:
                    self._families[_short(words_of(without_shares(name)))].append(place)
            for name in food.also:
                words = words_of(name)
                (self._perhaps if name.endswith(PERHAPS) else self._also)[_key(words)].append(place)

    # --- looking up --------------------------------------------------------------------------------------------

    def match(self, words: str, most: int = 3) -> Match:
        """As `match`."""
        if not (asked := words_of(words)):
            return Match(None, "none")
        found = self._found(words)
        if found is None and (mended := self._mended(words)) != words:
            mending = self._found(mended) or self._weighed_best(mended)
            found = mending and (mending[0], "close" if mending[1] != "guess" else "guess")
        else:
            found = found or self._weighed_best(words)
        place, grade = found or (None, "none")
        others = [other for other, _ in self._weighed(words) if other != place] if most > 1 and asked else []
        if place is None:
            return Match(None, "none", tuple(self.foods[other] for other in others[:most]))
        return Match(self.foods[place], grade, tuple(self.foods[other] for other in others[:most - 1]))

    def _found(self, words: str) -> tuple[int, Grade] | None:
        """A food by one of its names, with less and less of what is written beside it."""
        fat = fat_asked(words)
        for text in dict.fromkeys([words, without_shares(words)] if fat is not None else [words]):
            for asked, near in _shorter(text):
                for place, grade in self._named(asked, fat):
                    return place, "close" if near and grade in SURE else grade
        return None

    def _named(self, asked: Sequence[str], fat: float | None) -> Iterator[tuple[int, Grade]]:
        """Foods that have this very name, or of which it is another name; the nearest to a share of fat first."""
        key, short = _key(asked), _short(asked)
        if fat is not None and (family := self._families.get(short)):
            place = min(family, key=lambda one: abs(self._fat(one) - fat))
            yield place, "exact" if self._has_fat(place, fat) else "guess"
        grade: Grade
        for places, grade in ((self._whole.get(key), "exact"), (self._also.get(key), "other name"),
                              (self._short.get(short), "exact"), (self._also.get(short), "other name"),
                              (self._perhaps.get(key), "guess")):
            for place in places or ():
                if fat is None or self._has_fat(place, fat):
                    yield place, grade
                    break

    def _fat(self, place: int) -> float:
        return self.foods[place].amounts.get("fat_g", 0.0)

    def _has_fat(self, place: int, asked: float) -> bool:
        return abs(self._fat(place) - asked) <= max(1.0, 0.2 * asked)

    # --- weighing ----------------------------------------------------------------------------------------------

    @cached_property
    def _all(self) -> tuple[_Name, ...]:
        return tuple(_named_so(place, name) for place, food in enumerate(self.foods)
                     for name in (*_variants(food.name), *food.also))

    @cached_property
    def _with_word(self) -> dict[str, list[_Name]]:
        found: dict[str, list[_Name]] = defaultdict(list)
        for name in self._all:
            for word in name.words:
                found[word].append(name)
        return found

    @cached_property
    def _rare(self) -> dict[str, float]:
        """How much a word tells: the logarithm of how many foods there are for one that has it."""
        count = len(self.foods) + 1
        return {word: math.log(count / len({name.place for name in names}))
                for word, names in self._with_word.items()}

    def _weighed_best(self, words: str) -> tuple[int, Grade] | None:
        best = self._weighed(words)
        if not best:
            return None
        place, sure = best[0]
        return place, "close" if sure else "guess"

    def _weighed(self, words: str) -> list[tuple[int, bool]]:
        """Foods that share words with these, the likeliest first, and whether each has all that they say."""
        fat = fat_asked(words)
        text = without_shares(words)
        asked = _first_part(text)
        said = states_in(asked)
        core = {word for word in telling(asked) if word not in NEUTRAL and word not in STATES} or set(telling(asked))
        known = core & self._with_word.keys()
        head = _head(text, core)
        whole = sum(self._rare.get(word, math.log(len(self.foods) + 1)) for word in core)
        found: dict[int, tuple[float, int, bool]] = {}
        for name in {id(name): name for word in known for name in self._with_word[word]}.values():
            own = {word for word in name.words if word not in NEUTRAL and word not in STATES} or name.words
            shared = sum(self._rare[word] for word in own & core)
            covered = shared / whole if whole else 0.0
            filled = shared / (sum(map(self._rare.__getitem__, own)) or 1.0)
            heads = (head in own) + (name.head in core)
            if covered < LEAST_COVERED or not heads or (head not in own and filled < 0.6):
                continue
            missing, extra = said - name.states - MINOR, name.states - said - UNTOUCHED
            score = covered + 0.6 * filled + 0.4 * heads - 0.35 * len(missing) - 0.4 * bool(extra)
            if fat is not None:
                score -= min(0.5, abs(self._fat(name.place) - fat) / 20)
            sure = (covered > 0.999 and heads == 2 and not missing and not extra and not name.perhaps and filled > 0.5
                    and (fat is None or self._has_fat(name.place, fat)))
            if name.place not in found or found[name.place][0] < score:
                found[name.place] = score, -name.length, sure
        order = sorted(found, key=lambda place: (*(-part for part in found[place][:2]), place))
        return [(place, found[place][2]) for place in order]

    def _mended(self, words: str) -> str:
        """The words with those that no name has replaced by the most alike that one has."""
        vocabulary = self._with_word
        unknown = [word for word in words_of(words)
                   if word not in vocabulary and word not in SAID_BESIDE and word not in STATES
                   and len(word) >= SHORTEST and not word.isdigit()]
        if not unknown:
            return words
        from rapidfuzz import fuzz, process

        alike = {word: process.extractOne(word, list(vocabulary), scorer=fuzz.ratio, score_cutoff=MISSPELT)
                 for word in unknown}
        meant = {word: str(found[0]) for word, found in alike.items() if found}
        return " ".join(meant.get(word, word) for word in words_of(words))

    # --- searching ---------------------------------------------------------------------------------------------

    def search(self, words: str) -> list[Food]:
        """Foods whose names, id or role hold all the words, the one meant first; none where one is but guessed."""
        asked = words_of(words)
        meant = self.match(words, 1)
        first = [] if meant.food is None or meant.grade == "guess" else [meant.food]
        holding = next(filter(None, (self._holding(asked, part) for part in ("word", "start", "letters"))), [])
        begin = asked[0] if asked else ""
        holding.sort(key=lambda food: (not folded(food.name).startswith(begin), len(food.name)))
        return [*first, *(food for food in holding if food not in first)]

    def _holding(self, asked: Sequence[str], part: str) -> list[Food]:
        """Foods that hold every word: whole, as the start of one of theirs, or anywhere."""
        def holds(word: str, own: frozenset[str], text: str) -> bool:
            alike = (word, "ground") if word in ("minced", "mince") else (word,)
            return any(one in own if part == "word" else any(name.startswith(one) for name in own)
                       if part == "start" else one in text for one in alike)

        return [food for food, own, text in self._texts if asked and all(holds(word, own, text) for word in asked)]

    @cached_property
    def _texts(self) -> list[tuple[Food, frozenset[str], str]]:
        texts = [(food, " ".join((food.name, food.id, food.role, *food.also))) for food in self.foods]
        return [(food, frozenset((*words_of(text), folded(food.id))), folded(text)) for food, text in texts]


def _variants(name: str) -> Iterable[str]:
    """A name of the table as it stands, without what is in brackets, and with that in place of what it explains.

    >>> list(_variants("eggplant (aubergine), raw"))
    ['eggplant (aubergine), raw', 'eggplant, raw', 'aubergine, raw']
    """
    yield name
    before, bracket, rest = name.partition("(")
    if bracket:
        inside, _, after = rest.partition(")")
        yield f"{before.strip()}{after}"
        if not any(sign.isdigit() for sign in inside):
            kept = before.rpartition(",")[0]
            yield ", ".join(filter(None, (kept, inside))) + after


def _named_so(place: int, name: str) -> _Name:
    words = words_of(without_shares(name))
    return _Name(place, frozenset(words), _head(name, set(words)), states_in(words), len(name),
                 name.endswith(PERHAPS))


def _head(text: str, among: set[str]) -> str:
    """The word that says what it is: the last of the first part, before "of", "in" or "with".

    >>> _head("peanut butter, smooth", {"peanut", "butter"}), _head("leg of lamb", {"leg", "lamb"})
    ('butter', 'lamb')
    """
    first = words_of(text.partition(",")[0].partition("(")[0])
    parts: list[list[str]] = [[]]
    for word in first:
        if word in ("in", "with", "without", "de", "du", "d", "au", "aux", "mit", "a"):
            parts.append([])
        elif word in among and word not in STATES:
            parts[-1].append(word)
    return next((part[-1] for part in parts if part), first[-1] if first else "")


def _key(words: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(set(words)))


def _short(words: Sequence[str]) -> tuple[str, ...]:
    """The words that tell a food from others, in no order."""
    return _key([word for word in words if word not in NEUTRAL] or words)


def _first_part(text: str) -> tuple[str, ...]:
    """The words before the first comma, and of what follows only what has been done to the food."""
    first, *rest = CLAUSE.sub("", folded(text)).replace("(", ",").replace(")", ",").split(",")
    return (*words_of(first), *(word for word in words_of(" ".join(rest)) if word in STATES))


def _shorter(text: str) -> Iterator[tuple[tuple[str, ...], bool]]:
    """The words as they stand, then less and less of them; and whether what is left out may matter."""
    bare = CLAUSE.sub("", folded(text))
    first = _first_part(text)
    known = [words_of(text), words_of(bare), first, telling(words_of(bare)), telling(first)]
    without_minor = tuple(word for word in telling(first) if STATES.get(word) not in MINOR)
    yield from ((words, False) for words in dict.fromkeys(known) if words)
    if without_minor and without_minor not in known:
        yield without_minor, STATES.keys() & set(first) != {"ground"}
