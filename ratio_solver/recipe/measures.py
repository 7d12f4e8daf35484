"""Household measures: which of a food a cook's words mean, and those told beside a weight, which stays the truth."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import exact
from ratio_solver.foods.food import Food
from ratio_solver.recipe.units import MASSES, RELEASE, singular

SIZES = ("extra large", "large", "medium", "small")

_OF_PARTS = ("slice", "leaf", "stalk", "cup", "tbsp", "tsp", "fl", "spear", "strip", "wedge", "stick", "packet", "pat",
             "cracker", "kernel", "piece cooked", "slice raw", "link", "cube", "sprig", "chop", "steak", "patty")

_CUTS = {
    "chopped": "chop|dice|mince",
    "diced": "dice|chop|cube",
    "cubes": "cube|dice",
    "sliced": "slice",
    "slices": "slice",
    "shredded": "shred|grate",
    "grated": "grate|shred",
    "crumbled": "crumbl",
    "mashed": "mash",
    "pureed": "puree",
    "whole": "whole",
    "halves": "hal(?:f|ve)",
    "ground": "ground|meal",
    "packed": "pack",
    "unpacked": "loose|unpack",
    "melted": "melt",
    "whipped": "whipped",
    "crumbs": "crumb",
    "cubed": "cube",
    "pieces": "piece|chop",
    "sifted": "sift",
    "cherry": "cherry|grape",
    "slivered": "sliver",
    "chips": "chip",
    "florets": "floret",
    "spaghetti": "spaghetti",
    "elbows": "elbow|macaroni",
    "penne": "penne",
    "leaves": "lea(?:f|ves)",
    "sprigs": "sprig",
    "crushed": "crush",
}

_UNASKED = ("whipped", "melted", "pureed", "crumbs", "mashed")
"""Qualified cups that a cook does not mean without saying so."""

_DONE_AFTER = ("whipped", "melted", "pureed", "crumbs", "mashed", "ground")
"""What changes the volume of a food: behind it, these words say what is done with what has been measured."""

COUNTED = ("large", "egg", "medium", "small", "clove", "fruit", "leaf", "stalk")
"""Whole things by which a food may be counted, best first."""

CUP_FROM, TBSP_FROM = Fraction(1, 4), Fraction(7, 8)
"""Least number of cups, and of tablespoons, in which an amount is told."""

FARTHEST_OFF = Fraction(1, 8)
"""A measure that misses the weight by more than this share of it is not shown."""

MOST_OF_ONE, MOST_COUNTED = 16, 24
"""Nobody counts more spoons, cups or things than this."""

_COUNTED = re.compile(r"(?:(?P<number>[0-9]+(?:\.[0-9]+)?)(?: |$))?"
                      r"(?:(?P<above>[0-9]+)/(?P<below>[0-9]+)(?: |$))?(?P<name>[^0-9/\s].*)?")
_QUARTERS = {0: "", 1: "1/4", 2: "1/2", 3: "3/4"}


@dataclass(frozen=True)
class Household:
    """So many of a measure.

    Attributes
    ----------
    count : Fraction
        In quarters.
    measure : str
        "tbsp", "cup", "large", ...
    grams : Fraction
        What they weigh by the composition table.
    """

    count: Fraction
    measure: str
    grams: Fraction

    def __str__(self) -> str:
        """As a cook writes it: "3 1/4 tbsp"."""
        whole, quarters = divmod(int(self.count * 4), 4)
        number = " ".join(part for part in (str(whole) if whole else "", _QUARTERS[quarters]) if part)
        return f"{number} {self.measure}"


def household(food: Food, grams: Fraction, yield_: Fraction = Fraction(1)) -> Household | None:
    """The household measure nearest to a weight, or None where the food has none that fits.

    Parameters
    ----------
    food : Food
    grams : Fraction
        As the recipe weighs it.
    yield_ : Fraction
        Prepared weight / weight before: with a yield there is no measure, as the table's are of the food
        before.

    Returns
    -------
    Household or None

    Notes
    -----
    Cups from a quarter of one, tablespoons from about one, else teaspoons; 3 tsp are 1 tbsp (US household measures:
    5, 15 and 240 mL). What misses the weight by more than an eighth is not told.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from ratio_solver import household, load_foods
    >>> str(household(load_foods().get("butter, salted"), Fraction(28)))
    '2 tbsp'
    """
    if grams <= 0 or yield_ != 1:
        return None
    sizes = _sizes(food)
    for name in _order(food, sizes, grams):
        count = Fraction(round(grams / sizes[name] * 4), 4)
        told = count and abs(count * sizes[name] - grams) <= FARTHEST_OFF * grams
        if told and (name not in COUNTED or (count.denominator <= 2 and count <= MOST_COUNTED)):
            return Household(count, name, count * sizes[name])
    return None


def _sizes(food: Food) -> dict[str, Fraction]:
    """The food's measures in g; spoons follow from each other and from a plain cup."""
    sizes = {name: exact(size) for name, size in food.measures.items()}
    if "cup" in sizes:
        sizes.setdefault("tbsp", sizes["cup"] / 16)
    if "tbsp" in sizes:
        sizes.setdefault("tsp", sizes["tbsp"] / 3)
    return sizes


