"""From a written amount of a food to grams: by its own measures, else by a stated one of its kind, which is told."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from ratio_solver.exact import exact
from ratio_solver.foods.bundled import bundled_rows
from ratio_solver.foods.food import Food
from ratio_solver.recipe.measures import density, own_measure
from ratio_solver.recipe.units import MASSES, PACKAGES, RELEASE, VOLUMES

if TYPE_CHECKING:
    from ratio_solver.recipe.amounts import Amount

KITCHEN = "kitchen.csv"
"""Measures of foods and of kinds of food that the composition table lacks, or has of another size than recipes mean."""

SOME = "some"
"""The measure there of what a line without an amount may mean: salt to taste, oil for frying."""

VAGUE: Mapping[str, Fraction] = MappingProxyType({
    "pinch": RELEASE["tsp"] / 16, "dash": RELEASE["tsp"] / 8, "drop": Fraction(1, 20), "grating": RELEASE["tsp"] / 16,
    "splash": Fraction(15), "squeeze": Fraction(5), "glass": Fraction(150), "mug": Fraction(250),
    "drizzle": Fraction(10), "scoop": Fraction(30),
})
"""Millilitres of what has no size; common practice, no source."""

PARTS = ("cherry", "plum", "roma", "beef", "baby", "gem", "breast", "leg", "chop", "clementine", "satsuma", "tangerine",
         "mandarin")
"""Words that tell which of a food is meant, and of which the kitchen's list has the weight of one."""

SPOONS = ("tbsp", "tsp")

UNLIKE = Fraction(1, 4)
"""A spoon in the kitchen's list differs from a sixteenth of the food's cup where it is off by more than this share."""

SPRAY = Fraction(1)
"""Grams of oil out of a can that sprays a pan; common practice, no source."""

EU_EGGS: Mapping[str, Fraction] = MappingProxyType(
    {"small": Fraction(44), "medium": Fraction(51), "large": Fraction(60), "extra large": Fraction(67)})
"""Edible grams of an egg by its class in Europe. With its shell it weighs, in g: S under 53, M 53 to 63,
L 63 to 73, XL 73 and more (Regulation (EC) No 589/2008, article 4); 50, 58, 68 and 76 taken, less 12 % of shell (USDA
SR28, NDB 01123)."""

WHOLE_EGG = "egg, whole, raw"

EU_CUBE = Fraction(10)
"""Grams of a stock cube in Europe, which is for half a litre; common practice, no source. In the US one is 4 to 5 g."""

PURE = ("stevia extract", "sucralose, pure", "monk fruit extract")
"""Sweeteners hundreds of times as sweet as sugar: what is sold in packets or measured by the cup is mostly a filler."""

MOST_PURE = 2
"""Grams of one up to which it may well be pure: they are as sweet as half a kilogram of sugar. Our choice."""

IN_SHELLS = ("mussels, raw", "clams, raw", "oysters, raw")
"""Foods that are sold by the weight with their shells, and whose figures are of the meat."""

ON_BONES = ("rabbit", "quail", "guinea fowl", "pigeon", "pheasant", "oxtail", "pork knuckle")
"""Foods without a figure for what is thrown away that are sold whole, or as joints, unless the line says otherwise."""

SCANTY, MOST_SCANTY = ("spice", "leavening", "supplement"), 80
"""What dishes hold little of, and the grams from which another food may be meant: Paprika is a vegetable in German."""

MOST_TRIMMED = 15
"""Percent of a meat thrown away that is fat and skin; where it is more there are bones in it. Our choice."""

DRAINED, DRAINED_FISH = Fraction(3, 5), Fraction(7, 10)
"""Share of a can's weight that is left of pulses, vegetables and olives, and of fish, once drained; common practice, no
source."""

LARGER: Mapping[str, Fraction] = MappingProxyType(
    {"extra large": Fraction(3, 2), "large": Fraction(13, 10), "medium": Fraction(1), "small": Fraction(7, 10)})
"""What a large or a small one weighs beside one where nothing better is known; common practice, no source."""


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
        if re.search(r"\bspray\b", words, re.I) and food.role == "fat":
            return Weighed(SPRAY, f"no amount in the line; {_g(SPRAY)} of spray taken")
        some = next((exact(measures[SOME]) for _, measures in _of_food(food) if SOME in measures), None)
        return Weighed(some, f"no amount in the line; {_g(some)} taken") if some else None
    found = _weight_of(food, amount, words, measures)
    if found is None:
        return None
    little = amount.unit in ("drop", "pinch") or (amount.weighs and found.grams <= MOST_PURE)
    filler = ("" if not food.name.startswith(PURE) or little else "the figures are of the pure sweetener; what is sold "
              "in packets or for spoons is mostly a filler, often dextrose")
    scanty = food.role in SCANTY and found.grams > MOST_SCANTY
    odd = f"so much of a {food.role}: another food may be meant" if scanty else ""
    inner = [note for other in (amount.each, amount.whole) if other for note in other.notes]
    bought = _as_bought(food, amount, words)
    told = "; ".join(dict.fromkeys(note for note in (*amount.notes, *inner, found.note, bought, filler, odd) if note))
    return replace(found, note=told)


