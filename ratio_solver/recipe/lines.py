"""One line of a written recipe: what kind of line it is, and of each food in it the amount and the words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.errors import one_line
from ratio_solver.foods.claims import claims
from ratio_solver.recipe.amounts import Amount, amount_at, number_at, plain
from ratio_solver.recipe.units import PACKAGES, unit_at

MOST_WORDS = 200
"""Characters of a line beyond which it is no ingredient but a text about cooking."""


@dataclass(frozen=True)
class Item:
    """One food of a written line.

    Attributes
    ----------
    words : str
        The cook's own, without amount and unit: "minced beef 15 % fat".
    amount : Amount or None
        None where the line has none.
    aside : tuple of str
        Other foods that the line allows: "margarine" of "butter or margarine".
    wholes : tuple of str
        What the words may mean with the noun of the next: "vegetable oil" of "vegetable or olive oil".
    """

    words: str
    amount: Amount | None = None
    aside: tuple[str, ...] = ()
    wholes: tuple[str, ...] = ()


_HOLDING = PACKAGES | {"bunch", "handful", "piece", ""}
"""What a volume beside it is that of: a carton, a bunch, one."""

_ROUND_ABOUT = (r"(?:weighing|weight|of|each|approx\.?|approximately|about|around|circa|ca\.?|roughly|total|totalling|"
          r"in all|or|from|altogether|equal to|equals|=|~|je|à|a|etwa|ungefähr|rund|zirka|insgesamt|zusammen|"
          r"gesamt|gesamtgewicht|netto|von|soit|environ|env\.?|de|d'|d'environ|poids|total de|au total|en tout|"
          r"chacune?|chacun de|pesant|net|drained weight|abtropfgewicht|poids net|égoutté|égouttés)")
_WEIGHT_BESIDE = re.compile(
    rf"(?:[(,]\s*|\s(?=(?:d'environ|soit|about|weighing|around|pesant|zusammen|insgesamt)\s))(?:{_ROUND_ABOUT}\s*:?\s*)*"
    r"(?=[\d.,]+[\s\d/.,-]*(?:g|kg|oz|lbs?|ounces?|pounds?|ml|cl|dl|grams?|grammes?|gramm|kilos?|litres?|cups?|tbsp|"
    r"tsp|l)\b)",
    re.IGNORECASE,
)
"""What stands before a weight or volume beside the food, in four languages."""

_APIECE = re.compile(r"\b(?:each|apiece|per|je|jeweils|pro|chacune?s?|pièce|(?<=\()à|l'unité)\b|\(à ", re.IGNORECASE)
_WEIGHT = re.compile(r"\b\d+(?:[.,/]\d+)?\s?(?:g|kg|oz|lbs?|grams?|grammes?|gramm|ounces?|pounds?)\b"
                     r"(?!\s*(?:fat|protein|carb))", re.IGNORECASE)
_AND = r"(?:and|&|und|et|\+|plus)"
_PURPOSES = re.compile(
    r"""[,;(-]?\s*\b(?:
      (?:or\ )?(?:more|less)?\s*to\ taste | (?:or\ )?(?:more|less)\ (?:as|if)\ \w+ | as\ (?:needed|required|desired)
    | (?:plus|and|\+|with|or)\s*(?:some\ |a\ (?:little|bit)\ (?:of\ )?|a\ few\ )?(?:extra|more)\b[^,;)]*
    | (?<=[,(]\ )(?:extra|more)\ (?:for|to|if)\b[^,;)]* | (?<=[,(])(?:extra|more)\ (?:for|to|if)\b[^,;)]*
    | (?:for|to)\ (?:serving|serve|garnish\w*|dusting|greasing|frying|drizzling|brushing|decorat\w+|sprinkling|rolling|
        finish\w*|top(?:ping)?|coat\w*|bak(?:e|ing)\ the|season\w*|dip\w*|bind\w*|the|deep|shallow|thicken|fry|saut\w+|
        cook\w*|glaz\w+|knead\w*|line|oil|grease|accompany|roast\w*|marinat\w+)\b[^,;)]*
    | (?:zum|zur|für\ die|für\ den|für\ das)\ \w[^,;)]* | nach\ (?:geschmack|belieben|bedarf)
    | pour\ (?:le|la|les|servir|décorer|la\ cuisson|le\ moule)\b[^,;)]* | selon\ (?:le\ )?goût | facultatif | à\ volonté
    | (?:if|when)\ (?:desired|using|needed|available|possible|you)\b[^,;)]* | if\ \w+[^,;)]* | optional(?:ly)?
    | divided | separated | at\ room\ temp\w*(?:\ temperature)? | room\ temp\w*
    | see\ (?:note|recipe|tip|below|above)\w*[^,;)]* | (?:recipe|note|tip)s?\ \d?[^,;)]*(?:below|above|follows)?
      | such\ as\ [^,;)]*
    | e\.?g\.?\ [^,;)]* | preferably\ [^;)]* | ideally\ [^,;)]* | I\ use\w*\ [^,;)]* | like\ [^,;)]*
    | about\ \d[^,;)]* | depending\ on[^,;)]* | homemade\ or\ [^,;)]* | bought\ or\ [^,;)]*
    )""",
    re.IGNORECASE | re.VERBOSE,
)
_OR_AMOUNT = re.compile(r",?\s+(?:or|oder|ou)\s+(?=[\d(])|\s+/\s+(?=\d)", re.IGNORECASE)
_JUICED = re.compile(r"\bjuice|\bjus\b|saft|juiced", re.IGNORECASE)
_ZESTED = re.compile(r"zest|\brind\b|\bpeel\b(?!ed)|abrieb|schale\b|écorce", re.IGNORECASE)
_CITRUS = re.compile(r"\b(lemon|lime|orange|grapefruit|clementine|zitrone|limette|citron(?: vert)?)[ns]?\b",
                     re.IGNORECASE)
_CITRUS_NAMES = {"zitrone": "lemon", "limette": "lime", "citron": "lemon", "citron vert": "lime",
                 "clementine": "orange"}
_TRAILING = re.compile(
    r"\b(?P<unit>cloves?|stalks?|sticks?|sprigs?|slices?|rashers?|bulbs?|heads?|zehen?|stangen?|zweige?|gousses?|"
    r"stems|ears?|cobs?|spears?|strips?)$", re.IGNORECASE)
_NO_FOOD = ("", "whole", "ground", "dried", "fresh")
"""What stands before a spice that is called as a unit is: "6 whole cloves"."""
_COMPOUND = re.compile(r"^(?P<word>\w{4,})(?P<unit>zehen?|stangen?|zweige?|knollen?|scheiben?|blätter)\b",
                       re.IGNORECASE)
_LONG = re.compile(r"(\d+(?:\.\d+)?)[ -]?(inch|cm)\b[ -]*(?:piece|knob|chunk|length)?\s*(?:of\s+)?", re.IGNORECASE)
_IN_LENGTHS = re.compile(r"ginger|ingwer|gingembre|cinnamon|turmeric|lemongrass|galangal|horseradish", re.IGNORECASE)
"""Roots and barks, of which there is so much by their length."""
_SEASONINGS = (r"(?:(?:fine|coarse|flaky|sea|kosher|table|rock|himalayan|cracked|fresh|freshly|ground|black|white|"
               r"grobes|feines|frisch|gemahlener|schwarzer|du|noir|moulin|de)\s+)*"
               r"(?:salt|pepper|nutmeg|sugar|paprika|cayenne|salz|pfeffer|muskat|zucker|sel|poivre|muscade|oregano|"
               r"thyme|cumin|cinnamon|peppercorns)(?:\s+(?:noir|powder|flakes))?")
_OF_SPICES = ("tsp", "tbsp", "pinch", "dash", "grating", "g")
_SEVERAL = re.compile(rf"^({_SEASONINGS})((?:\s*(?:,|/|{_AND})\s*{_SEASONINGS})+)\b", re.IGNORECASE)
_LISTED = re.compile(rf"\s*(?:,\s*{_AND}\s|,|/|\s{_AND}\s)\s*", re.IGNORECASE)
_EACH_OF = re.compile(r"(?:each|je)\b:?\s*(?:of\s+)?(?:the following\s*:?\s*)?(.+)", re.IGNORECASE)
_OF_EACH = re.compile(rf"(.+?\s{_AND}\s.+?),?\s+\(?(?:each|of each)\)?$", re.IGNORECASE)
"""Foods of which there is as much of each, after or before that word."""
_MADE_WITH = re.compile(r",?\s*\(?\b(?:dissolved|mixed|made up|blended|whisked|stirred|slaked|combined|verrührt)\s+"
                        r"(?:in|with|into|mit)\s+(?=[\d(a])", re.IGNORECASE)

_OR_WORD = r"(?:and/or|or|oder|ou|bzw\.)"
_OR = re.compile(rf"\s*,?\s+{_OR_WORD}\s+(?!\d)|(?<=[^\W\d_]{{3}})\s*/\s*(?=[^\W\d_]{{3}})", re.IGNORECASE)
_OPENING = re.compile(rf"\s*\(\s*{_OR_WORD}\s+([^()]+)\)", re.IGNORECASE)
_INSIDE = re.compile(rf"^(?P<noun>[^(),\d]+?)\s*\((?P<first>[^(),\d]+?)\s+{_OR_WORD}\s+(?P<second>[^(),\d]+)\)",
                     re.IGNORECASE)
_NO_FOODS = re.compile(r"\b(?:more|less|taste|needed|see|if|use|your|similar|other|to)\b", re.IGNORECASE)
_BEFORE = re.compile(r"^(?:use |some |any |the |de la |de l'|du |des |de |d')", re.IGNORECASE)
MOST_OF_NOUN = 3
"""Words of a noun, or of what tells it from others, at most: more is a remark."""


def items(text: str) -> tuple[Item, ...]:
    """The foods of a written line, each with its amount.

    Parameters
    ----------
    text : str
        One line, as the cook wrote it.

    >>> [(item.words, item.amount and item.amount.unit) for item in items("Salt and pepper, to taste")]
    [('Salt', None), ('black pepper', None)]
    >>> [item.words for item in items("juice and zest of 1 lemon")], items("2 eggs plus 1 egg yolk")[1].words
    (['lemon juice', 'lemon zest'], 'egg yolk')
    """
    line = plain(one_line(text))
    line = re.sub(r"^(?:optional|and|plus|also|dazu|sowie|season with|add|some|a little|a bit of|etwas|ein wenig|"
                  r"un peu de)\b\s*:?\s*", "", line, flags=re.IGNORECASE)
    line = re.sub(r"\*+|†|‡|\s+\[\d+\]$", "", line).strip()
    if not line or len(line) > 2 * MOST_WORDS:
        return ()
    if fruit := _of_citrus(line):
        return fruit
    if (more := re.search(r",?\s+(?:plus|\+|and)\s+(?=\d)", line)) and (fruit := _of_citrus(line[: more.start()])):
        rest = re.sub(r"\bjuice$", f"{fruit[0].words.split()[0]} juice", line[more.end():])
        return (*fruit, *items(rest))
    found = [item for part in _cut_at_amounts(line) for item in _item(part)]
    return tuple(replace(item, words=item.words or _words_near(found, place)) for place, item in enumerate(found))


def weight_passed_over(text: str, found: Sequence[Item]) -> str:
    """A weight that a line states and none of its items has; empty where there is none.

    >>> weight_passed_over("2 onions / 200 g", (Item("onions", Amount(Fraction(2))),))
    '200 g'
    """
    amounts = [one for item in found for one in (item.amount, item.amount and item.amount.each,
                                                 item.amount and item.amount.whole) if one]
    if any(amount.weighs for amount in amounts):
        return ""
    weight = _WEIGHT.search(re.sub(_MADE_WITH.pattern + ".*", "", plain(one_line(text)), flags=re.IGNORECASE))
    return weight[0] if weight else ""


def _cut_at_amounts(line: str) -> Iterator[str]:
    """The line cut where one amount with its food ends and another begins."""
    outside = re.sub(r"\([^()]*\)", lambda hidden: "\0" * len(hidden[0]), line)
    start = 0
    for cut in re.finditer(rf"(?:,?\s+(?:plus|and|&|und|et)|\s*\+|;)\s+(?=(?:\d|an?\s|one\s|the\s(?:juice|zest)))"
                           rf"|{_MADE_WITH.pattern}", outside, re.IGNORECASE):
        before, after = line[start:cut.start()], line[cut.end():]
        first, second = amount_at(before), amount_at(after)
        if first and second and second[1] and not re.match(r"(?:extra|more|bit|little|half)\b", second[1], re.I) \
                and (first[1] or second[0].fixed) and second[0].unit not in ("inch", "cm") and "cut" not in before[-4:]:
            yield before
            start = cut.end()
    yield line[start:]


def _words_near(found: Sequence[Item], place: int) -> str:
    """The words of the next item that has some, else of one before: "1 cup plus 2 tbsp flour" is two of flour."""
    return next((item.words for item in (*found[place:], *reversed(found[:place])) if item.words), "")


def _item(line: str) -> Iterator[Item]:
    """What one amount of a line belongs to; several foods where they share it."""
    found = amount_at(line) or _amount_after(line)
    amount, rest = found or (None, line)
    if amount:
        rest, *instead = _OR_AMOUNT.split(rest)
        more = [words for other in instead if (one := amount_at(other.strip(" ()"))) and (words := _cleaned(one[1]))]
        rest = " or ".join((rest.rstrip(" (,"), *more))
    shared = None if amount is None else (_EACH_OF.match(rest) if amount.unit else None) or _OF_EACH.match(rest)
    listed = shared or _SEVERAL.match(rest)
    for word in _LISTED.split(listed[1 if shared else 0]) if listed else [rest]:
        yield from _described(word, amount)


def _described(rest: str, amount: Amount | None) -> Iterator[Item]:
    """The item of an amount and the words after it."""
    amount, rest = _amount_beside(amount, rest)
    words = _cleaned(opened(rest))
    if words.lower() == "pepper" and (amount is None or amount.unit in _OF_SPICES):
        words = "black pepper"  # whole things of that name are vegetables
    if amount and not amount.fixed:
        amount, words = _unit_after(amount, words)
    if amount and amount.unit == "can" and words and not re.search(r"tinned|canned|\bcan\b|\btin\b", words, re.I):
        words = f"canned {words}"
    if amount and amount.unit == "rack" and " " not in words:
        words = f"rack of {words}"  # a cut of the animal, and how many there are of it
    if amount and amount.unit == "fillet" and re.match(r"(?:huile|olive|citron|vinaigre)", words, re.I):
        amount = replace(amount, unit="splash")
    first, *others = parted(words)
    listed = [part.strip() for part in first.split(",")[1:]] if others else []
    yield Item(first, amount, (*filter(None, listed), *others), wholes(first, others[0]) if others else ())


def _amount_after(line: str) -> tuple[Amount, str] | None:
    """An amount that stands after its food: "Butter - 50 g", "Onion 2 (chopped)", "Salt (1 tsp)"."""
    for place in re.finditer(r"(?<=[\s(:,-])(?=[\d~]|an? |one |ein)", line):
        name = re.sub(r"\s+[x×]$", "", line[: place.start()].rstrip(" (:,-~"))
        found = amount_at(line[place.start():])
        if not name or re.search(r"\d|%", name) or not found:
            continue
        amount, rest = found
        separated = bool(re.search(r"(?:[-:,(]|\s[x×])\s*$", line[: place.start()]))
        rest = rest.strip(" )").strip()
        ended = not rest or not re.match(r"\w", rest) or amount.size or re.match(r"(?:and|or|to|finely|chopped)", rest)
        if (amount.fixed and ended) or (ended and (separated or amount.unit or line[place.start()].isdigit())):
            tail = f", {rest.strip(' (,')}" if rest.strip(" (,)") else ""
            return amount, name + tail
    return None


def _amount_beside(amount: Amount | None, rest: str) -> tuple[Amount | None, str]:
    """A weight or volume that stands among the words: "4 fillets (150 g each)", "3 carottes, soit 250 g"."""
    if amount is None or amount.each or amount.whole:
        return amount, rest
    for found in _WEIGHT_BESIDE.finditer(rest):
        inner = amount_at(rest[found.end():].replace("-", " ", 1))
        if inner is None or not inner[0].fixed:
            continue
        told, tail = inner
        if amount.weighs or (amount.fixed and not told.weighs):
            return amount, rest
        if not told.weighs and not amount.fixed and amount.unit not in _HOLDING:
            return amount, rest
        end = rest.find(")", found.end()) if "(" in found[0] else -1
        within = rest[found.start():] if end < 0 else rest[found.start():end]
        left = rest[: found.start()] + ("" if end < 0 else rest[end + 1:])
        if end < 0 and (comma := re.search(r"[,;]", tail)):
            left += tail[comma.start():]
        return replace(amount, each=told) if _APIECE.search(within) and not amount.fixed else \
            told if amount.fixed else replace(amount, whole=told), left
    return amount, rest


def _cleaned(words: str) -> str:
    """Words without what they say of purposes and places, and without parentheses that hold no state of the food."""
    bare = re.sub(r"\(([^()]*)\)?", _kept_aside, words)
    bare = _PURPOSES.sub("", bare)
    bare = re.sub(r"^\s*(?:(?:loosely|tightly|firmly|lightly|well)[ -])?packed\s+", "", bare, flags=re.IGNORECASE)
    bare = re.sub(r"\s+", " ", bare.replace("*", "")).strip(" ,;:.-–/")
    return re.sub(r"\s+,", ",", re.sub(r",(?:\s*,)+", ",", bare))


def _kept_aside(found: re.Match[str]) -> str:
    """What a parenthesis says of the food, after a comma; nothing where it says something else."""
    inside = found[1]
    told = claims(inside) or re.search(
        r"%|\bfat\b|\b\d\d ?/ ?\d\d?\b|canned|tinned|drained|frozen|thawed|dried|fresh|raw|cooked|unsweetened|plain|"
        r"whole|skim|smoked|boneless|skinless|bone-in|unsalted|salted|lean|aubergine|courgette|scallion|cilantro",
        inside, re.IGNORECASE)
    return f", {inside}, " if told and not re.match(r"\s*[\d~]+ ?(?:g|oz|ml)\b", inside) else " "


def _unit_after(amount: Amount, words: str) -> tuple[Amount, str]:
    """Whole things whose unit stands after them, or in one word with them: "3 garlic cloves", "2 Knoblauchzehen"."""
    first, *rest = words.split(",")
    if amount.unit in ("inch", "cm", "thumb", "piece"):
        first = re.sub(r"^(?:-?\s*(?:sized?\s+)?(?:piece|chunk|knob|thumb|stück|length)s?\s+(?:of\s+)?(?:fresh\s+)?)",
                       "", first, flags=re.IGNORECASE)
    if not amount.unit and (size := _LONG.match(first)) and (long := number_at(size[1])):
        first = first[size.end():]
        if _IN_LENGTHS.search(first):
            amount = replace(amount, count=amount.count * long[0], unit=size[2].lower())
    if amount.unit or amount.each:
        return amount, ",".join([first, *rest])
    if (inside := _COMPOUND.match(first)) and not re.match(r"lorbeer", inside["word"], re.I):
        unit = unit_at(inside["unit"])
        first = (inside["word"] + first[inside.end():]).strip()
        return replace(amount, unit=unit[0] if unit else ""), ",".join([first, *rest])
    if re.search(r"\bfillets?$", first.strip(), re.I):
        return replace(amount, unit="fillet"), words
    trailing = _TRAILING.search(first.strip())
    name = first.strip()[: trailing.start()].strip() if trailing else ""
    if trailing and name.lower() not in _NO_FOOD and (unit := unit_at(trailing["unit"])):
        return replace(amount, unit=unit[0]), ",".join([name, *rest])
    return amount, ",".join([first, *rest])


def _of_citrus(line: str) -> tuple[Item, ...]:
    """"juice of 1 lemon", "1 lime, zested and juiced": the juice and the zest of so many fruits."""
    fruit = _CITRUS.search(line)
    juice, zest = _JUICED.search(line), _ZESTED.search(line)
    if not fruit or not (juice or zest) or re.search(r"\b(?:or|and|plus) \d", line, re.I) or "preserved" in line:
        return ()
    leading = amount_at(line)
    if leading and leading[0].unit not in ("", "piece"):
        return ()
    count = leading[0].count if leading else _count_within(line, fruit.start())
    pieces_of_juice = leading and leading[0].unit and juice and juice.start() > fruit.end() + 1 \
        and not re.search(rf",|\(|{_AND}\s", line[fruit.end():])
    if count is None or pieces_of_juice:
        return ()
    name = _CITRUS_NAMES.get(fruit[1].lower(), fruit[1].lower())
    size = leading[0].size if leading else ""
    parts = [("juice", juice), ("zest", zest)]
    return tuple(Item(f"{name} {part}", Amount(count, "fruit yields", size)) for part, found in parts if found)


def _count_within(line: str, place: int) -> Fraction | None:
    """How many fruits a line names before one: "juice of half a lemon", "Saft einer Zitrone"."""
    before = re.sub(r"^.*?\b(?:of|from|von|de|d'|d)\s*", "", line[:place], flags=re.IGNORECASE) or line[:place]
    for start in (before, re.sub(r"^\D*?(?=\d)", "", before),
                  re.sub(r"^.*\b(?=ein|une?\b|one|half|an?\b)", "", before)):
        found = amount_at(start + "fruit" if start.endswith(" ") else start + " fruit")
        if found and not found[0].fixed:
            return found[0].count
    return Fraction(1) if re.search(r"\b(?:of|from|von|de|d'|du)\b", line[:place], re.IGNORECASE) else None


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
