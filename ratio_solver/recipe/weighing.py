"""From a written amount of a food to grams: by its own measures, else by a stated one of its kind, which is told."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType

from ratio_solver.exact import exact
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.csv_file import read_text
from ratio_solver.foods.food import Food
from ratio_solver.recipe.amounts import Amount, plain
from ratio_solver.recipe.measures import measured
from ratio_solver.recipe.units import MASSES, PACKAGES, RELEASE, VOLUMES, singular

KITCHEN = "kitchen.csv"
"""Measures of foods and of kinds of food that the composition table lacks, or has of another size than recipes mean."""

SOME = "some"
"""The measure there of what a line without an amount may mean: salt to taste, oil for frying."""

VAGUE: Mapping[str, Fraction] = MappingProxyType(
    {
        "pinch": RELEASE["tsp"] / 16,
        "dash": RELEASE["tsp"] / 8,
        "drop": Fraction(1, 20),
        "grating": RELEASE["tsp"] / 16,
        "splash": Fraction(15),
        "squeeze": Fraction(5),
        "glass": Fraction(150),
        "mug": Fraction(250),
        "drizzle": Fraction(10),
        "scoop": Fraction(30),
    }
)
"""Millilitres of what has no size; common practice, no source."""

DRAINED = Fraction(3, 5)
"""Share of a can's weight that is left of pulses, vegetables and olives once drained; common practice, no source."""

LARGER: Mapping[str, Fraction] = MappingProxyType(
    {"extra large": Fraction(3, 2), "large": Fraction(13, 10), "medium": Fraction(1), "small": Fraction(7, 10)})
"""What a large or a small one weighs beside one where nothing better is known; common practice, no source."""

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


@dataclass(frozen=True)
class Weighed:
    """The weight of a written amount.

    Attributes
    ----------
    grams : Fraction
        Of all of it.
    note : str
        What was assumed that the table does not say; nothing where it says all.
    piece : Fraction or None
        Grams of one where it is counted in whole things.
    measure : str
        The food's own measure for one of those, where that is it.
    """

    grams: Fraction
    note: str = ""
    piece: Fraction | None = None
    measure: str = ""


def weigh(food: Food, amount: Amount | None, words: str, measures: str = "metric") -> Weighed | None:
    """What an amount of a food weighs, or None where nothing says it.

    Parameters
    ----------
    food : Food
    amount : Amount or None
        None where the line has none: what is meant by "to taste" is known of a few kinds.
    words : str
        The cook's: "chopped" chooses among a food's cups, "drained" says that a can's weight is not the food's.
    measures : {"metric", "us", "uk"}
        Whose cups and spoons they are.
    """
    if amount is None:
        some = stated(food, SOME)
        return Weighed(some, f"no amount in the line; {_g(some)} taken") if some else None
    found = _weighed(food, amount, words, measures)
    if found is None:
        return None
    inner = [note for other in (amount.each, amount.whole) if other for note in other.notes]
    bought = _as_bought(food, words)
    told = "; ".join(dict.fromkeys(note for note in (*amount.notes, *inner, found.note, bought) if note))
    return Weighed(found.grams, told, found.piece, found.measure)


def _as_bought(food: Food, words: str) -> str:
    """What to say of a weight that has bones or shells in it, which the table's figures have not."""
    with_bones = re.search(r"bone[ -]in|on the bone|in (?:the|their) shells?|unpeeled prawns|shell[- ]on|^\W*\d+ whole "
                           r"(?:chicken|turkey|duck|fish|trout)|avec os|mit knochen", words, re.I)
    if not with_bones or not food.refuse:
        return ""
    return f"as bought: about {food.refuse:g} % is thrown away, and the figures are of the rest"


def _weighed(food: Food, amount: Amount, words: str, measures: str) -> Weighed | None:
    if amount.weighs:
        return Weighed(amount.count * MASSES[amount.unit])
    if amount.whole is not None and (whole := _weighed(food, amount.whole, words, measures)):
        return whole
    if amount.each is not None and (one := _weighed(food, amount.each, words, measures)):
        return _of_packages(food, amount, one, words)
    if amount.unit in RELEASE:
        return _by_volume(food, amount.count * VOLUMES[measures][amount.unit], amount.unit, words)
    return _counted(food, amount, words) or _vague(food, amount, words)


