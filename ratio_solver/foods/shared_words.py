"""Which foods share words with what a cook has written, where no name of a food is found in it.

Rare words count more, and the head word, the one that says what it is ("egg" of an egg, "butter" of peanut butter),
must be among them. A food is meant raw unless the words say otherwise.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import islice, product

from ratio_solver.foods.food import PERHAPS, Food
from ratio_solver.foods.words import (
    MINOR,
    NEUTRAL,
    SAID_BESIDE,
    STATES,
    UNTOUCHED,
    fat_asked,
    first_part,
    head_word_of,
    states_in,
    telling,
    variants,
    without_shares,
    without_skin,
    words_of,
    words_of_folded,
)

MISSPELT = 78.0
"""How alike, of 100, an unknown word and one of the names must be to stand for it (RapidFuzz's `ratio`); our choice."""

MOST_SPELLINGS = 9
"""Readings of misspelt words that are tried at most."""

SHORTEST = 4
"""Letters from which on a word may be misspelt: of shorter ones too many are alike."""

MOST_OF_ONE_WORD = 3
"""Foods that may share a word that stands for one of them; our choice."""

LEAST_COVERED = 0.5
"""A name must have more than this share of the words, by number and by weight, to be even a guess; our choice."""

UNKNOWN_WORD, COMMON = 0.5, 4.0
"""What a word that no name has counts of one that some have, and the weight of a word that one food in fifty has: a
brand, or what a cook says beside the food; our choice."""

_BLENDS = frozenset(("seasoning", "mix", "blend", "spice", "rub", "dressing"))
"""What says only that something is a mixture: a food is not like another because both are."""

_TWO = re.compile(r" (?:and|&|und|et) ")


@dataclass(frozen=True, slots=True)
class _Name:
    """One name of a food: what tells it from others, the word that says what it is, what has been done to it."""

    place: int
    own: frozenset[str]
    head: str
    states: frozenset[str]
    length: int
    perhaps: bool


class SharedWords:
    """The words of all names of some foods, and what each tells.

    Parameters
    ----------
    foods : sequence of Food
        Of which name, other names and fat matter.
    """

    def __init__(self, foods: Sequence[Food]) -> None:
        self.foods = foods

    @cached_property
    def _with_word(self) -> dict[str, list[_Name]]:
        """Names by each of their words; not those of two foods at once, "salt and pepper"."""
        found: dict[str, list[_Name]] = defaultdict(list)
        for place, food in enumerate(self.foods):
            for name in (*variants(food.name), *food.also):
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

    def likely(self, words: str) -> list[tuple[int, bool]]:
        """Foods that share words with these, the likeliest first, and whether each has all that they say."""
        fat = fat_asked(words)
        text = without_shares(words)
        asked = words_of_folded(first_part(text))
        said = states_in(asked)
        told = without_skin(telling(asked))
        core = {word for word in told if word not in NEUTRAL and word not in STATES} or set(told)
        alone = core - _BLENDS if core & _BLENDS else set()
        head = head_word_of(text, core)
        unknown = UNKNOWN_WORD * len(core - self._with_word.keys())
        whole = sum(self._rare.get(word, 0.0) for word in core) + unknown * COMMON
        found: dict[int, tuple[float, int, bool]] = {}
        for name in {id(name): name for word in core for name in self._with_word.get(word, ())}.values():
            shared = sum(self._rare[word] for word in name.own & core)
            covered = shared / whole
            counted = len(name.own & core) / (len(core & self._with_word.keys()) + unknown)
            filled = shared / sum(map(self._rare.__getitem__, name.own))
            heads = (head in name.own) + (name.head in core)
            if alone and not name.own & alone:
                continue
            if min(covered, counted) <= LEAST_COVERED or not heads or (head not in name.own and filled < 0.6):
                continue
            missing, extra = said - name.states - MINOR, name.states - said - UNTOUCHED
            score = covered + 0.6 * filled + 0.4 * heads - 0.35 * len(missing) - 0.4 * bool(extra)
            if fat is not None:
                score -= min(0.5, abs(fat_of(self.foods[name.place]) - fat) / 20)
            sure = (covered > 0.999 and heads == 2 and not missing and not extra and not name.perhaps and filled > 0.5
                    and (fat is None or has_fat(self.foods[name.place], fat)))
            if name.place not in found or found[name.place][0] < score:
                found[name.place] = score, -name.length, sure
        order = sorted(found, key=lambda place: (*(-part for part in found[place][:2]), place))
        return [(place, found[place][2]) for place in order]

    def particular(self, word: str) -> bool:
        """Whether a word alone tells a food from nearly all others: "whisky" does, "milk" and "sauce" do not."""
        return len({name.place for name in self._with_word.get(word, ())}) <= MOST_OF_ONE_WORD

    def mended(self, words: str) -> list[str]:
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
        ways = islice(product(*(meant.get(word, [word]) for word in given)), MOST_SPELLINGS)
        return [way for way in map(" ".join, ways) if way != " ".join(given)]


def fat_of(food: Food) -> float:
    """Fat, g in 100 g."""
    return food.amounts.get("fat_g", 0.0)


def has_fat(food: Food, asked: float) -> bool:
    """Whether a food has the share of fat that is asked for, as near as makes it the same food."""
    return abs(fat_of(food) - asked) <= max(1.0, 0.2 * asked)


def _named_so(place: int, name: str) -> _Name:
    words = words_of(without_shares(name) if "%" in name else name)
    own = frozenset(word for word in words if word not in NEUTRAL and word not in STATES) or frozenset(words)
    return _Name(place, own, head_word_of(name, set(words)), states_in(words), len(name), name.endswith(PERHAPS))
