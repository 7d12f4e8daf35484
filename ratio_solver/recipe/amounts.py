"""The amount with which a written line begins: numbers in all spellings, ranges, sizes, what is in one package."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.recipe.units import MASSES, PACKAGES, RELEASE, unit_at

_WORDS = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
    "ten": 10, "eleven": 11, "twelve": 12, "a dozen": 12, "dozen": 12, "half a dozen": 6, "a couple": 2,
    "a couple of": 2, "couple of": 2, "couple": 2, "a few": 3, "few": 3, "several": 3,
    "ein": 1, "eine": 1, "einen": 1, "einer": 1, "eines": 1, "zwei": 2, "drei": 3, "vier": 4, "fünf": 5, "sechs": 6,
    "acht": 8, "zehn": 10, "einige": 3, "ein paar": 3,
    "un": 1, "une": 1, "deux": 2, "trois": 3, "quatre": 4, "cinq": 5, "dix": 10, "quelques": 3,
}
_SHARES = {
    "half a": "1/2", "half an": "1/2", "a half": "1/2", "half": "1/2", "one half": "1/2", "a quarter": "1/4",
    "a quarter of a": "1/4", "quarter of a": "1/4", "quarter": "1/4", "one quarter": "1/4", "one third": "1/3",
    "a third of a": "1/3", "two thirds": "2/3", "three quarters": "3/4", "three quarters of a": "3/4",
    "ein halber": "1/2", "ein halbes": "1/2", "eine halbe": "1/2", "halbe": "1/2", "halber": "1/2", "halbes": "1/2",
    "einer halben": "1/2", "einem halben": "1/2", "einen halben": "1/2", "eines halben": "1/2",
    "un demi": "1/2", "une demi": "1/2", "une demie": "1/2", "demi": "1/2", "demie": "1/2", "1/2 a": "1/2",
    "1/2 an": "1/2", "1/2 of a": "1/2", "1/4 of a": "1/4", "1/4 of an": "1/4", "1/2 of an": "1/2",
}
_SPELLED = {name: Fraction(value) for name, value in _WORDS.items()} | {
    name: Fraction(value) for name, value in _SHARES.items()}
_SPELLED_NUMBER = "|".join(map(re.escape, sorted(_SPELLED, key=len, reverse=True)))
_DIGITS = r"\d+ \d+/\d+|\d+/\d+|\d{1,3}(?:,\d{3})+(?!\d)|\d+[.,]\d+|\.\d+|\d+"
_NUMBER = re.compile(rf"(?:(?P<digits>{_DIGITS})|(?P<words>(?:{_SPELLED_NUMBER})(?=[\s-]|$)))", re.IGNORECASE)
_TO = re.compile(
    r"\s*(?:-|to\b|or\b|bis\b|à\b|ou\b|oder\b|until\b)\s*(?=[\d.]|(?:two|three|four|five|six|zwei|drei|deux)\b)",
    re.IGNORECASE,
)
_ABOUT = re.compile(
    r"(?:about|approx\.?|approximately|roughly|around|circa|ca\.?|c\.(?=\s*\d)|etwa|environ|env\.?|ungefähr|rund|nearly|"
    r"almost|just under|just over|at least|up to|generous|generously|scant|good|heaping|heaped|rounded|level|packed|"
    r"firmly packed|lightly packed|slightly heaped|very|full|gestrichene[rn]?|gestr\.?|gehäufte[rn]?|geh\.?|"
    r"knappe[rns]?|"
    r"gute[rn]?|rase|bombée|bonne|belle|~|≈|optional:?|another|additional|extra(?=\s+\d)|weighing|total(?: of)?|max\.?|"
    r"freshly|tightly packed|loosely packed|overflowing|shy|fat|thick|thin|big|nice|whole|of)(?=[\s\d~]|$)\s*",
    re.IGNORECASE,
)
_ROUNDED = re.compile(r"heap|rounded|gehäuft|geh\b|bombée|generous|overflow|good\b", re.IGNORECASE)
_SIZE = re.compile(
    r"(?:(?P<xl>extra[- ]large|x-?large|xl|jumbo)|(?P<l>large|lg\.?|big|grosse[rns]?|große[rns]?|gros|grosses?|"
    r"grand[es]*)|"
    r"(?P<m>medium(?:[- ]sized?)?|med\.?|mittelgroße[rns]?|mittlere[rns]?|moyen(?:ne)?s?|average|m)|"
    r"(?P<s>small|sm\.?|kleine[rns]?|petite?s?|baby(?= (?:potato|onion))|s))(?=\s)\s*(?:-\s*)?",
    re.IGNORECASE,
)
_PAREN = re.compile(r"[(\[]\s*([^()\[\]]*)[)\]]\s*")
_TIMES = re.compile(r"\s*(?:x|×|\*|of)\s*(?=\d)", re.IGNORECASE)
_EACH = re.compile(r"\b(?:each|apiece|per (?:can|tin|piece|fillet)|je|chacune?s?|pro Stück|à)\b", re.IGNORECASE)
_FRACTION_SLASH = str.maketrans(
    {
        "⁄": "/",
        "∕": "/",
        "–": "-",
        "—": "-",
        "−": "-",
        "‐": "-",
        "‑": "-",
        "\u00a0": " ",
        "\u202f": " ",
        "\u2009": " ",
        "’": "'",
        "‘": "'",
        "´": "'",
        "`": "'",
        "“": '"',
        "”": '"',
    }
)

_SIZES = {"xl": "extra large", "l": "large", "m": "medium", "s": "small"}
_ALONE = frozenset((
    "pinch", "handful", "knob", "dash", "splash", "squeeze", "sprig", "bunch", "drop", "grating", "stick", "thumb",
    "clove", "slice", "can", "packet", "tbsp", "tsp", "glass", "bag", "ball", "block", "sheet",
))
"""Units that a line may begin with, meaning one of them."""

_PART_OF_NAME = {"fillet": r"(?:steak|mignon|of beef)", "bunch": "garni", "stalk": r"-?\s*eye"}
"""Words that look like a unit, and what follows them where they are part of a name."""

MOST = Fraction(1_000_000)
"""No amount of a recipe is larger than this, of whatever unit."""


@dataclass(frozen=True)
class Amount:
    """So much of something.

    Attributes
    ----------
    count : Fraction
        How many.
    unit : str
        Of what: a unit of `recipe/units.py`, or nothing for whole things.
    size : {"", "extra large", "large", "medium", "small"}
        Of a whole thing.
    each : Amount or None
        What one holds, or weighs: 400 g of "2 x 400 g tins".
    whole : Amount or None
        The same amount told otherwise, and better: 250 g of "2 cups (250 g)".
    notes : tuple of str
        What was understood of it, for the cook to see.
    """

    count: Fraction
    unit: str = ""
    size: str = ""
    each: Amount | None = None
    whole: Amount | None = None
    notes: tuple[str, ...] = ()

    @property
    def fixed(self) -> bool:
        """Whether it is a weight or a volume."""
        return self.unit in MASSES or self.unit in RELEASE

    @property
    def weighs(self) -> bool:
        """Whether it is a weight."""
        return self.unit in MASSES


def plain(text: str) -> str:
    """A written line with fractions, dashes and blanks in one spelling, and nothing before its first word.

    >>> plain("• 1½ cups"), plain("1 ½ cups"), plain("1-1/2 c."), plain("½ cup"), plain("2 – 3")
    ('1 1/2 cups', '1 1/2 cups', '1 1/2 c.', '1/2 cup', '2 - 3')
    """
    spelled = re.sub(r"(\d?)\s*([¼-¾⅐-⅞↉])", _fraction, text)
    spelled = " ".join(spelled.translate(_FRACTION_SLASH).split())
    for pattern, instead in _OTHERWISE:
        spelled = re.sub(pattern, instead, spelled)
    return spelled


def _fraction(found: re.Match[str]) -> str:
    """" 1/2" of "½"; an ASCII digit before it is parted from it."""
    value = unicodedata.normalize("NFKC", found[2]).replace("⁄", "/")
    return f"{found[1]} {value} "


def _and_half(found: re.Match[str]) -> str:
    return f"{ {'one': 1, 'a': 1, 'two': 2, 'three': 3}.get(found[1].lower(), found[1]) } 1/2"


_OTHERWISE = (
    (r"^(?:[^\w(\[~≈.\"']|_|[.](?!\d))+(?=\S)", ""), (r"^\[[ xX]?\]\s*", ""),
    (r"(?<=\d)-\s+(?=(?:to|or)\s)", " "), (r"(?<=\d)\s*(?:-| and | & |\+)\s*(?=\d/\d)", " "),
    (r"(?<=\d) ?/ ?(?=\d)", "/"), (r"(?i)\b(one|a|two|three|1|2|3) and (?:a |one )?half\b", _and_half),
    (r"^(\d+)[.)]\s+(?=\d)", ""),
)
"""What is spelt otherwise, and what stands for it, one after the other."""


def number_at(text: str) -> tuple[Fraction, str] | None:
    """The number with which a text begins, and the rest.

    >>> number_at("1 1/2 cups"), number_at("2,5 dl"), number_at("1,000 g"), number_at("half a lemon"), number_at("salt")
    ((Fraction(3, 2), ' cups'), (Fraction(5, 2), ' dl'), (Fraction(1000, 1), ' g'), (Fraction(1, 2), ' lemon'), None)
    """
    found = _NUMBER.match(text)
    if not found:
        return None
    if found["words"]:
        return _SPELLED[found["words"].lower()], text[found.end():]
    digits, rest = found["digits"], text[found.end():]
    if len(digits) > 15:
        return None
    if "/" in digits:
        *whole, share = digits.split(" ")
        above, below = share.split("/")
        if not int(below):
            return None
        return Fraction(int(whole[0]) if whole else 0) + Fraction(int(above), int(below)), rest
    grouped = re.fullmatch(r"[1-9]\d{0,2}(?:,\d{3})+", digits) or (
        # nobody weighs to a milligram: "1.500 g" is a thousand and a half
        re.fullmatch(r"[1-9]\.\d{3}", digits) and re.match(r"\s*(?:g|gramm?|ml)\b", rest, re.I))
    value = Fraction(re.sub("[,.]", "", digits) if grouped else digits.replace(",", "."))
    dozen = re.match(r"\s+dozen\b", rest, re.I)
    return (value * 12, rest[dozen.end():]) if dozen else (value, rest)


def amount_at(text: str) -> tuple[Amount, str] | None:
    """The amount with which a text begins, and what is left: the thing itself.

    Parameters
    ----------
    text : str
        As `plain` makes it.

    Returns
    -------
    (Amount, str) or None
        None where it begins with no amount.

    >>> amount_at("2 x 400g tins tomatoes")[0].each.count, amount_at("2 to 3 carrots")[0].count
    (Fraction(400, 1), Fraction(5, 2))
    >>> amount_at("1 (14 oz) can beans")[1], amount_at("250 g / 9 oz flour")[1], amount_at("flour")
    ('beans', 'flour', None)
    """
    rest, rounded = _skipped(text)
    paren = None
    start = number_at(rest)
    if start is None:
        return _unit_alone(rest)
    count, rest = start
    notes: list[str] = []
    if (to := _TO.match(rest)) and (upper := number_at(rest[to.end():])) and upper[0] > count and not (
            re.match(r"-?\s*(?:inch|in\b|cm|\")", upper[1]) and rest.startswith("-")):
        notes.append(f"the middle of {_told(count)} to {_told(upper[0])}")
        count, rest = (count + upper[0]) / 2, upper[1]
    rest = re.sub(r"^\s*\+(?=\s)", "", rest)
    # "2 x 400 g", "1 14-oz can", "1 1.5 kg chicken"
    times = _TIMES.match(rest) or re.match(r"\s+(?=[\d.])", rest)
    if times and (one := amount_at(rest[times.end():])) and (one[0].fixed or one[0].each):
        return _so_many(count, one[0], one[1], notes)
    if re.match(r"\s*(?:x|×)\s+(?=\D)", rest):
        rest = re.sub(r"^\s*(?:x|×)\s+", "", rest)
    rest = re.sub(r"^\s*-\s*(?=\w)|^\s+an?\s+(?=\w)", "", rest).strip()
    if opened := _PAREN.match(rest):
        paren, rest = opened[1], rest[opened.end():]
    more, more_rounded = _skipped(rest)
    size = ""
    if sized := _SIZE.match(more):
        size = _size_of(sized)
        more = more[sized.end():]
        more, also_rounded = _skipped(more)
        more_rounded |= also_rounded
    unit = ""
    after = more
    if (found := unit_at(more)) and _is_unit(found, paren):
        unit, after = found
    elif more is not rest and not size and not unit:
        after = more if rounded or more_rounded else rest
    if (unit and _ROUNDED.match(rest[: len(rest) - len(after)] if len(after) < len(rest) else "")) or rounded:
        more_rounded = True
    if unit in ("tbsp", "tsp", "dessertspoon") and more_rounded and re.match(r"heap|geh|bomb", (rest or text), re.I):
        count, notes = count * Fraction(5, 4), [*notes, "a heaped spoon taken as 1 1/4 level ones"]
    if (instead := re.match(r"(?:or|oder|ou)\s+(?=\d)", after)) and (other := amount_at(after[instead.end():])):
        after = other[1]  # "1 large or 2 small cauliflowers"
    amount = Amount(min(count, MOST), unit, size, notes=tuple(notes))
    return _completed(amount, after, paren)


def _is_unit(found: tuple[str, str], paren: str | None) -> bool:
    """Whether what looks like a unit is one: not the fillet of a fillet steak, not cloves that are the spice."""
    unit, rest = found
    if unit in _PART_OF_NAME and re.match(_PART_OF_NAME[unit], rest, re.I):
        return False
    if unit in MASSES or unit in RELEASE:
        return True
    named = _PAREN.sub("", rest).strip(" ,.;")
    return (bool(named) and not re.match(r"[,;]", rest)) or bool(paren)


def _so_many(count: Fraction, one: Amount, rest: str, notes: list[str]) -> tuple[Amount, str]:
    """So many of an amount: of packages, where what follows is one."""
    if one.each is not None:
        return replace(one, count=count * one.count, notes=(*notes, *one.notes)), rest
    after = re.sub(r"^\s*-\s*(?=\w)", "", rest)
    opened = _PAREN.match(after)
    after = after[opened.end():] if opened else after
    unit, left = "", after
    if (found := unit_at(after)) and not (found[0] in MASSES or found[0] in RELEASE):
        unit, left = found
    return Amount(count, unit, each=replace(one, notes=()), notes=(*notes, *one.notes)), _of(left)


def _completed(amount: Amount, rest: str, paren: str | None) -> tuple[Amount, str]:
    """The amount with what stands beside it: in parentheses, after a slash, "plus 2 tablespoons"."""
    if (
        paren is None
        and (opened := _PAREN.match(rest))
        and re.match(r"[~\d.]|about|approx|ca\b|each|a |je", opened[1], re.I)
    ):
        paren, rest = opened[1], rest[opened.end():]
    if paren is not None:
        amount = _told_otherwise(amount, paren)
    if amount.fixed:
        rest = re.sub(r"^\s*-\s*(?=\w)", "", rest)
        while slash := re.match(r"\s*(?:/|\||,|=|or)\s*(?=[\d.])", rest):
            other = amount_at(rest[slash.end():])
            if other is None or not other[0].fixed:
                break
            amount, rest = _better(amount, other[0]), other[1]
        if (compound := _compound(amount, rest)) is not None:
            amount, rest = compound
        found = unit_at(rest)
        if found and found[0] in PACKAGES and found[1]:
            amount, rest = Amount(Fraction(1), found[0], each=amount, notes=amount.notes), found[1]
    if (again := re.match(r"(?:plus|\+|and)\s+(?=\d)", rest, re.I)) and (other := amount_at(rest[again.end():])) and \
            other[0].fixed and amount.fixed:
        added = _sum(amount, other[0])
        if added is not None:
            return added, _of(other[1])
    return amount, _of(rest)


def _compound(amount: Amount, rest: str) -> tuple[Amount, str] | None:
    """"1 lb 2 oz" and the like: a pound goes on in ounces, a pint in fluid ounces."""
    finer = {"lb": "oz", "kg": "g", "pint": "fl oz", "l": "ml"}.get(amount.unit)
    other = amount_at(rest) if finer and re.match(r"[\d.]", rest) else None
    if other is None or other[0].unit != finer or (added := _sum(amount, other[0])) is None:
        return None
    return added, other[1]


def _sum(one: Amount, other: Amount) -> Amount | None:
    """Two weights, or two volumes of the same book, as one."""
    for sizes in (MASSES, RELEASE):
        if one.unit in sizes and other.unit in sizes:
            return replace(one, count=one.count + other.count * sizes[other.unit] / sizes[one.unit])
    return None


def _told_otherwise(amount: Amount, paren: str) -> Amount:
    """An amount with what stands in parentheses beside it: what one holds, or the whole told in grams."""
    inner = amount_at(plain(paren.replace("-", " ") if re.match(r"\d+-[a-z]", paren) else paren))
    if inner is None or not inner[0].fixed:
        return amount
    told = inner[0]
    if amount.fixed:
        return _better(amount, told)
    if amount.each is not None:
        return amount
    before_words = amount.unit in PACKAGES or _EACH.search(paren) or not amount.unit
    return replace(amount, each=told) if before_words else replace(amount, whole=told)


def _better(one: Amount, other: Amount) -> Amount:
    """Of two ways to tell an amount, the weight, and that in grams first; then the metric volume; else the first."""
    best = min((one, other), key=lambda amount: (not amount.weighs, amount.unit not in ("g", "kg"),
                                                 not amount.weighs and amount.unit not in ("ml", "cl", "dl", "l")))
    return replace(best, notes=tuple(dict.fromkeys((*one.notes, *other.notes))) if best.notes else best.notes)


def _unit_alone(text: str) -> tuple[Amount, str] | None:
    """"Pinch of salt", "small bunch parsley", "Bund Petersilie": one of a unit that counts without a number."""
    sized = _SIZE.match(text)
    bare = text[sized.end():] if sized else text
    found = unit_at(bare)
    if found and found[0] in _ALONE and found[1] and not re.match(r"[,;:(]", found[1]) and not re.match(
            r"cloves|slices|leaves|sticks|[ct]\b", bare, re.I):
        size = _size_of(sized) if sized else ""
        return Amount(Fraction(1), found[0], size), _of(found[1])
    return None


def _size_of(sized: re.Match[str]) -> str:
    """The size that a word tells."""
    return _SIZES[next(name for name, found in sized.groupdict().items() if found)]


def _skipped(text: str) -> tuple[str, bool]:
    """A text without "about", "heaped" and the like before it, and whether that says more than level."""
    rounded = False
    while found := _ABOUT.match(text):
        if not text[found.end():]:
            break
        rounded = rounded or bool(_ROUNDED.match(found[0]))
        text = text[found.end():]
    return text, rounded


def _of(text: str) -> str:
    """What follows an amount, without "of" and its like.

    >>> _of("of flour"), _of("d'huile"), _of("de la crème"), _of("onions")
    ('flour', 'huile', 'crème', 'onions')
    """
    return re.sub(r"^(?:of (?:the |a |an )?|de la |de l'|de |du |des |d'|von |vom |x )", "", text.strip(" ,.;:-"),
                  flags=re.IGNORECASE).strip()


def _told(count: Fraction) -> str:
    """A number as a note tells it."""
    return str(count) if count.denominator != 1 and count < 1 else f"{float(count):g}"