def _as_bought(food: Food, amount: Amount, words: str) -> str:
    """What to say of a weight that has bones or shells in it, which the table's figures have not."""
    if not (amount.weighs or (amount.whole or amount.each or amount).weighs):
        return ""
    if food.name in IN_SHELLS and not re.search(r"meat|shelled|shucked|frozen|cooked", words, re.I):
        return "weighed with the shells? the figures are of the meat alone"
    told = re.search(r"joint(?:ed|s)\b|bone[ -]?in|on the bone|in (?:the|their) shells?|unpeeled prawns|shell[ -]on|"
                     r"whole (?:fish|trout)|avec os|mit knochen", words, re.I)
    boned = re.search(r"bone(?:d\b|less)|off the bone|without bones?|fillet|filet|dice|cube|mince|ground|strips|"
                      r"shredded|désoss|sans os|ohne knochen|ausgelöst|steak|meat\b|boned|stew|"
                      r"braising|edible|gulasch", words, re.I)
    if not food.refuse:
        whole = food.role in ("meat", "poultry", "fish") and (told or (food.name.startswith(ON_BONES) and not boned))
        return "weighed with the bones? the figures are of the meat alone" if whole else ""
    if not told and (food.role not in ("meat", "poultry") or boned or food.refuse < MOST_TRIMMED):
        return ""
    return f"as bought: about {food.refuse:g} % is thrown away, and the figures are of the rest"


def _weight_of(food: Food, amount: Amount, words: str, measures: str) -> Weighed | None:
    fluid = amount.unit == "oz" and food.role == "drink" and "powder" not in food.name
    if amount.weighs and not fluid:
        return Weighed(amount.count * MASSES[amount.unit])
    if fluid:
        poured = _by_volume(food, amount.count * VOLUMES["us"]["fl oz"], "fl oz", words)
        told = ("ounces of a drink taken as US fluid ounces", poured.note if poured else "")
        return poured and Weighed(poured.grams, "; ".join(filter(None, told)))
    if amount.whole is not None and (whole := _weight_of(food, amount.whole, words, measures)):
        return whole
    if amount.each is not None and (one := _weight_of(food, amount.each, words, measures)):
        return _of_packages(food, amount, one, words)
    if amount.unit in RELEASE:
        return _by_volume(food, amount.count * VOLUMES[measures][amount.unit], amount.unit, words)
    if measures != "us" and food.name == WHOLE_EGG and not amount.unit and (egg := EU_EGGS.get(amount.size)):
        return _so_many(amount, egg, f"{_one_of('', amount.size)} of {_g(egg)}, as in Europe")
    if measures != "us" and food.role == "stock" and "cube" in food.name and amount.unit in ("", "cube"):
        return _so_many(amount, EU_CUBE, f"a cube of {_g(EU_CUBE)}, as in Europe")
    return _counted(food, amount, words) or _vague(food, amount, words)


def _of_packages(food: Food, amount: Amount, one: Weighed, words: str) -> Weighed:
    """So many packages of a weight; of canned pulses and the like what is left once drained."""
    grams = amount.count * one.grams
    drained = re.search(r"drained|abgetropft|égoutt", words, re.I) or "drained" in food.name
    undrained = re.search(r"undrained|not drained|with (?:their |its )?(?:juice|liquid)", words, re.I)
    share = DRAINED_FISH if food.role in ("fish", "shellfish") else \
        Fraction(1) if undrained or "tomato" in food.name or food.role == "meat" else DRAINED
    if amount.unit in ("can", "jar") and drained and share < 1:
        return Weighed(grams * share, f"{_g(grams)} with its liquid, {_g(grams * share)} drained")
    return Weighed(grams, one.note)


def of_its_kind(food: Food, unit: str, count: Fraction, words: str = "") -> Weighed | None:
    """So many of a unit of volume, US customary, of a food that has none of its own; None where its kind has none."""
    return _by_volume(food, count * RELEASE[unit], unit, words) if unit in RELEASE else None


