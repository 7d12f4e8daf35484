"""Words that mean another food in a cook's line than in the table: by how much of it there is, and in whose kitchen.

Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from ratio_solver.foods.matching import Match
from ratio_solver.foods.table import FoodTable
from ratio_solver.recipe.amounts import Amount
from ratio_solver.recipe.lines import Item

SPOONS = ("tsp", "tbsp", "dessertspoon", "tube", "squeeze")


@dataclass(frozen=True)
class Usage:
    """One such word.

    Attributes
    ----------
    of, means : str
        Ids of the food that the words find, and of the one that is meant.
    where : callable
        Whether it is so, by the amount, the words and whose cups and spoons they are.
    """

    of: str
    means: str
    where: Callable[[Amount, str, str], bool]


def _by_the_spoon(amount: Amount, words: str, measures: str) -> bool:
    return measures != "us" and amount.unit in SPOONS


def _in_spoons(amount: Amount, words: str, measures: str) -> bool:
    return amount.unit in SPOONS and not re.search(r"bulb|frond|fresh|chopped", words, re.IGNORECASE)


def _grated_by_the_cook(amount: Amount, words: str, measures: str) -> bool:
    return measures != "us" and not re.search(r"dried|dry|ready|tub|shaker|canned", words, re.IGNORECASE)


def _whole(amount: Amount, words: str, measures: str) -> bool:
    return not amount.unit and not re.search(r"black|white|ground|corn|cayenne|mill", words, re.IGNORECASE)


def _not_american(amount: Amount, words: str, measures: str) -> bool:
    return measures != "us" and bool(re.search(r"\bcider\b", words, re.IGNORECASE))


def _jellied(amount: Amount, words: str, measures: str) -> bool:
    packed = amount.unit in ("packet", "sachet", "block", "cube", "box", "package") or amount.each is not None
    return measures != "us" and (packed or (amount.weighs and words.lower().strip() == "jelly")) \
        and not re.search(r"currant|quince|mint|gel[ée]e", words, re.IGNORECASE)


def _chutney(amount: Amount, words: str, measures: str) -> bool:
    return measures != "us" and bool(amount.unit) and words.lower().strip() == "pickle"


def _ground_root(amount: Amount, words: str, measures: str) -> bool:
    return amount.unit in SPOONS and not re.search(
        r"root|fresh|grated|chopped|minced|crushed|paste|pur[ée]e|frozen|peeled|finely|juice|slic|shred|gerieben|frisch|"
        r"râpé|frais|haché|gehackt|julienne", words, re.IGNORECASE)


def _starch(amount: Amount, words: str, measures: str) -> bool:
    return measures != "us" and bool(re.search(r"\bcorn flour\b", words, re.IGNORECASE))


def _fresh_crumbs(amount: Amount, words: str, measures: str) -> bool:
    return measures != "us" and words.lower().strip() in ("breadcrumbs", "bread crumbs")


USAGES = (
    Usage("ndb:11547", "ndb:11546", _by_the_spoon),        # British tomato puree by the spoon is a paste
    Usage("ndb:11549", "ndb:11935", _by_the_spoon),        # and tomato sauce is ketchup
    Usage("ndb:11957", "ndb:02018", _in_spoons),           # a spoon of fennel is of its seeds
    Usage("ndb:01032", "ndb:01033", _grated_by_the_cook),  # "parmesan, grated" is grated, not the dried one of a tub
    Usage("ndb:02030", "ndb:11821", _whole),               # "1 pepper" is a vegetable, of the colours the sweeter
    Usage("ndb:02028", "ndb:11821", _whole),               # and so is "1 Paprika", in German
    Usage("ndb:09016", "ciqual:5006", _not_american),      # "apple cider" is juice in the US, with alcohol elsewhere
    Usage("ndb:19300", "ndb:19172", _jellied),             # a British packet of jelly sets; in the US it is a preserve
    Usage("ndb:11937", "ndb:11945", _chutney),             # a British spoon of pickle is sweet and chopped
    Usage("ndb:11216", "ndb:02021", _ground_root),         # a spoon of ginger is ground, or grated
    Usage("ndb:20016", "ndb:20027", _starch),              # British cornflour, in two words
    Usage("ndb:18079", "ndb:18069", _fresh_crumbs),        # British breadcrumbs are fresh unless they are called dry
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
        if meant and found.food and amount and found.food.id == usage.of and usage.where(amount, item.words, measures):
            return Match(meant, "close", (found.food, *(other for other in found.others if other != meant)))
    return found