def _of_packages(food: Food, amount: Amount, one: Weighed, words: str) -> Weighed:
    """So many packages of a weight; of canned pulses and the like what is left once drained."""
    grams = amount.count * one.grams
    drained = re.search(r"drained|abgetropft|égoutt", words, re.I) or "drained" in food.name
    undrained = re.search(r"undrained|not drained|with (?:their |its )?(?:juice|liquid)", words, re.I)
    if amount.unit in ("can", "jar") and drained and not undrained and not re.search("tomato", food.name) \
            and food.role not in ("fish", "shellfish", "meat"):
        return Weighed(grams * DRAINED, f"{_g(grams)} with its liquid, {_g(grams * DRAINED)} drained")
    if amount.unit in ("can", "jar") and drained and food.role in ("fish", "shellfish"):
        return Weighed(grams * Fraction(7, 10), f"{_g(grams)} with its liquid, {_g(grams * Fraction(7, 10))} drained")
    return Weighed(grams, one.note)


def _by_volume(food: Food, ml: Fraction, unit: str, words: str) -> Weighed | None:
    """A volume by the food's own measures, else by one of its kind."""
    own = density(food.measures, unit, words)
    if own is not None:
        return Weighed(ml * own)
    for of, measures in _of_food(food):
        if (kind := density(measures, unit, words)) is not None:
            return Weighed(ml * kind, f"{_g(ml * kind)} by {_spoken(of)}: {float(kind):.2g} g/ml")
    return None


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


def _cut(names: list[str], unit: str, words: str) -> str:
    """Of a food's cups, or of its spoons, the one that the words name, else the first that a cook means."""
    same = [name for name in names if name.split(" ")[0] == unit] or names
    for name in (*same, *names):
        asked = [cut for cut in name.split(" ")[1:] if cut in _CUTS]
        if asked and re.search(_CUTS[asked[0]], words, re.IGNORECASE):
            return name
    plain = [name for name in same if not any(word in name for word in _UNASKED)]
    return (plain or same)[0]


def _counted(food: Food, amount: Amount, words: str) -> Weighed | None:
    """Whole things, or parts of them that have a name: cloves, slices, cans."""
    kinds = list(_of_food(food))
    own_rows = [row for row in kinds if not row[0].startswith("role:")]
    by_role = [row for row in kinds if row[0].startswith("role:")]
    unit = amount.unit
    if unit == "fruit yields" and "juice" not in food.name and "peel" not in food.name:
        unit = ""
    stated_size, own_size = amount.size, amount.size
    for _, measures in own_rows:
        if found := _one(measures, unit, stated_size, words):
            return _so_many(amount, found, f"{_one_of(unit, amount.size, food)} of {_g(found)}")
    name = own_measure(food, unit, own_size)
    if name:
        one = exact(food.measures[name])
        return Weighed(amount.count * one, "", one, name)
    for _, measures in by_role:
        if found := _one(measures, unit, stated_size, words):
            return _so_many(
                amount, found, f"{_one_of(unit, amount.size, food)} of {_g(found)}, a figure for any {food.role}"
            )
    return None


def _one(measures: Mapping[str, float], unit: str, size: str, words: str) -> Fraction | None:
    """Grams of one, of a unit or whole and of a size, in the stated measures; None where they do not have it."""
    key = unit or "one"
    if key == "one" and size and size in measures:
        return exact(measures[size])
    if key == "one":
        for word in ("cherry", "plum", "roma", "beef", "baby"):
            if word in measures and re.search(word, words, re.I):
                return exact(measures[word])
    if key in measures and key not in RELEASE:
        return exact(measures[key]) * (LARGER[size] if size and size not in measures else 1)
    return None


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
    wanted = [size] if size else (["large"] if food.role == "egg" else ["medium"])
    for word in wanted:
        exactly = [name for name in same if name == word] or [name for name in same if word in _sizes_of(name)]
        if exactly:
            return exactly[0]
    return (
        next((name for name in same if not _sizes_of(name)), same[0] if same and unit else "")
        if not size or unit
        else ""
    )


