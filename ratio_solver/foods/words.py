"""The words of a food's name, brought to one form: small letters, singular, without what says nothing of the food.

A name has several forms: as it stands in a table, and as a cook writes it, with less and less beside the food.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from functools import cache

STATES = {
    "raw": "raw", "uncooked": "raw", "unheated": "raw",
    "cooked": "cooked", "boiled": "cooked", "steamed": "cooked", "roasted": "cooked", "roast": "cooked",
    "baked": "cooked", "grilled": "cooked", "broiled": "cooked", "braised": "cooked", "fried": "cooked",
    "stewed": "cooked", "simmered": "cooked", "poached": "cooked", "scrambled": "cooked", "sauteed": "cooked",
    "reheated": "cooked", "toasted": "toasted", "blanched": "blanched",
    "canned": "canned", "can": "canned", "tin": "canned",
    "dried": "dried", "dehydrated": "dried", "dry": "dried", "desiccated": "dried",
    "frozen": "frozen", "smoked": "smoked", "kippered": "smoked", "pickled": "pickled", "salted": "salted",
    "ground": "ground", "powdered": "ground", "sweetened": "sweetened", "candied": "sweetened",
    "evaporated": "evaporated", "condensed": "condensed",
}
"""What has been done to a food that changes what 100 g of it hold, and which of these are nearly one."""

UNTOUCHED = frozenset({"raw", "salted", "ground", "blanched"})
"""States in which a food stands as well where nobody says so: a cook who writes none of the others means none."""

MINOR = frozenset({"frozen", "ground", "salted", "blanched", "toasted"})
"""States whose absence from the table leaves the same food near enough."""

NEUTRAL = frozenset({
    "raw", "fresh", "plain", "whole", "ripe", "unprepared", "edible", "natural", "ordinary", "pure", "regular",
    "unsweetened", "prepared", "drained", "solid", "home", "recipe", "ready", "serve", "average", "all", "purpose",
})
"""Words of a name in the table that tell it from no other that a cook would mean without saying so."""

_BESIDE = """
a an the of and some more few each piece such good quality best organic free range fresh freshly finely roughly
coarsely thinly thickly thin thick large larger medium small smaller big baby jumbo size sized ripe firm very lightly
well chopped diced sliced minced grated shredded crushed cubed quartered halved torn julienned mashed beaten melted
softened soft warm warmed cold chilled cool cooled hot lukewarm tepid boiling room temperature washed rinsed drained
peeled unpeeled pitted stoned deseeded seeded cored trimmed hulled shelled boned boneless deveined packed heaped
heaping level scant generous rounded sifted cut chunk cube strip ring wedge dice lengthwise crosswise bite into half
quarter leftover optional preferably about approximately approx additional extra needed required everyday unwaxed
untreated homemade whole cleaned scrubbed snipped picked separated divided plus weight weighed bag jar packet pack
packaged pkg bunch handful head fillet fillets stalk stick sprig clove knob slice rasher leaf prepared bought frisch
frische frischer frisches gehackt gehackte gewurfelt gerieben geriebener geriebene weich weiche klein grosse grosser
gros frais fraiche fraiches hache hachee rape mou ramolli fondu emince emincee de du des la le les et un une der die
das und unsalted on piping lb inch cm mm thawed defrosted squeezed strained sieved pressed crumbled flesh only tightly
loosely uncooked fat plump juicy thumb dash splash drizzle sachet envelope bottle carton tub punnet container gently
block slab log floret ribbon spear baton matchstick coin round crown cap cagefree hormonefree antibioticfree
"""
SAID_BESIDE = frozenset(_BESIDE.split())
"""Words of size, cut and shopping, which a cook writes beside the food and the table does not have: passed over where
the name is not found with them."""

DONE_AFTER = frozenset(("chopped", "diced", "mashed", "beaten", "whipped", "whisked", "melted", "crushed", "pureed",
                        "shredded"))
"""What a cook does to a food once it is weighed, where it stands after a comma; before the food it may name another."""

SKINNED = frozenset({"skinless", "skinned"})
"""What tells a bird with its skin from one without, and says nothing of a fillet of fish: passed over last."""

CLAUSE = re.compile(
    r"\s+(?:plus|for|or|oder|ou|to serve|to taste|to garnish|to finish|such as|like|preferably|about|at room|if|as|"
    r"until|optional|divided|from|cut|zum|pour|nach)\b.*|\s*\b(?:to serve|to taste|optional)\b.*")
"""What follows is no part of the name: "for dusting", "or lard", "to taste", "plus extra"."""

_SPELT = {
    "chilli": "chili", "chillie": "chili", "chile": "chili", "yoghurt": "yogurt", "yoghourt": "yogurt",
    "tinned": "canned", "gelatine": "gelatin", "fiber": "fibre", "wholewheat": "wholemeal", "omelet": "omelette",
    "whisky": "whiskey", "caviare": "caviar", "filet": "fillet", "liquorice": "licorice", "mayo": "mayonnaise",
    "dessicated": "desiccated", "nonfat": "fatfree",
}
"""Spellings of one word, plural taken off before."""

_IRREGULAR = {
    "leaves": "leaf", "halves": "half", "loaves": "loaf", "calves": "calf", "knives": "knife", "cookies": "cookie",
    "chillies": "chili", "chilies": "chili", "chiles": "chili", "brownies": "brownie", "geese": "goose", "pies": "pie",
    "molasses": "molasses", "brussels": "brussels", "schnapps": "schnapps", "couscous": "couscous",
    "veggies": "vegetable",
    "poireaux": "poireau", "choux": "chou", "eaux": "eau", "eier": "ei",
}
_APOSTROPHES = re.compile("['\u2019\u2018\u02bc`\u00b4]")
_LEAN = re.compile(r"\b([0-9]{2})\s*[/:]\s*([0-9]{1,2})\b")
_LEAN_SHARE = re.compile(r"\b([0-9]{1,2}(?:\.[0-9])?)\s*%\s*lean\b")
_SHARE = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(?:%|percent|per cent|prozent)")
_SHARE_OF_FAT = re.compile(_SHARE.pattern + r"\s*(?:milk fat|butterfat|fat|fett|mg)?\b")
_OF_FAT = re.compile(r"\b(?:fat|fett|mg)\b|cream|milk|sahne|creme|lait|yog|quark|mince|hack|beef|pork|turkey|curd")
"""What a share is of fat with: the word, or a food that is sold by it."""
_FREE_OF = re.compile(r"\b([a-z]+)[ -]free\b(?![ -]?range)")
"""What a food is free of makes one word with it: "sugar-free" has nothing to do with sugar."""
_WORD = re.compile(r"[^\W_]+(?:\.[^\W_]+)*")


class _Letters(dict[int, str]):
    """What stands for a letter that is not of the ASCII ones: the letter without its accents; found once."""

    def __missing__(self, letter: int) -> str:
        plain = unicodedata.normalize("NFKD", chr(letter))
        self[letter] = "".join(sign for sign in plain if not unicodedata.combining(sign))
        return self[letter]


_PLAIN = _Letters({ord("œ"): "oe", ord("æ"): "ae", ord("ø"): "o"})


def folded(text: str) -> str:
    """A text in small letters without accents.

    >>> folded("Gruyère"), folded("Bœuf")
    ('gruyere', 'boeuf')
    """
    return text.lower() if text.isascii() else text.casefold().translate(_PLAIN)


@cache
def singular_of(word: str) -> str:
    """A word in its singular, spelt as the table spells it.

    >>> [singular_of(word) for word in ("tomatoes", "berries", "radishes", "hummus", "swiss", "chillies", "tinned")]
    ['tomato', 'berry', 'radish', 'hummus', 'swiss', 'chili', 'canned']
    """
    if word in _IRREGULAR:
        return _IRREGULAR[word]
    found = word
    if len(word) > 3 and word[-1] == "s" and word[-2:] not in ("ss", "us", "is"):
        if word.endswith("ies") and len(word) > 4:
            found = word[:-3] + "y"
        elif word.endswith(("oes", "shes", "ches", "sses", "xes", "zzes")):
            found = word[:-2]
        else:
            found = word[:-1]
    return _SPELT.get(found, found)


def words_of(text: str) -> tuple[str, ...]:
    """The words of a text in their singular, in order; hyphens part words, apostrophes and accents do not matter.

    >>> words_of("Confectioners' sugar, sifted"), words_of("beef, ground, 15 % fat, raw")
    (('confectioner', 'sugar', 'sifted'), ('beef', 'ground', '15', 'fat', 'raw'))
    """
    return words_of_folded(folded(text))


def words_of_folded(text: str) -> tuple[str, ...]:
    """The same of a text that is folded already."""
    if not text.isalnum():
        if "free" in text:
            text = _FREE_OF.sub(r"\1free", text)
        text = _APOSTROPHES.sub("", text).replace("-", " ")
    return tuple(map(singular_of, _WORD.findall(text)))


def fat_asked(text: str) -> float | None:
    """The share of fat that a text states, g in 100 g, or None.

    >>> fat_asked("minced beef 15 % fat"), fat_asked("80/20 ground beef"), fat_asked("ground beef (93% lean)")
    (15.0, 20.0, 7.0)
    >>> fat_asked("dark chocolate 70 %") is None
    True
    """
    plain = folded(text)
    if match := _LEAN_SHARE.search(plain):
        return 100 - float(match[1])
    if (match := _LEAN.search(plain)) and int(match[1]) + int(match[2]) == 100:
        return float(match[2])
    if (match := _SHARE.search(plain)) and _OF_FAT.search(plain):
        return float(match[1].replace(",", "."))
    return None


def without_shares(text: str) -> str:
    """A text without what it says of shares: "minced beef (15 % fat)" is minced beef."""
    plain = folded(text)
    for pattern in (_LEAN_SHARE, _LEAN):
        plain = pattern.sub(" ", plain)
    return _SHARE_OF_FAT.sub(" ", plain)


def states_in(words: Iterable[str]) -> frozenset[str]:
    """What the words say has been done to a food."""
    return frozenset(STATES[word] for word in words if word in STATES)


def telling(words: Sequence[str]) -> tuple[str, ...]:
    """The words without those of size, cut and shopping; all of them where nothing else is left."""
    return tuple(word for word in words if word not in SAID_BESIDE) or tuple(words)


def without_skin(words: Sequence[str]) -> tuple[str, ...]:
    """The words without what says that the skin is off."""
    return tuple(word for word in words if word not in SKINNED)


def variants(name: str) -> Iterable[str]:
    """A name of the table as it stands, without what is in brackets, and with that in place of what it explains.

    >>> list(variants("eggplant (aubergine), raw"))
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


