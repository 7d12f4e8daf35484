"""Recipe files with some of their limits written anew, for the second opinion to look at."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from ratio_solver import Recipe
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.foods.nutrients import stem_of
from ratio_solver.foods.quantities import quantity_of
from ratio_solver.solving.result import Repair

Written = dict[str, Any]


def place_of(written: Written, recipe: Recipe, limit: Limit) -> tuple[dict[str, Any], str]:
    """The table of the file that holds a limit, and its key there. Bare numbers are made tables first."""
    end = "min" if limit.sense == ">=" else "max"
    if limit.kind == "target":
        key = stem_of(limit.nutrient)
        if not isinstance(written["targets"][key], dict):
            return written["targets"], key
        return written["targets"][key], end
    if limit.kind == "part":
        return written["parts"][limit.name.removesuffix(" weight")], end
    if limit.kind == "ingredient":
        label = limit.name.removesuffix(f" {end}")
        return next(e for e in written["ingredients"] if e.get("label", e["food"]) == label
                    or ("label" not in e and e["food"] == label)
                    or ("label" not in e and _named(recipe, label) == e["food"])), end
    same = [other for other in limits_of(recipe) if other.kind == limit.kind]
    if limit.kind == "choose":
        return written["choose"][next(k for k, other in enumerate(same) if other == limit)], "at_most"
    ends = [(k, end) for k, entry in enumerate(written["proportions"]) for end in ("min", "max") if end in entry]
    k, end = ends[next(k for k, other in enumerate(same) if other == limit)]
    return written["proportions"][k], end


def _named(recipe: Recipe, label: str) -> str:
    return next(i.food.id for i in recipe.ingredients if i.label == label)


def moved(written: Written, recipe: Recipe, changes: Sequence[tuple[Limit, Fraction]]) -> Written:
    """The file with some limits written anew."""
    found = copy.deepcopy(written)
    for limit, to in changes:
        entry, key = place_of(found, recipe, limit)
        entry[key] = int(to) if limit.kind == "choose" else float(to)
    return found


def without(written: Written, recipe: Recipe, limits: Sequence[Limit]) -> Written:
    """The file without some limits: a least of 0, a most of a tonne, no target, no proportion."""
    found = copy.deepcopy(written)
    places = [(limit, *place_of(found, recipe, limit)) for limit in limits]
    for limit, entry, key in places:
        if limit.kind == "ingredient":
            entry[key] = 0 if key == "min" else 1_000_000
        elif limit.kind == "choose":
            entry[key] = len(entry["from"])
        else:
            del entry[key]
    found["targets"] = {key: value for key, value in found["targets"].items() if value != {}}
    if "proportions" in found:
        found["proportions"] = [entry for entry in found["proportions"] if "min" in entry or "max" in entry]
    return found


def loosest(limit: Limit) -> Fraction:
    """The loosest bound that a recipe file takes (of a ratio, one that any fat at all keeps)."""
    if limit.sense == ">=":
        return Fraction(1, 10**4) if limit.unit == ":1" else Fraction(0)
    if limit.kind == "target":
        return Fraction(quantity_of(limit.nutrient).highest)
    return {"share": Fraction(1000), "used": Fraction(len(limit.members))}.get(limit.unit, Fraction(10**6))


def lesser(repair: Repair) -> Fraction:
    """1 % less of the change; of a choice one less."""
    return repair.to - 1 if repair.limit.kind == "choose" else repair.to - (repair.to - repair.limit.bound) / 100
