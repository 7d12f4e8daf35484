"""Household measures beside a weight: a help for the kitchen, the weight stays the truth."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import exact
from ratio_solver.foods.food import Food

COUNTED = ("large", "egg", "medium", "small", "clove", "fruit", "leaf", "stalk")
"""Whole things by which a food may be counted, best first."""

CUP_FROM, TBSP_FROM = Fraction(1, 4), Fraction(7, 8)
"""Least number of cups, and of tablespoons, in which an amount is told."""

FARTHEST_OFF = Fraction(1, 8)
"""A measure that misses the weight by more than this share of it is not shown."""

MOST_OF_ONE, MOST_COUNTED = 16, 24
"""Nobody counts more spoons, cups or things than this."""

_MEASURED = re.compile(r"(?:(?P<number>[0-9]+(?:\.[0-9]+)?)(?: (?=[0-9]+/)| (?=[^0-9])))?"
                       r"(?:(?P<above>[0-9]+)/(?P<below>[0-9]+) )?(?P<name>[^0-9/\s].*)")
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


def measured(text: str) -> tuple[Fraction, str] | None:
    """A counted measure: its number, which may have a fraction, and its name; None where it is none.

    >>> measured("3 1/4 tbsp"), measured("2.5 cup chopped"), measured("large")
    ((Fraction(13, 4), 'tbsp'), (Fraction(5, 2), 'cup chopped'), None)
    """
    match = _MEASURED.fullmatch(" ".join(text.split()))
    if not match or not (match["number"] or match["above"]) or (match["below"] and not int(match["below"])):
        return None
    share = Fraction(int(match["above"]), int(match["below"])) if match["above"] else Fraction(0)
    return Fraction(match["number"] or "0") + share, match["name"].lower()