def head_word_of(text: str, among: set[str]) -> str:
    """The word that says what it is: the last of the first part, before "of", "in" or "with".

    >>> head_word_of("peanut butter, smooth", {"peanut", "butter"}), head_word_of("leg of lamb", {"leg", "lamb"})
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


def key_of(words: Iterable[str]) -> tuple[str, ...]:
    """The words in no order, each once."""
    return tuple(sorted(set(words)))


def short_key(words: Sequence[str]) -> tuple[str, ...]:
    """The words that tell a food from others, in no order."""
    return key_of([word for word in words if word not in NEUTRAL] or words)


def first_part(text: str) -> str:
    """The words before the first comma, and of what follows only what has been done to the food; folded.

    >>> first_part("Tomatoes, tinned, from the larder"), first_part("skinless, boneless chicken thighs, diced")
    ('tomatoes canned', 'skinless boneless chicken thighs')
    """
    parts = CLAUSE.sub("", folded(text)).replace("(", ",").replace(")", ",").split(",")
    begin = next((place for place, part in enumerate(parts) if names_food(part)), 0)
    done = [word for word in words_of_folded(" ".join(parts[begin + 1:])) if word in STATES]
    return " ".join((*" ".join(parts[:begin + 1]).split(), *done))


def names_food(part: str) -> bool:
    """Whether a part of what is written names a food: it has more than words of size, cut and state."""
    return any(word not in SAID_BESIDE and word not in SKINNED and word not in STATES for word in words_of_folded(part))


def _not_done(part: str) -> str:
    """What follows a comma, without what is done to the food only then: potatoes, mashed, are no mashed potatoes."""
    return " ".join(word for word in part.split() if word.strip(".;") not in DONE_AFTER)


def shorter(text: str) -> Iterator[tuple[str, bool]]:
    """The words as they stand, then less and less of them, folded; and whether what is left out may matter."""
    begin, *after = CLAUSE.sub("", folded(text)).split(",")
    bare = " ".join(",".join((begin, *map(_not_done, after))).split())
    first = first_part(text)
    few = telling(words_of_folded(first))
    known = dict.fromkeys([bare, first, " ".join(telling(words_of_folded(bare))), " ".join(few),
                           " ".join(without_skin(few))])
    yield from ((words, False) for words in known if words)
    without_minor = " ".join(word for word in without_skin(few) if STATES.get(word) not in MINOR)
    if without_minor and without_minor not in known:
        yield without_minor, True
