"""From a cook's own words for a food to a row of the table, with how sure that is and what else it may be.

    match(table, "large eggs").food.name          # 'egg, whole, raw'

The words are looked up as they stand, then with less and less of what only says how the food is cut or bought: among
the names of the table, then among other names of the same foods (`Food.also`). Only where nothing is found so are names
weighed that share words with them: rare words count more, and the head word, the one that says what it is ("egg" of an
egg, "butter" of peanut butter), must be among them. A food is meant raw unless the words say otherwise.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import islice, product
from typing import Literal, Protocol

from ratio_solver.foods.food import Food
from ratio_solver.foods.words import (
    CLAUSE,
    MINOR,
    NEUTRAL,
    SAID_BESIDE,
    SKINNED,
    STATES,
    UNTOUCHED,
    fat_asked,
    folded,
    states_in,
    telling,
    without_shares,
    without_skin,
    words_of,
    words_of_folded,
)

Grade = Literal["exact", "other name", "close", "guess", "none"]
SURE: tuple[Grade, ...] = ("exact", "other name")
"""Grades of an answer that a cook need not look at."""

PERHAPS = "?"
"""After another name in the table: the nearest food that there is, not the same one; a guess at most."""

MISSPELT = 78.0
"""How alike, of 100, an unknown word and one of the names must be to stand for it (RapidFuzz's `ratio`); our choice."""

MOST_WAYS = 9
"""Readings of misspelt words that are tried at most."""

SHORTEST = 4
"""Letters from which on a word may be misspelt: of shorter ones too many are alike."""

LEAST_COVERED = 0.5
"""A name must have more than this share of the words, by number and by weight, to be even a guess; our choice."""

UNKNOWN_WORD, COMMON = 0.5, 4.0
"""What a word that no name has counts of one that some have, and the weight of a word that one food in fifty has: a
brand, or what a cook says beside the food; our choice."""

_TWO = re.compile(r" (?:and|&|und|et) ")


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


@dataclass(frozen=True, slots=True)
class _Name:
    """One name of a food: what tells it from others, the word that says what it is, what has been done to it."""

    place: int
    own: frozenset[str]
    head: str
    states: frozenset[str]
    length: int
    perhaps: bool


class Names:
    """All names of a table's foods, to be looked up; each index is made once, where first needed.

    Parameters
    ----------
    foods : sequence of Food
        Of which name, id, role, other names and fat matter.
    """

    def __init__(self, foods: Sequence[Food]) -> None:
        self.foods = foods

    def match(self, words: str, most: int = 3) -> Match:
        """As `match`."""
        found = self._found(words)
        if found is None:
            mended = self._mended(words)
            looked_up = next(((way, one) for way in mended if (one := self._found(way))), None)
            if looked_up or mended:
                words, one = looked_up or (mended[0], self._weighed_best(mended[0]))
                found = one and (one[0], "guess" if one[1] == "guess" else "close")
        place, grade = found or self._weighed_best(words) or (None, "none")
        if place is None:
            return Match(None, "none")
        others = [other for other, _ in self._weighed(words) if other != place] if most > 1 else []
        return Match(self.foods[place], grade, tuple(self.foods[other] for other in others[:most - 1]))

    # --- looking up --------------------------------------------------------------------------------------------

    @cached_property
    def _spoken(self) -> dict[str, tuple[int, Grade]]:
        """Each name as it is written, but for capitals and accents."""
        found: dict[str, tuple[int, Grade]] = {}
        for place, food in enumerate(self.foods):
            for name in food.also:
                perhaps = name[-1] == PERHAPS
                found.setdefault(folded(name[:-1] if perhaps else name), (place, "guess" if perhaps else "other name"))
        own: list[tuple[str, tuple[int, Grade]]] = [
            (folded(name), (place, "exact")) for place, food in enumerate(self.foods) for name in (food.id, food.name)]
        return found | dict(own)

    @cached_property
    def _keys(self) -> dict[tuple[str, ...], tuple[int, Grade]]:
        """The words of each name in no order; of two names alike the surer one, the table's own before others."""
        whole: dict[tuple[str, ...], tuple[int, Grade]] = {}
        short: dict[tuple[str, ...], tuple[int, Grade]] = {}
        for place, food in enumerate(self.foods):
            for name in _variants(food.name):
                words = words_of(name)
                whole.setdefault(_key(words), (place, "exact"))
                short.setdefault(_short(words), (place, "exact"))
        also: dict[tuple[str, ...], tuple[int, Grade]] = {}
        perhaps: dict[tuple[str, ...], tuple[int, Grade]] = {}
        for spoken, (place, grade) in self._spoken.items():
            if grade != "exact":
                words = words_of_folded(spoken)
                (perhaps if grade == "guess" else also).setdefault(_key(words), (place, grade))
                short.setdefault(_short(words), (place, grade))
        return short | perhaps | also | whole

    @cached_property
    def _joined(self) -> dict[str, tuple[int, Grade]]:
        """Each name written as one word."""
        return {spoken.replace(" ", ""): found for spoken, found in self._spoken.items()}

    @cached_property
    def _families(self) -> dict[tuple[str, ...], list[int]]:
        """Foods of one name that differ in how much fat they have."""
        found: dict[tuple[str, ...], list[int]] = defaultdict(list)
        for place, food in enumerate(self.foods):
            if "%" in food.name:
                found[_short(words_of(without_shares(food.name)))].append(place)
        return found

    def _found(self, words: str) -> tuple[int, Grade] | None:
        """A food by one of its names, with less and less of what is written beside it."""
        spoken = " ".join(folded(words).split())
        if spoken in self._spoken:
            return self._spoken[spoken]
        fat = fat_asked(words)
        texts = [words] if fat is None else [words, without_shares(words)]
        for asked, near in (one for text in texts for one in _shorter(text)):
            if (found := self._named(asked, fat)) is not None:
                return found[0], "close" if near and found[1] in SURE else found[1]
        joined = self._joined.get(spoken.replace(" ", ""))
        first, two, _ = spoken.partition(" and ")
        if joined is None and two and (one := self._found(first)):
            return one[0], "guess"
        return joined and (joined[0], "guess" if joined[1] == "guess" else "close")

    def _named(self, asked: str, fat: float | None) -> tuple[int, Grade] | None:
        """The food that has this very name, or of which it is another one, with the share of fat that is asked."""
        words = words_of_folded(asked)
        found = self._spoken.get(asked) or self._keys.get(_key(words)) or self._keys.get(_short(words))
        if fat is None:
            return found
        own = _short(words_of(without_shares(self.foods[found[0]].name))) if found else ()
        family = self._families.get(own) or self._families.get(_short(words))
        if family:
            place = min(family, key=lambda one: abs(self._fat(one) - fat))
            sure: Grade = found[1] if found else "exact"
            return place, sure if self._has_fat(place, fat) else "guess"
        if found is None or not self._has_fat(found[0], fat):
            return None
        return found[0], "close" if found[1] == "guess" else found[1]

    def _fat(self, place: int) -> float:
        return self.foods[place].amounts.get("fat_g", 0.0)

    def _has_fat(self, place: int, asked: float) -> bool:
        return abs(self._fat(place) - asked) <= max(1.0, 0.2 * asked)

    # --- weighing ----------------------------------------------------------------------------------------------

    @cached_property
    def _with_word(self) -> dict[str, list[_Name]]:
        """Names by each of their words; not those of two foods at once, "salt and pepper"."""
        found: dict[str, list[_Name]] = defaultdict(list)
        for place, food in enumerate(self.foods):
            for name in (*_variants(food.name), *food.also):
                if not _TWO.search(name):
                    one = _named_so(place, name)
                    for word in one.own:
                        found[word].append(one)
        return found

    @cached_property
    def _rare(self) -> dict[str, float]:
        """How much a word tells: the logarithm of how many foods there are for one that has it."""
        count = len(self.foods) + 1
        return {word: math.log(count / len({name.place for name in names}))
                for word, names in self._with_word.items()}

    def _weighed_best(self, words: str) -> tuple[int, Grade] | None:
        best = self._weighed(words)
        return (best[0][0], "close" if best[0][1] else "guess") if best else None

    def _weighed(self, words: str) -> list[tuple[int, bool]]:
        """Foods that share words with these, the likeliest first, and whether each has all that they say."""
        fat = fat_asked(words)
        text = without_shares(words)
        asked = words_of_folded(_first_part(text))
        said = states_in(asked)
        told = without_skin(telling(asked))
        core = {word for word in told if word not in NEUTRAL and word not in STATES} or set(told)
        head = _head(text, core)
        unknown = UNKNOWN_WORD * len(core - self._with_word.keys())
        whole = sum(self._rare.get(word, 0.0) for word in core) + unknown * COMMON
        found: dict[int, tuple[float, int, bool]] = {}
        for name in {id(name): name for word in core for name in self._with_word.get(word, ())}.values():
            shared = sum(self._rare[word] for word in name.own & core)
            covered = shared / whole
            counted = len(name.own & core) / (len(core & self._with_word.keys()) + unknown)
            filled = shared / sum(map(self._rare.__getitem__, name.own))
            heads = (head in name.own) + (name.head in core)
            if min(covered, counted) <= LEAST_COVERED or not heads or (head not in name.own and filled < 0.6):
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

    def _mended(self, words: str) -> list[str]:
        """The words with those that no name has replaced by some that one has and that are much alike, best first."""
        vocabulary = self._with_word
        given = words_of(words)
        unknown = {word for word in given if word not in vocabulary and word not in SAID_BESIDE
                   and word not in STATES and word not in NEUTRAL and len(word) >= SHORTEST and not word.isdigit()}
        if not unknown:
            return []
        from rapidfuzz import fuzz, process

        meant: dict[str, list[str]] = {}
        for word in unknown:
            alike = process.extract(word, list(vocabulary), scorer=fuzz.ratio, score_cutoff=MISSPELT, limit=3)
            meant[word] = [str(one[0]) for one in alike] or [word]
        ways = islice(product(*(meant.get(word, [word]) for word in given)), MOST_WAYS)
        return [way for way in map(" ".join, ways) if way != " ".join(given)]

    # --- searching ---------------------------------------------------------------------------------------------

    def search(self, words: str) -> list[Food]:
        """Foods whose names, id or role hold all the words, as they are spelt; the one that they name first."""
        asked = words_of(words)
        named = self._found(words) if asked else None
        first = [self.foods[named[0]]] if named and named[1] != "guess" else []
        holding = self._holding(asked) if asked else []
        begin = asked[0] if asked else ""
        holding.sort(key=lambda food: (not folded(food.name).startswith(begin), len(food.name)))
        return [*first, *(food for food in holding if food not in first)]

    def _holding(self, asked: Sequence[str]) -> list[Food]:
        """Foods that hold every word: whole, else as the start of one of theirs, else anywhere."""
        alike = [(word, "ground") if word in ("minced", "mince") else (word,) for word in asked]
        anywhere = [(food, text) for food, text in self._texts
                    if all(any(one in text for one in words) for words in alike)]
        held = [(food, frozenset((*words_of_folded(text), food.id.lower()))) for food, text in anywhere]
        whole = [food for food, own in held if all(not own.isdisjoint(words) for words in alike)]
        return whole or [food for food, own in held if all(
            any(name.startswith(words) for name in own) for words in alike)] or [food for food, _ in anywhere]

    @cached_property
    def _texts(self) -> list[tuple[Food, str]]:
        return [(food, folded(" ".join((food.name, food.id, food.role, *food.also)))) for food in self.foods]


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
    words = words_of(without_shares(name) if "%" in name else name)
    own = frozenset(word for word in words if word not in NEUTRAL and word not in STATES) or frozenset(words)
    return _Name(place, own, _head(name, set(words)), states_in(words), len(name), name.endswith(PERHAPS))


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


def _first_part(text: str) -> str:
    """The words before the first comma, and of what follows only what has been done to the food; folded.

    >>> _first_part("Tomatoes, tinned, from the larder"), _first_part("skinless, boneless chicken thighs, diced")
    ('tomatoes canned', 'skinless boneless chicken thighs')
    """
    parts = CLAUSE.sub("", folded(text)).replace("(", ",").replace(")", ",").split(",")
    begin = next((place for place, part in enumerate(parts) if _names(part)), 0)
    done = [word for word in words_of_folded(" ".join(parts[begin + 1:])) if word in STATES]
    return " ".join((*" ".join(parts[:begin + 1]).split(), *done))


def _names(part: str) -> bool:
    """Whether a part of what is written names a food: it has more than words of size, cut and state."""
    return any(word not in SAID_BESIDE and word not in SKINNED and word not in STATES for word in words_of_folded(part))


def _shorter(text: str) -> Iterator[tuple[str, bool]]:
    """The words as they stand, then less and less of them, folded; and whether what is left out may matter."""
    bare = " ".join(CLAUSE.sub("", folded(text)).split())
    first = _first_part(text)
    few = telling(words_of_folded(first))
    known = dict.fromkeys([bare, first, " ".join(telling(words_of_folded(bare))), " ".join(few),
                           " ".join(without_skin(few))])
    yield from ((words, False) for words in known if words)
    without_minor = " ".join(word for word in without_skin(few) if STATES.get(word) not in MINOR)
    if without_minor and without_minor not in known:
        yield without_minor, True