def _order(food: Food, sizes: dict[str, Fraction], grams: Fraction) -> list[str]:
    """Measures that suit the amount, best first: an egg is counted, all else goes by cup and spoon first."""
    cups = [name for name in sizes if name.startswith("cup ") and "whipped" not in name]
    cup = next((name for name in ("cup", "cup fluid", *cups) if name in sizes), "cup")
    spoons = [name for name, least in ((cup, CUP_FROM), ("tbsp", TBSP_FROM), ("tsp", Fraction(1, 4)))
              if name in sizes and least * sizes[name] <= grams <= MOST_OF_ONE * sizes[name]]
    counted = [name for name in COUNTED if name in sizes][:1]
    return [*counted, *spoons] if food.role == "egg" else [*spoons, *counted]


def counted_measure(text: str) -> tuple[Fraction, str] | None:
    """A number and the measure that it counts, as the key `measure` of a recipe has them; None where it has no number.

    >>> counted_measure("3 1/4 tbsp"), counted_measure("½ cup"), counted_measure("2"), counted_measure("large")
    ((Fraction(13, 4), 'tbsp'), (Fraction(1, 2), 'cup'), (Fraction(2, 1), ''), None)
    """
    parted = re.sub(r"(?<=\d)(?=[¼-¾⅐-⅞])", " ", text)
    told = _COUNTED.fullmatch(" ".join(unicodedata.normalize("NFKC", parted).replace("⁄", "/").split()))
    if not told or not (told["number"] or told["above"]) or (told["below"] and not int(told["below"])):
        return None
    share = Fraction(int(told["above"]), int(told["below"])) if told["above"] else Fraction(0)
    return Fraction(told["number"] or 0) + share, (told["name"] or "").lower()


def measured_grams(food: Food, measure: str, count: Fraction) -> Fraction | None:
    """Grams of so many of a measure by the food's own measures alone, as the key `measure` of a recipe takes it.

    Parameters
    ----------
    food : Food
    measure : str
        One of the food's measures in singular or plural, in small letters; nothing for whole things; or a weight or a
        volume, where the food has a measure of volume. Cups and spoons are the table's, US customary.
    count : Fraction

    Returns
    -------
    Fraction or None
        None where the food has no such measure.
    """
    name = measure_named(food, measure) if measure else own_measure(food, "")
    if name:
        return count * exact(food.measures[name])
    unit = singular(measure)
    if unit in MASSES:
        return count * MASSES[unit]
    of_ml = density(food.measures, unit, measure) if unit in RELEASE else None
    return None if of_ml is None else count * RELEASE[unit] * of_ml


