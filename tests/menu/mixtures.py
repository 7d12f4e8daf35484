"""Recipes in which everything that a kitchen may write comes together, seeded, as rows of a menu and as recipe files.

A recipe of the second opinion's draw, of foods some of which are alike, pure or unknown in something, is written on
with several of: pieces and steps of any length, weights off the grid, `keep`, more targets around or just past a dish
on the steps, bands that hardly any other weights meet, servings and batches of any size.
"""

from __future__ import annotations

import copy
import math
import random
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from tests.kitchen import food
from tests.menu.drawing import long_rows
from tests.oracle.recipes import random_recipe, random_table, with_intervals
from tests.oracle.second_opinion import Dish

Written = dict[str, Any]

PURE = (food("pure oil", 100), food("pure protein", 0, 100), food("pure sugar", 0, 0, 100), food("water"))
"""Foods of which vertices coincide."""

STEPS = (0.1, 0.25, 0.5, 1, 2, 5, 10, 1.5, 0.125)
PIECES = (12, 17, 50, 57.5, 110)
DECIMALS = (0.1, 0.25, 0.3, 0.5, 0.7, 0.125, 0.333, 1e-6, 0.123456789)
SIZES = (0.01, 0.1, 1, 1, 1, 1, 1, 10, 60)
SERVINGS = (1, 2, 3, 5, 7, 12, 40, 400)
QUANTITIES = ("protein", "fat", "net_carbs", "energy", "sodium", "fibre", "carbs")
BARE = {"protein": "min", "fat": "min", "fibre": "min"}