def _sizes_of(name: str) -> list[str]:
    """The sizes that the name of a measure tells: "head large", "medium whole"."""
    return ["extra large"] if "extra large" in name else [size for size in SIZES if size in name.split(" ")]


def _vague(food: Food, amount: Amount, words: str) -> Weighed | None:
    """A pinch, a dash, a glass: a small volume that is nobody's measure."""
    if amount.unit not in VAGUE:
        return None
    found = _by_volume(food, amount.count * VAGUE[amount.unit], "tsp", words)
    return found and Weighed(found.grams, f"{_one_of(amount.unit, '', food)} of {float(VAGUE[amount.unit]):.3g} ml")


def _so_many(amount: Amount, one: Fraction, note: str) -> Weighed:
    whole = amount.unit in ("", "fillet", "clove", "ear", "piece") or amount.unit in PACKAGES
    return Weighed(amount.count * one, note, one if whole else None)


def stated(food: Food, measure: str) -> Fraction | None:
    """Grams of a measure that the list of the kitchen states of a food or its kind."""
    return next((exact(measures[measure]) for _, measures in _of_food(food) if measure in measures), None)


def _of_food(food: Food) -> Iterator[tuple[str, Mapping[str, float]]]:
    """The rows of the kitchen's list that hold for a food, the most particular first, then its role's."""
    rows = _kitchen()
    name = food.name.lower()
    yield from ((of, rows[of]) for end in range(len(name), 0, -1) if (of := name[:end]) in rows)
    if f"role:{food.role}" in rows:
        yield f"role:{food.role}", rows[f"role:{food.role}"]


@lru_cache(maxsize=1)
def _kitchen() -> Mapping[str, Mapping[str, float]]:
    """The kitchen's list: the beginning of a food's name, or "role:" and a role, to its measures in g."""
    rows = csv.DictReader(read_text(bundled_path(KITCHEN)).splitlines())
    return {row["of"]: {name: float(grams) for name, _, grams in
                        (cell.rpartition("=") for cell in row["measures"].split("; "))} for row in rows}


def counted_measure(text: str) -> tuple[Fraction, str] | None:
    """A number and the measure that it counts, as the key `measure` of a recipe has them; None where it has no number.

    >>> counted_measure("3 1/4 tbsp"), counted_measure("½ cup"), counted_measure("2"), counted_measure("large")
    ((Fraction(13, 4), 'tbsp'), (Fraction(1, 2), 'cup'), (Fraction(2, 1), ''), None)
    """
    told = plain(text)
    if re.fullmatch(r"[0-9]+(?:\.[0-9]+)?(?: [0-9]+/[1-9][0-9]*)?|[0-9]+/[1-9][0-9]*", told):
        return sum(map(Fraction, told.split()), Fraction(0)), ""
    return measured(told)


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
    wanted = sorted(map(singular, text.split()))
    for name in food.measures:
        if sorted(map(singular, name.split())) == wanted:
            return name
    return next((name for name in food.measures if singular(text) == singular(name)), "")


def _one_of(unit: str, size: str, food: Food) -> str:
    """"a can", "a large one"."""
    word = {"": "one", "fruit yields": "that of one fruit"}.get(unit, unit)
    if word == "one":
        return f"a {size} one" if size else "one"
    return word if word.startswith("that") else f"a{'n' if word[0] in 'aeio' else ''} {word}"


def _spoken(of: str) -> str:
    return (
        f"the usual density of a {of.removeprefix('role:')}"
        if of.startswith("role:")
        else f"a usual cup or spoon of {of}"
    )


def _g(grams: Fraction) -> str:
    """Grams as a note tells them."""
    return f"{float(grams):.2g} g" if grams < 10 else f"{float(grams):.0f} g"
