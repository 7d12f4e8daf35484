"""Which food the words of a written line mean, and what of that a cook must look at.

Some words mean another food in a cook's line than in the table: by how much of it there is, and in whose kitchen
(common practice, no source).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import get_args

from ratio_solver.errors import cut
from ratio_solver.foods.claims import not_carried
from ratio_solver.foods.food import PERHAPS, Food
from ratio_solver.foods.matching import SURE, Grade, Match
from ratio_solver.foods.shared_words import has_fat
from ratio_solver.foods.table import FoodTable, match
from ratio_solver.foods.words import STATES, fat_asked, folded, names_food, words_of
from ratio_solver.recipe.amounts import Amount
from ratio_solver.recipe.lines import Item
from ratio_solver.recipe.units import MASSES

NEXT = 2
"""Candidates that are named beside the one taken."""

_GRADES = get_args(Grade)
_CANNED = re.compile(r"canned|tinned|\bcan\b|\btin\b|drained|\bjar|dose|boîte|conserve", re.IGNORECASE)
_FAT_SAID = re.compile(r"%|\blean|skimmed|écrémé|mager|fettarm", re.IGNORECASE)
"""What a line says of how much fat there is."""

_WET = re.compile(
    r"\b(?:cooked|boiled|canned|tinned|tins?|cans?|drained|jars?|jarred|rinsed|baked|refried|gekocht\w*|dosen?|"
    r"abgetropft\w*|cuite?s?|boîtes?|conserve|égoutt\w+)\b", re.IGNORECASE)
_DRY = re.compile(
    r"\b(?:dry|dried|raw|uncooked|soaked|split|dal|daal|chana|ground|rubbed|(?:ge)?trocknet\w*|trocken|gerebelt\w*|secs?|"
    r"sèche?s?|séché\w*)\b", re.IGNORECASE)
"""What a line says of pulses and herbs: cooked or out of a can, or dry."""

_TINS = frozenset(("can", "jar", "carton", "packet", "bottle"))
_KEPT = re.compile(r"canned|(?:dried|(?<!fresh, )raw)$")

_OTHER_DISH = frozenset(("mashed", "whipped", "shredded", "pureed"))
"""What is done to a food that has names of its own afterwards, beside heating it."""


@dataclass(frozen=True)
class Meaning:
    """What the words of an item mean.

    Attributes
    ----------
    words : str
        Those of the food that is taken, where the line leaves a choice.
    found : Match
    doubt : str
        What else the line allows or may mean, in words; empty where it means one food.
    """

    words: str
    found: Match
    doubt: str = ""


def meaning_of(item: Item, table: FoodTable) -> Meaning:
    """The food that an item means: of several that it leaves the choice of the first that the table has, and told."""
    words, found = item.words, _by_words(item.words, table)
    allowed = [(other, _allowed(other, item.words, table)) for other in item.aside]
    allowed = [(other, one) for other, one in allowed if one.food is not None and names_food(other)]
    if item.wholes:
        words, found = _with_noun(item, found, allowed, table)
    if found.food is None:
        words, found = next(((other, one) for other, one in allowed if one.grade in SURE), (words, found))
    if found.food is None:
        return Meaning(words, found)
    if words != item.words and words not in item.wholes:
        return Meaning(words, found, f"the table has no {cut(item.words, 40)}")
    others = {one.food.name: one.food for _, one in allowed if one.food is not None and one.food != found.food}
    if others:
        told = f"the line leaves a choice: {found.food.name} is taken, else {' or '.join([*others][:NEXT])}"
        rest = (food for food in found.others if food.name not in others)
        return Meaning(words, replace(found, others=(*others.values(), *rest)[:NEXT]), told)
    return Meaning(words, found, _fat_unsaid(words, found, table) or _state_unsaid(item, words, found, table)
                   or _before_or_after(words, found.food, table))


def _by_words(words: str, table: FoodTable) -> Match:
    """The best match of words as they stand, or of those before the first comma; what they claim holds for both."""
    first = words.split(",")[0]
    fat = fat_asked(words)
    found = [answer for one in dict.fromkeys((words, first)) if one and (answer := match(table, one, NEXT + 1))
             and (one == words or fat is None or (answer.food and has_fat(answer.food, fat)))]  # fat after the comma
    if words.startswith("canned "):  # of milk or a paste nobody says that it is canned
        bare = match(table, words.removeprefix("canned "), NEXT + 1)
        if bare.food and re.search(r"\b(?:raw|dried|dry)$", bare.food.name):  # in another language it has no name so
            bare = match(table, f"canned {bare.food.name.split(',')[0]}", NEXT + 1)
        found += [bare] if bare.food and (bare.grade in SURE or not bare.food.name.endswith("raw")) else []
    best = min(found, key=lambda answer: _GRADES.index(answer.grade), default=Match(None, "none"))
    if best.food and "canned" in best.food.name and not _CANNED.search(words):
        fresh = [other for other in found if other.food and other.grade in SURE and "canned" not in other.food.name]
        best = (fresh or [best])[0]  # "tomatoes, chopped" are not the chopped tomatoes of a can
    if best.food and not best.lacks and (lacks := not_carried(words, best.food)):
        return replace(best, grade="guess", lacks=lacks)
    return best


def _with_noun(item: Item, bare: Match, allowed: list[tuple[str, Match]], table: FoodTable) -> tuple[str, Match]:
    """The first of a choice alone, or with the noun of the next: a vegetable, or vegetable oil.

    What is of the same kind as the next is meant; a fat that is one without the noun stays what it is (butter).
    """
    roles = [one.food.role for _, one in allowed if one.food]
    named = [(words, match(table, words, NEXT + 1)) for words in item.wholes]
    sure = [one for one in named if one[1].grade in SURE]
    nearest = [(words, one) for words, one in named if one.food and one.food.role in roles[-1:]
               and folded(words) + PERHAPS in map(folded, one.food.also)]  # rice vinegar is no rice, nor in the table
    words, joined = (*sure, *nearest, (item.words, bare))[0]
    if joined.food is None or bare.grade not in SURE:
        return words, joined
    if joined.food == bare.food:
        return item.words, bare
    kind = roles[-1] if roles else joined.food.role
    if bare.food and bare.food.role == kind and (kind == "fat" or joined.food.role != kind):
        return item.words, bare
    return words, joined


def _allowed(other: str, first: str, table: FoodTable) -> Match:
    """What a food means that the line allows instead; it may lack what the first begins with: "breasts or thighs"."""
    found = _by_words(other, table)
    begin = first.split(",")[0].split()[:-1]
    if found.grade in SURE or not begin:
        return found
    longer = match(table, " ".join((*begin, other)), NEXT + 1)
    return longer if longer.grade in SURE else found


def _fat_unsaid(words: str, found: Match, table: FoodTable) -> str:
    """What to say of a food that is sold with several shares of fat where the words name none: of minced meat."""
    taken = found.food
    if taken is None or found.grade not in SURE or fat_asked(words) is not None or _FAT_SAID.search(words):
        return ""
    others = [food.name for food in table.names.of_other_fat(taken)]
    return f"with how much fat? {taken.name} is taken, else {' or '.join(others[-NEXT:])}" if others else ""


def _state_unsaid(item: Item, words: str, found: Match, table: FoodTable) -> str:
    """What to say of pulses that may be dry or out of a can, and of a herb that is dried in the table alone."""
    taken, amount = found.food, item.amount
    if taken is None or amount is None or found.grade not in SURE:
        return ""
    wet = bool(_WET.search(words)) or amount.unit in _TINS
    said = wet or bool(_DRY.search(words))
    if taken.role == "legume" and _KEPT.search(taken.name):
        state = "canned" in taken.name
        if said and wet == state:
            return ""
        others = [food.name for food in table if food.role == "legume" and _pulse(food) == _pulse(taken)
                  and ("canned" in food.name) != state
                  and _KEPT.search(food.name)]
        if others or state or wet:
            return f"dry, or cooked or out of a can? {taken.name} is taken" + (f", else {others[0]}" if others else "")
    leaves = taken.role == "herb" and re.search(r", (?:dried|ground)$", taken.name) and "bay" not in taken.name
    if leaves and not said and amount.unit not in ("tsp", "pinch", "dash"):
        return f"fresh or dried? {taken.name} is taken, and the fresh herb is mostly water"
    return ""


def _pulse(food: Food) -> str:
    """What a pulse is called before its state: "lima beans" of "lima (butter) beans, canned"."""
    return " ".join(re.sub(r"\([^)]*\)", "", food.name.split(",")[0]).split())


def _before_or_after(words: str, taken: Food, table: FoodTable) -> str:
    """What to say of a food that is cooked, mashed or whipped by a word after the comma: was it weighed before that?"""
    first, comma, after = words.partition(",")
    done = [word for word in words_of(after) if word in _OTHER_DISH or STATES.get(word) in ("cooked", "toasted")]
    if not comma or not done:
        return ""
    for other in (first, *(f"{word} {first}" for word in done)):
        found = match(table, other, 1)
        if found.food is not None and found.food != taken and found.grade in (*SURE, "close"):
            return f"weighed before or after that? {taken.name} is taken, else {found.food.name}"
    return ""


_SPOONED = "tsp|tbsp|dessertspoon|tube|squeeze"


@dataclass(frozen=True)
class Usage:
    """One such word.

    Attributes
    ----------
    of, means : str
        Ids of the food that the words find, and of the one that is meant.
    unit : str
        Pattern of the units of which there is so much; nothing for whole things.
    american : bool
        Whether it is so in the US too.
    packed : bool
        Whether it is so of packages of a stated size too, whatever their unit.
    said, unsaid : str
        Patterns of what the words have, and of what they have not.
    """

    of: str
    means: str
    unit: str = ".*"
    american: bool = False
    packed: bool = False
    said: str = ""
    unsaid: str = "(?!)"

    def fits(self, amount: Amount, words: str, measures: str) -> bool:
        """Whether it is so, by the amount, the words and whose cups and spoons they are."""
        return bool((self.american or measures != "us")
                    and (re.fullmatch(self.unit, amount.unit) or (self.packed and amount.each))
                    and re.search(self.said, words, re.I) and not re.search(self.unsaid, words, re.I))


USAGES = (
    Usage("ndb:11547", "ndb:11546", _SPOONED),  # British tomato puree by the spoon is a paste
    Usage("ndb:11549", "ndb:11935", _SPOONED),  # and tomato sauce is ketchup
    Usage("ndb:11957", "ndb:02018", _SPOONED, american=True,  # a spoon of fennel is of its seeds
          unsaid="bulb|frond|fresh|chopped"),
    Usage("ndb:01032", "ndb:01033",  # "parmesan, grated" is grated, not the dried one of a tub
          unsaid="dried|dry|ready|tub|shaker|canned"),
    Usage("ndb:02030", "ndb:11821", "", american=True,  # "1 pepper" is a vegetable, of the colours the sweeter
          unsaid="black|white|ground|corn|cayenne|mill"),
    Usage("ndb:02028", "ndb:11821", "", american=True,  # and so is "1 Paprika", in German
          unsaid="black|white|ground|corn|cayenne|mill"),
    Usage("ndb:09016", "ciqual:5006", said=r"\bcider\b"),  # "apple cider" is juice in the US, with alcohol elsewhere
    Usage("ndb:19300", "ndb:19172", "packet|sachet|block|cube|box", packed=True,  # a British packet of jelly sets; in
          unsaid="currant|quince|mint|gel[ée]e"),                                   # the US it is a preserve
    Usage("ndb:19300", "ndb:19172", "|".join(MASSES), said=r"^\s*jelly\s*$"),
    Usage("ndb:11937", "ndb:11945", ".+", said=r"^\s*pickle\s*$"),  # a British spoon of pickle is sweet and chopped
    Usage("ndb:11216", "ndb:02021", _SPOONED, american=True,  # a spoon of ginger is ground, or grated
          unsaid="root|fresh|grated|chopped|minced|crushed|paste|pur[ée]e|frozen|peeled|finely|juice|slic|shred|gerieben|"
                 "frisch|râpé|frais|haché|gehackt|julienne"),
    Usage("ndb:20016", "ndb:20027", said=r"\bcorn flour\b"),  # British cornflour, in two words
    Usage("ndb:18079", "ndb:18069",  # British breadcrumbs are fresh unless they are called dry
          said=r"^\s*bread ?crumbs\s*$"),
)


def as_used(found: Match, item: Item, measures: str, table: FoodTable) -> Match:
    """What an item means, close and no more where its words alone would mean something else.

    Parameters
    ----------
    found : Match
        What its words find.
    item : Item
    measures : {"metric", "us", "uk"}
    table : FoodTable
        A food that it lacks is never meant.
    """
    amount = item.amount
    for usage in USAGES:
        meant = table.get(usage.means)
        if meant and found.food and amount and found.food.id == usage.of and usage.fits(amount, item.words, measures):
            return Match(meant, "close", (found.food, *(other for other in found.others if other != meant)))
    return found