def mixed_table(seed: int, count: int = 60) -> list[dict[str, str]]:
    """A table of invented foods: with intervals, a tenth twice under two names, a tenth without a figure of sodium."""
    rng, rows = random.Random(f"mixed {seed}"), random_table(seed, count)
    for row in rng.sample(rows, count // 10):
        row["sodium_mg"] = ""
    rows = with_intervals(seed, rows)
    pure = [{"price_per_kg": str(rng.randint(1, 9)), "sodium_mg": "0", "water_g": "", **row} for row in PURE]
    twins = [{**row, "food": f"{row['food']}, twin", "id": f"{row['id']}t"} for row in rng.sample(rows, count // 10)]
    return [*rows, *twins, *pure]


def _number(value: float) -> float:
    """As a cook would write it, up to the digits that are taken."""
    value = round(value, 9)
    return int(value) if value == int(value) else value


def _resized(recipe: Written, factor: float) -> None:
    for entry in recipe["ingredients"]:
        for key in ("grams", "min", "max"):
            if key in entry:
                entry[key] = _number(min(1e6, entry[key] * factor))
    for part in recipe.get("parts", {}).values():
        for end in part:
            part[end] = _number(part[end] * factor)


def _on_scales(rng: random.Random, recipe: Written) -> None:
    """Steps, pieces and weights off them."""
    for entry in recipe["ingredients"]:
        if "min" in entry and rng.random() < 0.6:
            entry.pop("step", None)
            entry.pop("piece", None)
            entry.update({"piece": rng.choice(PIECES)} if rng.random() < 0.35 else {"step": rng.choice(STEPS)})
            size = entry.get("piece") or entry["step"]
            if rng.random() < 0.6:
                entry["grams"] = _number(round(entry["grams"] / size) * size)
                entry["min"] = _number(math.floor(entry["min"] / size) * size)
                entry["max"] = _number(math.ceil(entry["max"] / size) * size)
            elif rng.random() < 0.2:
                entry["grams"] = _number((math.floor(entry["grams"] / size) + 0.5) * size)


def _off_grid(rng: random.Random, recipe: Written) -> None:
    for entry in recipe["ingredients"]:
        for key, chance in (("grams", 0.4), ("min", 0.1), ("max", 0.15)):
            if key in entry and rng.random() < chance:
                entry[key] = _number(entry[key] + rng.choice(DECIMALS)) if rng.random() < 0.9 else entry[key] + 1 / 3
        if "min" in entry and entry["min"] > entry["max"]:
            entry["min"] = entry["max"]


def _kept(rng: random.Random, recipe: Written) -> None:
    for entry in recipe["ingredients"]:
        if "min" in entry and rng.random() < 0.4:
            entry["keep"] = rng.choice((0.25, 0.5, 2, 3, 4.5, 10, 0.333, 0.001, 1000))


def _alike(rng: random.Random, recipe: Written, rows: Sequence[Mapping[str, str]]) -> None:
    """Foods that are alike beside each other, with the same start and bounds."""
    entries = recipe["ingredients"]
    twins = [row["food"] for row in rows if row["food"].endswith(", twin")]
    label = rng.choice(twins)
    used = {entry["food"] for entry in entries} | {entry.get("label") for entry in entries}
    ids = {row["food"]: row["id"] for row in rows}
    if used & {label, label.removesuffix(", twin"), ids[label], ids[label.removesuffix(", twin")]}:
        return
    grams = rng.randint(0, 100)
    both = [{"food": name, "grams": grams, "min": 0, "max": 150} for name in (label, label.removesuffix(", twin"))]
    for one in both:
        entries.insert(rng.randint(0, len(entries)), one)


def _pure(rng: random.Random, recipe: Written) -> None:
    for row in rng.sample(PURE, rng.randint(1, 3)):
        low, high = sorted(rng.sample(range(0, 90, 10), 2))
        recipe["ingredients"].append({"food": row["food"], "grams": 10 * rng.randint(0, 8), "min": low, "max": high})


def _stiff(rng: random.Random, recipe: Written) -> None:
    """Bounds that leave an ingredient one weight, or none."""
    for entry in recipe["ingredients"]:
        if "min" in entry and rng.random() < 0.3:
            entry["min"] = entry["max"] = rng.choice((0, entry["min"], entry["max"], entry["grams"]))


def _point(rng: random.Random, recipe: Written) -> list[Fraction]:
    """Weights within the bounds, on the steps where there are any."""
    found = []
    for entry in recipe["ingredients"]:
        start, low, high = (Fraction(str(entry.get(key, entry["grams"]))) for key in ("grams", "min", "max"))
        step = Fraction(str(entry.get("piece") or entry.get("step") or 1))
        first, last = math.ceil(low / step), math.floor(high / step)
        near = min(max(start, low), high)
        aim = near + (Fraction(rng.random()) * (high - low) + low - near) * Fraction(rng.choice((0, 0.2, 0.5)))
        found.append(start if "min" not in entry else
                     min(max(round(aim / step), first), last) * step if first <= last else near)
    return found


def _around(rng: random.Random, recipe: Written, rows: Sequence[Mapping[str, str]]) -> None:
    """Targets around a dish on the steps: wide, at its very figures, hardly wider, or just past them."""
    bare = {key: value for key, value in recipe.items() if key in ("servings", "ingredients", "policy")}
    dish, weights = Dish(bare, rows), _point(rng, recipe)

    def batch(name: str) -> Fraction | None:
        try:
            return sum((amount * weights[i] for i, amount in dish.amounts(name).items()), Fraction(0))
        except (KeyError, ValueError):
            return None

    fat, protein, net = batch("fat"), batch("protein"), batch(dish.ratio_carbs)
    figures = {name: batch(name) for name in rng.sample(QUANTITIES, rng.randint(0, 4))}
    found: dict[str, tuple[float, int]] = {
        name: (float(total) / recipe["servings"], 1000) for name, total in figures.items() if total}
    if fat and protein is not None and net is not None and protein + net and 0.01 < fat / (protein + net) < 900:
        found["ratio"] = float(fat / (protein + net)), 900
    targets: dict[str, Any] = {}
    for name, (value, most) in found.items():
        digits = rng.choice((1, 2, 3, 6))
        way = rng.choice(("min", "max", "band", "tight", "wide", "past"))
        low, high = (side(value * 10 ** digits) / 10 ** digits for side in (math.floor, math.ceil))
        if way in ("wide", "past"):
            low, high = (round(value * share, 2) for share in ((0.7, 1.4) if way == "wide" else (1.02, 1.6)))
        ends = {"min": low, "max": high + (value * 0.01 if way == "band" else 0)}
        if way in ("min", "max"):
            ends = {way: ends[way]}
        ends = {end: _number(round(bound, 6)) for end, bound in ends.items() if 0.01 <= bound <= 1e5}
        if ends and (name != "ratio" or all(0 < bound <= most for bound in ends.values())):
            targets[name] = ends
    recipe["targets"] = targets if rng.random() < 0.7 else {**recipe["targets"], **targets}


def mixed_recipe(rng: random.Random, rows: Sequence[Mapping[str, str]]) -> Written:
    """A recipe as `tomllib` would read it."""
    usual = [row for row in rows if row["sodium_mg"] and row["id"].startswith("invented") and row["id"][-1] != "t"] \
        if rng.random() < 0.8 else [row for row in rows if row["id"].startswith("invented")]
    recipe = random_recipe(rng, usual, kind=rng.choice(("plain", "mixed", "choose", "whole", "share")))
    ways: list[tuple[float, Callable[[], None]]] = [
        (0.3, lambda: _resized(recipe, rng.choice(SIZES))), (0.25, lambda: _alike(rng, recipe, rows)),
        (0.15, lambda: _pure(rng, recipe)), (0.5, lambda: _on_scales(rng, recipe)),
        (0.4, lambda: _off_grid(rng, recipe)), (0.35, lambda: _kept(rng, recipe)), (0.1, lambda: _stiff(rng, recipe)),
        (0.2, lambda: recipe.update(servings=rng.choice(SERVINGS))), (0.6, lambda: _around(rng, recipe, rows)),
        (0.03, lambda: recipe.update(targets={}))]
    for chance, way in ways:
        if rng.random() < chance:
            way()
    return recipe


POLICY_CELLS = {"energy": "policy_energy", "mct_energy": "mct_energy", "ratio_formula": "ratio_formula"}


def rows_of_mixed(name: str, recipe: Written) -> list[dict[str, str]]:
    """The rows of a menu that say a recipe, which has neither parts nor proportions nor choices."""
    rows = long_rows(name, {**recipe, "targets": _ended(recipe["targets"])})
    policy = recipe.get("policy", {})
    for key, value in policy.items():
        rows[0] |= {f"left_out_{what}": str(share) for what, share in value.items()} if key == "left_out" \
            else {POLICY_CELLS[key]: str(value)}
    return rows


def _ended(targets: Mapping[str, Any]) -> dict[str, Any]:
    """Targets with the end that each is."""
    return {name: value if isinstance(value, Mapping) else {BARE.get(name, "min" if name == "ratio" else "max"): value}
            for name, value in targets.items()}


def without_groups(recipe: Written) -> Written:
    """What of a recipe can stand in rows."""
    found = {key: value for key, value in recipe.items() if key not in ("parts", "proportions", "choose")}
    return found | {"ingredients": [{key: value for key, value in entry.items() if key != "part"}
                                    for entry in recipe["ingredients"]]}


def mixed_rows(recipes: Mapping[str, Written]) -> tuple[list[dict[str, str]], dict[str, Written]]:
    """The rows of a menu of such recipes, and the recipes with their targets in the order of its columns."""
    plain = {name: without_groups(recipe) for name, recipe in recipes.items()}
    rows = [row for name, recipe in plain.items() for row in rows_of_mixed(name, recipe)]
    columns = dict.fromkeys(key.removesuffix("_min").removesuffix("_max") for row in rows for key in row)
    for recipe in plain.values():
        recipe["targets"] = {name: recipe["targets"][name] for name in columns if name in recipe["targets"]}
    return rows, plain


OVERRIDES: Mapping[str, tuple[float, ...]] = {
    "servings": (1, 2, 3, 4, 8, 10), "ratio": (0.5, 1, 1.5, 2.5, 3.2), "net_carbs": (2, 4.5, 6, 10, 20),
    "protein_min": (1, 3, 7.25), "ratio_max": (2, 3, 5)}
"""Columns of a menu by file, and what may stand there."""


def mixed_files(rng: random.Random, rows: Sequence[Mapping[str, str]], count: int) -> dict[str, Written]:
    """Recipe files by name: some with a table of their own, some at fault, some of one shape with other figures."""
    found: dict[str, Written] = {}
    while len(found) < count:
        recipe = mixed_recipe(rng, rows)
        for chance, more in ((0.1, {"foods": ["own.csv"]}), (0.1, {"targets": {}}),
                             (0.05, {"keep_weight": rng.choice((0.02, 0.1, 0.3))})):
            recipe |= more if rng.random() < chance else {}
        if rng.random() < 0.06:
            recipe["ingredients"][0] |= rng.choice(({"food": "no such food"}, {"grams": -1}))
        found[f"file {len(found)}.toml"] = recipe
        for _ in range(rng.choice((0, 0, 0, 2, 4))):
            other = copy.deepcopy(recipe)
            for entry in other["ingredients"]:
                if "min" in entry and rng.random() < 0.5:
                    entry["max"] = _number(entry["max"] + rng.randint(0, 50))
            found[f"file {len(found)}.toml"] = other
    return found


def own_rows(rng: random.Random, rows: Sequence[Mapping[str, str]]) -> list[dict[str, str]]:
    """A table of a kitchen's own, with other figures of some of the foods and without intervals."""
    return [{**{key: cell for key, cell in row.items() if not key.endswith(("_low", "_high", "_lowest", "_highest"))},
             "protein_g": f"{0.9 * float(row['protein_g']):.2f}"} for row in rng.sample(list(rows), len(rows) // 6)]


def overridden(recipe: Written, cells: Mapping[str, float]) -> Written:
    """The recipe of a file with what its row in a menu puts in place of its own.

    A bare ratio or net carbs takes the other end away where that is past it.
    """
    targets = {name: dict(ends) for name, ends in _ended(recipe["targets"]).items()}
    columns = {column: column.removesuffix("_min").removesuffix("_max") for column in OVERRIDES if column != "servings"}
    ends: dict[str, dict[str, float]] = {name: {} for name in columns.values()}  # in the order of the menu's columns
    for column in columns.keys() & cells.keys():
        ends[columns[column]]["min" if column in ("ratio", "protein_min") else "max"] = cells[column]
    for name, given in ((name, given) for name, given in ends.items() if given):
        held = targets.setdefault(name, {}) | given
        if len(given) == 1 and {"ratio", "net_carbs"} & cells.keys() & {name} and held.get("min", 0) > held.get(
                "max", math.inf):
            held = given
        targets[name] = held
    return {**recipe, "servings": int(cells.get("servings", recipe["servings"])), "targets": targets}