def measure_named(food: Food, text: str) -> str:
    """The food's measure of a name in singular or plural, in any order of its words; empty where there is none.

    >>> pot = Food("potato", "x", "available", {}, measures={"potato large": 300, "cup": 150, "leaf": 3})
    >>> [measure_named(pot, text) for text in ("large potatoes", "cups", "leaves", "slices")]
    ['potato large', 'cup', 'leaf', '']
    """
    if text in food.measures:
        return text
    wanted = _singulars(text)
    return next((name for name in food.measures if _singulars(name) == wanted),
                next((name for name in food.measures if singular(name) == singular(text)), ""))


def _singulars(text: str) -> list[str]:
    """The words of a measure as a recipe's are read (`counted_measure`), singular, in one order."""
    return sorted(map(singular, unicodedata.normalize("NFKC", text).split()))


def own_measure(food: Food, unit: str, size: str = "") -> str:
    """The name of a food's own measure for one of a unit, or for a whole one; empty where it has none.

    >>> own_measure(Food("onion, raw", "x", "available", {}, measures={"large": 150, "medium": 110}), "")
    'medium'
    """
    names = list(food.measures)
    if unit in RELEASE:
        return ""
    if unit:
        same = [name for name in names if unit in name.split(" ")[:1]]
        same = same or ([name for name in names if name.split(" ")[0] == "stalk"] if unit == "stick" else [])
    else:
        same = [name for name in names if not name.startswith(_OF_PARTS)]
    wanted = size or ("large" if food.role == "egg" else "medium")
    sized = [name for name in same if name == wanted] or [name for name in same if wanted in _sizes_of(name)]
    if sized or (size and not unit):
        return next(iter(sized), "")
    return next((name for name in same if not _sizes_of(name)), same[0] if same and unit else "")


def _sizes_of(name: str) -> list[str]:
    """The sizes that the name of a measure tells: "head large", "medium whole"."""
    return ["extra large"] if "extra large" in name else [size for size in SIZES if size in name.split(" ")]


def density(measures: Mapping[str, float], unit: str, words: str = "") -> Fraction | None:
    """Grams of a millilitre by the measures of volume that a food has, or None where it has none.

    A spoon is taken by the spoon, what is larger by the cup, and of several cups the one that the words name.

    >>> float(density({"cup": 244.0}, "ml") * 250).__round__(1)
    257.8
    """
    cups = [name for name in measures if name == "cup" or name.startswith("cup ")]
    spoons = [name for name in measures if name.split(" ")[0] in ("tbsp", "tsp")]
    orders = (spoons, cups) if unit in ("tbsp", "tsp", "dessertspoon") else (cups, spoons)
    for names in (*orders, [name for name in measures if name == "fl oz"]):
        if names:
            name = _cut(names, unit, words)
            base = "fl oz" if name == "fl oz" else name.split(" ")[0]
            return exact(measures[name]) / RELEASE[base]
    return None


def _said_volume(cut: str, words: str) -> bool:
    """Whether words say that a food is measured so: whipping, mashing or grinding it after the food is named does not.

    >>> _said_volume("whipped", "1 cup whipped cream"), _said_volume("whipped", "1 cup heavy cream, whipped to peaks")
    (True, False)
    """
    if cut not in _DONE_AFTER:
        return bool(re.search(_CUTS[cut], words, re.IGNORECASE))
    before = re.split(r"[,(;]", words)[0]
    return bool(re.search(rf"\b\w*(?:{_CUTS[cut]})\w*\s+(?!(?:to|until|in|into|with|and|if|bis|jusqu)\b)\w", before,
                          re.IGNORECASE))


def _cut(names: list[str], unit: str, words: str) -> str:
    """Of a food's cups, or of its spoons, the one that the words name, else the first that a cook means."""
    same = [name for name in names if name.split(" ")[0] == unit] or names
    for name in (*same, *names):
        asked = [cut for cut in name.split(" ")[1:] if cut in _CUTS]
        if asked and _said_volume(asked[0], words):
            return name
    plain = [name for name in same if not any(word in name for word in _UNASKED)]
    return (plain or same)[0]
