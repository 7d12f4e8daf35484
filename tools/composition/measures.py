"""Household measures as a cook would type them, from the descriptions of a release."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

MOST_MEASURES = 6
UNITS_OF_MEASURE = frozenset((
    "almond", "apricot", "bagel", "biscuit", "bulb", "chop", "clove", "cookie", "cracker", "croissant",
    "cube", "cup", "date", "drumstick", "each", "ear", "egg", "extra", "fig", "fillet", "fl", "fruit", "head",
    "jumbo", "kernel", "large", "leaf", "leg", "link", "medium", "mushroom", "nut", "olive", "packet", "pancake",
    "pat", "patty", "pepper", "piece", "pita", "plum", "pod", "potato", "roll", "root", "slice", "small", "spear",
    "sprig", "sprout", "stalk", "steak", "stick", "strip", "tbsp", "thigh", "tomato", "tortilla", "tsp", "waffle",
    "wing",
))
"""First words of the household measures that a cook uses; weights and packages are left out."""

SPELLINGS = {"tablespoon": "tbsp", "teaspoon": "tsp"}


def measure_name(description: str) -> str:
    """A household measure as a cook would type it, or an empty text where it is of no use in a kitchen.

    >>> measure_name('stalk, large (11"-12" long)'), measure_name("tablespoon"), measure_name("NLEA serving")
    ('stalk large', 'tbsp', '')
    """
    words = description.partition("(")[0].lower().replace(",", " ").split()
    words = [SPELLINGS.get(word, word) for word in words]
    name = " ".join(words)
    plain = all(word.replace("-", "").isalpha() for word in words)
    return name if words and words[0] in UNITS_OF_MEASURE and plain and len(words) <= 3 else ""


def measures_cell(described: Iterable[tuple[str, Decimal]]) -> str:
    """The household measures worth keeping, the plain ones ("large") before the qualified ("cup sliced")."""
    named: dict[str, str] = {}
    for description, grams in described:
        name = measure_name(description)
        if name and (text := plain_grams(grams)) != "0":
            named.setdefault(name, text)
    ranked = sorted(named, key=lambda name: name.count(" ") > (name in ("extra large", "fl oz")))
    return "; ".join(f"{name}={named[name]}" for name in ranked[:MOST_MEASURES])


def plain_grams(grams: Decimal) -> str:
    """Grams to at most 3 decimals, without trailing zeros.

    >>> plain_grams(Decimal("14.200")), plain_grams(Decimal(50)), plain_grams(Decimal(100) / 3)
    ('14.2', '50', '33.333')
    """
    return f"{grams.quantize(Decimal('0.001')):f}".rstrip("0").rstrip(".")
