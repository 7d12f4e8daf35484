"""The amount with which a written line begins: numbers in all spellings, ranges, sizes, what is in one package."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.recipe.units import MASSES, PACKAGES, RELEASE, unit_at

_SPELLED = {name: Fraction(value) for value, names in {
    "1": "a|an|one|ein|eine|einen|einer|eines|un|une", "2": "two|a couple|a couple of|couple of|couple|zwei|deux",
    "3": "three|a few|few|several|drei|einige|ein paar|trois|quelques", "4": "four|vier|quatre", "5": "five|fünf|cinq",
    "6": "six|half a dozen|sechs", "7": "seven", "8": "eight|acht", "9": "nine", "10": "ten|zehn|dix", "11": "eleven",
    "12": "twelve|a dozen|dozen",
    "1/2": "half a|half an|a half|half|one half|ein halber|ein halbes|eine halbe|halbe|halber|halbes|einer halben|"
           "einem halben|einen halben|eines halben|un demi|une demi|une demie|demi|demie|1/2 a|1/2 an|1/2 of a|"
           "1/2 of an",
    "1/4": "a quarter|a quarter of a|quarter of a|quarter|one quarter|1/4 of a|1/4 of an",
    "1/3": "one third|a third of a", "2/3": "two thirds", "3/4": "three quarters|three quarters of a",
}.items() for name in names.split("|")}
"""Numbers in words."""
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
_SPELT_ALIKE = str.maketrans("⁄∕–—−‐‑\u00a0\u202f\u2009’‘´`“”", "//-----   " + 4 * "'" + 2 * '"')

_SIZES = {"xl": "extra large", "l": "large", "m": "medium", "s": "small"}
_ALONE = frozenset((
    "pinch", "handful", "knob", "dash", "splash", "squeeze", "sprig", "bunch", "drop", "grating", "stick", "thumb",
    "clove", "slice", "can", "packet", "tbsp", "tsp", "glass", "bag", "ball", "block", "sheet",
))
"""Units that a line may begin with, meaning one of them."""

_PART_OF_NAME = {"fillet": r"(?:steak|mignon|of beef)", "bunch": "garni", "stalk": r"-?\s*eye"}
"""Words that look like a unit, and what follows them where they are part of a name."""

_GOES_ON_IN = {"lb": "oz", "kg": "g", "pint": "fl oz", "l": "ml"}
"""Units that go on in a finer one: "1 lb 2 oz", a pint in fluid ounces."""

LARGEST_AMOUNT = Fraction(1_000_000)
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
    spelled = re.sub(r"(\d?)\s*([¼-¾⅐-⅞↉])",
                     lambda found: f"{found[1]} {unicodedata.normalize('NFKC', found[2])} ", text)
    spelled = " ".join(spelled.translate(_SPELT_ALIKE).split())
    for pattern, instead in _OTHERWISE:
        spelled = re.sub(pattern, instead, spelled)
    return spelled


_OTHERWISE = (
    (r"^(?:[^\w(\[~≈.\"']|_|[.](?!\d))+(?=\S)", ""), (r"^\[[ xX]?\]\s*", ""),
    (r"(?<=\d)-\s+(?=(?:to|or)\s)", " "), (r"(?<=\d)\s*(?:-| and | & |\+)\s*(?=\d/\d)", " "),
    (r"(?<=\d) ?/ ?(?=\d)", "/"), (r"(?i)\b(one|a|two|three|1|2|3) and (?:a |one )?half\b",
                            lambda found: f"{_SPELLED.get(found[1].lower(), found[1])} 1/2"),
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
    below = digits.partition("/")[2]
    if len(digits) > 15 or (below and not int(below)):
        return None
    if below:
        return sum(map(Fraction, digits.split(" ")), Fraction(0)), rest
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
    start = number_at(rest)
    if start is None:
        return _unit_alone(rest)
    count, rest = start
    notes: list[str] = []
    if (to := _TO.match(rest)) and (upper := number_at(rest[to.end():])) and upper[0] > count and not (
            re.match(r"-?\s*(?:inch|in\b|cm|\")", upper[1]) and rest.startswith("-")):
        notes.append(f"the middle of {_count_told(count)} to {_count_told(upper[0])}")
        count, rest = (count + upper[0]) / 2, upper[1]
    rest = re.sub(r"^\s*\+(?=\s)", "", rest)
    # "2 x 400 g", "1 14-oz can", "1 1.5 kg chicken"
    times = _TIMES.match(rest) or re.match(r"\s+(?=[\d.])", rest)
    if times and (one := amount_at(rest[times.end():])) and (one[0].fixed or one[0].each):
        return _times(count, one[0], one[1], notes)
    rest = re.sub(r"^\s*(?:x|×)\s+(?=\D)", "", rest)
    rest = re.sub(r"^\s*-\s*(?=\w)|^\s+an?\s+(?=\w)", "", rest).strip()
    paren = None
    if opened := _PAREN.match(rest):
        paren, rest = opened[1], rest[opened.end():]
    more, more_rounded = _skipped(rest)
    size = ""
    if sized := _SIZE.match(more):
        size = _SIZES[sized.lastgroup or ""]
        more, _ = _skipped(more[sized.end():])
    unit, after = "", more if size or rounded or more_rounded else rest
    if (found := unit_at(more)) and _is_unit(found, paren):
        unit, after = found
    if unit in ("tbsp", "tsp", "dessertspoon") and re.match(r"heap|geh|bomb", rest, re.I):
        count, notes = count * Fraction(5, 4), [*notes, "a heaped spoon taken as 1 1/4 level ones"]
    if (instead := re.match(r"(?:or|oder|ou)\s+(?=\d)", after)) and (other := amount_at(after[instead.end():])):
        after = other[1]  # "1 large or 2 small cauliflowers"
    return _completed(Amount(min(count, LARGEST_AMOUNT), unit, size, notes=tuple(notes)), after, paren)


def _is_unit(found: tuple[str, str], paren: str | None) -> bool:
    """Whether what looks like a unit is one: not the fillet of a fillet steak, not cloves that are the spice."""
    unit, rest = found
    if unit in _PART_OF_NAME and re.match(_PART_OF_NAME[unit], rest, re.I):
        return False
    if unit in MASSES or unit in RELEASE:
        return True
    named = _PAREN.sub("", rest).strip(" ,.;")
    return (bool(named) and not re.match(r"[,;]", rest)) or bool(paren)


def _times(count: Fraction, one: Amount, rest: str, notes: list[str]) -> tuple[Amount, str]:
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
        finer = _GOES_ON_IN.get(amount.unit)
        if re.match(r"[\d.]", rest) and (other := amount_at(rest)) and other[0].unit == finer:
            amount, rest = _sum(amount, other[0]) or amount, other[1]
        found = unit_at(rest)
        if found and found[0] in PACKAGES and found[1]:
            amount, rest = Amount(Fraction(1), found[0], each=amount, notes=amount.notes), found[1]
    if (again := re.match(r"(?:plus|\+|and)\s+(?=\d)", rest, re.I)) and (other := amount_at(rest[again.end():])) and \
            (added := _sum(amount, other[0])):
        return added, _of(other[1])
    return amount, _of(rest)


def _sum(one: Amount, other: Amount) -> Amount | None:
    """Two weights, or two volumes of the same book, as one."""
    for sizes in (MASSES, RELEASE):
        if one.unit in sizes and other.unit in sizes:
            return replace(one, count=one.count + other.count * sizes[other.unit] / sizes[one.unit])
    return None


def _told_otherwise(amount: Amount, paren: str) -> Amount:
    """An amount with what stands in parentheses beside it: what one holds, or the whole told in grams."""
    inner = amount_at(plain(paren.replace("-", " ") if re.match(r"\d+-[a-z]", paren) else paren))
    if inner is None or not inner[0].fixed or amount.each is not None:
        return amount
    told = inner[0]
    if amount.fixed:
        return _better(amount, told)
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
    size, bare = (_SIZES[sized.lastgroup or ""], text[sized.end():]) if sized else ("", text)
    found = unit_at(bare)
    if found and found[0] in _ALONE and found[1] and not re.match(r"[,;:(]", found[1]) and not re.match(
            r"cloves|slices|leaves|sticks|[ct]\b", bare, re.I):
        return Amount(Fraction(1), found[0], size), _of(found[1])
    return None


def _skipped(text: str) -> tuple[str, bool]:
    """A text without "about", "heaped" and the like before it, and whether that says more than level."""
    rounded = False
    while (found := _ABOUT.match(text)) and found.end() < len(text):
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


def _count_told(count: Fraction) -> str:
    """A number as a note tells it."""
    return str(count) if count.denominator != 1 and count < 1 else f"{float(count):g}"