def _by_volume(food: Food, ml: Fraction, unit: str, words: str) -> Weighed | None:
    """A volume by the food's own measures, else by one of its kind.

    A spoon of what has only cups is taken by the kitchen's list where that knows better: no sprigs go on a spoon.
    """
    own = density(food.measures, unit, words)
    rows = list(_of_food(food))
    if own is not None and unit in SPOONS and not any(name.startswith(SPOONS) for name in food.measures):
        rows = [row for row in rows if not row[0].startswith("role:") and SPOONS[0] in row[1]
                and abs(exact(row[1][SPOONS[0]]) / RELEASE[SPOONS[0]] / own - 1) > UNLIKE]
    elif own is not None:
        rows = []
    for of, measures in rows:
        if (kind := density(measures, unit, words)) is not None:
            return Weighed(ml * kind, f"{_g(ml * kind)} by {_spoken(of)}: {_density_told(ml, kind)} g/ml")
    return None if own is None else Weighed(ml * own)


def _counted(food: Food, amount: Amount, words: str) -> Weighed | None:
    """Whole things, or parts of them that have a name: cloves, slices, cans."""
    kinds = list(_of_food(food))
    own_rows = [row for row in kinds if not row[0].startswith("role:")]
    by_role = [row for row in kinds if row[0].startswith("role:")]
    unit = amount.unit
    if unit == "fruit yields" and "juice" not in food.name and "peel" not in food.name:
        unit = ""
    sized = own_measure(food, unit, amount.size) if amount.size and not unit else ""
    for _, measures in own_rows:
        if sized and amount.size not in measures:
            break  # the table has that size itself
        if found := _one(measures, unit, amount.size, words):
            fruit = f"one fruit gives {_g(found)}" if unit == "fruit yields" else ""
            return _so_many(amount, found, fruit or f"{_one_of(unit, amount.size)} of {_g(found)}")
    name = own_measure(food, unit, amount.size)
    if name:
        one = exact(food.measures[name])
        return Weighed(amount.count * one, "", one, name)
    for _, measures in by_role:
        if found := _one(measures, unit, amount.size, words):
            return _so_many(amount, found, f"{_one_of(unit, amount.size)} of {_g(found)}, a figure for any {food.role}")
    return None


def _one(measures: Mapping[str, float], unit: str, size: str, words: str) -> Fraction | None:
    """Grams of one, of a unit or whole and of a size, in the stated measures; None where they do not have it."""
    key = unit or "one"
    if key == "one" and size and size in measures:
        return exact(measures[size])
    if key in ("one", "fruit yields"):
        for word in PARTS:
            if word in measures and re.search(word, words, re.I):
                return exact(measures[word])
    if key in measures and key not in RELEASE:
        return exact(measures[key]) * (LARGER[size] if size and size not in measures else 1)
    return None


def _vague(food: Food, amount: Amount, words: str) -> Weighed | None:
    """A pinch, a dash, a glass: a small volume that is nobody's measure."""
    if amount.unit not in VAGUE:
        return None
    found = _by_volume(food, amount.count * VAGUE[amount.unit], "tsp", words)
    return found and Weighed(found.grams, f"{_one_of(amount.unit, '')} of {float(VAGUE[amount.unit]):.3g} ml")


def _so_many(amount: Amount, one: Fraction, note: str) -> Weighed:
    whole = amount.unit in ("", "fillet", "clove", "ear", "piece") or amount.unit in PACKAGES
    return Weighed(amount.count * one, note, one if whole else None)


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
    return {row["of"]: {name: float(grams) for name, _, grams in
                        (cell.rpartition("=") for cell in row["measures"].split("; "))}
            for row in bundled_rows(KITCHEN)}


def _one_of(unit: str, size: str) -> str:
    """"a can", "a large one"."""
    word = unit or "one"
    if word == "one":
        return f"a {size} one" if size else "one"
    return f"a{'n' if word[0] in 'aeio' else ''} {word}"


def _spoken(of: str) -> str:
    return (f"the usual density of a {of.removeprefix('role:')}" if of.startswith("role:") else
            f"a usual cup or spoon of {of.rstrip(', ')}")


def _density_told(ml: Fraction, kind: Fraction) -> str:
    """A density in as few digits as give the grams that are told of the volume, at least two: 1.014 of 200 ml."""
    told = (f"{float(kind):.{digits}g}" for digits in range(2, 7))
    return next((one for one in told if _g(ml * Fraction(one)) == _g(ml * kind)), f"{float(kind):.6g}")


def _g(grams: Fraction) -> str:
    """Grams as a note tells them."""
    return f"{float(grams):.2g} g" if grams < 10 else f"{float(grams):.0f} g"
