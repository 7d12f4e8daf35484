"""What heat takes of an ingredient: the prepared food, its yield, and what the reader must know of both.

Water leaves or comes, macronutrients stay: a weight before preparation times the yield is the weight as prepared, and
the nutrients of one are those of the other.

Where the fat that runs out leaves the dish (`drippings` "lost", and so unless the cook says "kept"), a meat, poultry,
fish or shellfish is counted with what stays in it: of its own preparation, or of the nearest one that the table of
yields has. Where none is known all its fat counts, and the warning says how much that leaves open.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import exact
from ratio_solver.foods.food import Food
from ratio_solver.foods.heat import FULL, LOSES_FAT, Yield, after_heat, as_weighed, bundled_yields
from ratio_solver.foods.nutrients import FAT
from ratio_solver.foods.table import suggestion
from ratio_solver.recipe.model import Ingredient
from ratio_solver.recipe.reader import Reader

KEPT, LOST = "kept", "lost"
DRIPPINGS = (KEPT, LOST)
"""What becomes of the fat and juices that run out: they stay in the dish, or they leave it."""

ALREADY_COOKED = frozenset((
    "baked", "boiled", "braised", "broiled", "browned", "canned", "cooked", "dried", "fried", "grilled", "heated",
    "kippered", "microwaved", "pan-broiled", "pan-browned", "pan-fried", "pickled", "poached", "roasted", "simmered",
    "smoked", "steamed", "stewed",
))
"""Words in the name of a food that has lost already what heat takes."""


@dataclass(frozen=True)
class Preparation:
    """A food as it is prepared.

    Attributes
    ----------
    food : Food
        What of it is in the dish, per 100 g of the weight before.
    yield_ : float
        Prepared weight / weight before.
    prepared : str or None
        The way, where the yield is that of the table of yields.
    note : str
        What the reader must know; may be empty.
    fault : str
        What is wrong where 100 g as weighed would hold more than 100 g; else empty.
    """

    food: Food
    yield_: float = 1.0
    prepared: str | None = None
    note: str = ""
    fault: str = ""


def prepare(food: Food, yield_: float | None = None, prepared: str | None = None,
            drippings: str | None = None) -> Preparation | None:
    """A food prepared one way of the table of yields, or with a yield of the cook's own.

    Parameters
    ----------
    food : Food
        Before preparation.
    yield_ : float, optional
        Prepared weight / weight before, where no way is named.
    prepared : str, optional
        A way of the table of yields.
    drippings : {"kept", "lost"}, optional
        Where nothing is said and there is a way or a yield they are lost.

    Returns
    -------
    Preparation or None
        None where the table of yields does not have the way for this food.
    """
    row = bundled_yields().get(food, prepared) if prepared else None
    if prepared and row is None:
        return None
    share = row.share if row else yield_ or 1.0
    named = row.prepared if row else None
    if food.role not in LOSES_FAT:
        return Preparation(food, share, named, _note(named, share, "", row), _too_full(food, share))
    if not row and share == 1 and drippings is None:
        return Preparation(food)
    way = row or way_taken(food, share, drippings)
    dripped = food if way is None else after_heat(food, way.fat_left, f"{_stays(way)} when {way.prepared}")
    if drippings == KEPT:  # what is beside it in the pan is no part of its weight
        leanest = bundled_yields().leanest_of(food.role)
        inside = dripped if way or leanest is None else after_heat(food, leanest.fat_left)
        return Preparation(food, share, named, _note(named, share, "drippings kept, so all its fat and juices stay in "
                                                     "the dish", row), _too_full(inside, share))
    said = "what heat takes of its fat is not known, so all of it counts" if way is None else _stays(way)
    if way and not row:
        nearest = "nearest" if share < 1 else "leanest"
        said += f" as when {way.prepared} (yield {way.share:g}), the {nearest} way known"
    return Preparation(dripped, share, named, _note(named, share, said, way), _too_full(dripped, share))


def way_taken(food: Food, share: float, drippings: str | None) -> Yield | None:
    """The way whose fat is taken where none is named: the nearest yield, without one the leanest."""
    if share < 1:
        return bundled_yields().nearest(food, share)
    return bundled_yields().leanest(food) if drippings == LOST else None


def _stays(way: Yield) -> str:
    if way.fat_kept is None:
        return "what stays of its fat is not known, so all of it counts"
    return "all of its fat stays" if way.fat_left == 1 else f"{share_told(way.fat_left)} of its fat stays"


def share_told(share: float) -> str:
    """A share as a cook reads it.

    >>> share_told(0.39)
    '39 %'
    """
    return f"{float(100 * exact(share)):g} %"


def _note(named: str | None, share: float, said: str, way: Yield | None) -> str:
    """How it is prepared, what that does, and where the figures are from; nothing where a plant's yield is a cook's."""
    if not said and way is None:
        return ""
    parts = (named or "", f"yield {share:g}" if share != 1 or named else "", said, way.source if way else "")
    return ", ".join(filter(None, parts))


def _too_full(food: Food, share: float) -> str:
    held = as_weighed(food, share)
    if share == 1 or held <= FULL:
        return ""
    least = math.ceil(held * exact(share) / FULL * 1000) / 1000
    return (f"100 g of {food.name} as weighed would hold {float(held):.1f} g of fat, protein and carbohydrate; "
            f"expected 100 g at most, which is a yield of {least:g} or more")


def fat_in_doubt(item: Ingredient, cooks: bool) -> Yield | None:
    """The leanest way that an ingredient may have taken where all its fat counts; None where nothing is in doubt.

    `cooks` says that the recipe has the weight of the finished dish.
    """
    if item.food.role not in LOSES_FAT or item.drippings == KEPT or not item.food.amounts.get(FAT):
        return None
    table = bundled_yields()
    way = table.get(item.food, item.prepared) if item.prepared else way_taken(item.food, item.yield_, item.drippings)
    if way is not None:
        return None if way.fat_kept is not None else table.leanest_of(item.food.role)
    raw = ALREADY_COOKED.isdisjoint(item.food.name.lower().replace(",", " ").split())
    if item.yield_ == 1 and item.drippings is None and not (cooks and raw):
        return None
    return table.leanest(item.food) or table.leanest_of(item.food.role)


def read_preparation(reader: Reader, food: Food | None) -> tuple[Preparation | None, str | None]:
    """An ingredient as it is prepared, and what becomes of its drippings; no preparation where that has a fault.

    ``yield = 0.8`` is taken as it is; ``prepared = "roasted"`` is looked up in the table of yields.
    """
    own = reader.spanned("yield", "prepared weight / weight before")
    prepared = reader.text("prepared")
    drippings = reader.one_of("drippings", DRIPPINGS)
    if prepared is not None and "yield" in reader.table:
        reader.fault("prepared", prepared, "expected prepared or yield, not both")
        return None, drippings
    if food is None:
        return None, drippings
    if drippings is not None and food.role not in LOSES_FAT:
        reader.fault("drippings", drippings,
                     f"is said of {', '.join(LOSES_FAT)}; the role of {food.name} is {food.role or 'not known'}")
        return None, None
    found = prepare(food, own, prepared, drippings)
    if found is None:
        known = [way.prepared for way in bundled_yields().of(food)]
        hint = f"one of {', '.join(known)}{suggestion(prepared or '', known)}" if known else \
            "a food that the table of yields has; give its yield instead"
        reader.fault("prepared", prepared, f"has no yield for {food.name}; expected {hint}")
    elif found.fault:
        reader.fault("prepared" if prepared else "yield", prepared or own, found.fault)
    return found, drippings


def raw_grams(ingredient: Ingredient, grams: Fraction) -> Fraction:
    """Weight before preparation, g, of so many g as prepared."""
    return grams / exact(ingredient.yield_)
