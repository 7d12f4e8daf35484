"""Seeded random composition tables and recipes, all invented, for comparing two solutions of the same recipe.

The same seed gives the same table and the same recipe, on every machine.
"""

from __future__ import annotations

import csv
import json
import random
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

Rows = Sequence[Mapping[str, str]]

# g per 100 g: fat, protein, net carbs, fibre; then sodium in mg and price per kg. Each (least, most).
CLASSES: dict[str, tuple[tuple[float, float], ...]] = {
    "fat": ((78, 99.5), (0, 0.9), (0, 0.5), (0, 0), (0, 600), (4, 25)),
    "cream or cheese": ((16, 38), (2, 26), (0.5, 4.5), (0, 0), (30, 900), (4, 20)),
    "meat or egg": ((2, 32), (11, 26), (0, 1.2), (0, 0), (40, 1100), (3, 30)),
    "vegetable": ((0.1, 0.8), (0.6, 3.5), (1.5, 8.5), (0.9, 4.2), (1, 140), (1, 8)),
    "oily fruit": ((10, 18), (0.8, 2.2), (0.5, 2.5), (3, 7), (5, 1500), (4, 14)),
    "nut or seed": ((42, 74), (7, 24), (2, 9), (5, 28), (0, 20), (8, 30)),
    "binder": ((0, 8), (0.5, 65), (0.2, 6), (8, 24), (10, 400), (8, 40)),
    "starch": ((0.1, 2), (1.5, 11), (14, 72), (1, 6), (1, 20), (1, 4)),
    "sweetener": ((0, 0), (0, 0), (0, 2), (0, 0), (0, 10), (6, 20)),
}
COMMON = ("fat", "cream or cheese", "meat or egg", "vegetable")

KINDS = ("plain", "mixed", "choose", "whole", "share")
"""plain: ratio and net carbs alone. mixed: also other targets, parts, proportions, keep weights, yields and,
at times, a group to choose from. choose: mixed with such a group for certain. whole: mixed, with steps and
pieces on most adjustable ingredients. share: mixed, with targets that divide by something of the dish."""

POSSIBLE = {"plain": 0.35, "mixed": 0.5, "choose": 0.8, "whole": 0.5, "share": 0.5}
"""Share of draws whose limits are put around a dish that keeps them; of the others some are possible too."""


def random_table(seed: int, n_foods: int) -> list[dict[str, str]]:
    """`n_foods` invented foods, every class in turn; both carb bases, figures of two decimals that agree.

    About one food in twelve has a blank fibre, two in five a blank energy, one in eight a blank water.
    """
    rng = random.Random(f"table {seed}")
    kinds = list(CLASSES)
    rows = [_food(rng, kinds[i % len(kinds)], i) for i in range(n_foods)]
    return [row | _substances(random.Random(f"{seed} {row['food']}"), row) for row in rows]


def with_intervals(seed: int, rows: Rows) -> list[dict[str, str]]:
    """The same foods with intervals around two figures of three, of the mean and, wider, of the single food."""
    rng, found = random.Random(f"intervals {seed}"), []
    for row in rows:
        cells = dict(row)
        for column in ("fat_g", "protein_g", "fibre_g", "water_g", "sodium_mg", "erythritol_g", "carbs_g"):
            value = _cell(row, column)
            own = column != "carbs_g" or row["carb_basis"] == "available"
            mean, food = rng.uniform(0, 0.1), rng.uniform(0.1, 0.2)
            some = bool(value) and own and rng.random() < 2 / 3
            for end, share in (("low", -mean), ("high", mean), ("lowest", -food), ("highest", food)):
                cells[f"{column}_{end}"] = f"{value * (1 + share):.2f}" if some else ""
        found.append(cells)
    return found


POLYOL_KINDS = ("xylitol_g", "maltitol_g", "sorbitol_g", "mannitol_g", "isomalt_g", "lactitol_g", "glycerol_g")
DERIVED = ("net_carbs", "carbs_kcal", "energy", "fibre")
"""What every row of a table tells, written or not."""
SUGARS = ("tagatose_g", "isomaltulose_g", "imo_g")


def _substances(rng: random.Random, row: Mapping[str, str]) -> dict[str, str]:
    """Kinds of polyols, other sweet substances, kinds of fibre and medium-chain fat that a food may be made of."""
    cells = dict.fromkeys((*POLYOL_KINDS, *SUGARS, "insoluble_fibre_g", "mct_g"), "")
    other = _cell(row, "polyols_g") - _cell(row, "erythritol_g")
    for column in rng.sample(POLYOL_KINDS, rng.randint(0, 2)) if other > 1 else ():
        cells[column] = f"{other * rng.uniform(0.2, 0.5):.2f}"
    if _cell(row, "allulose_g") and rng.random() < 0.6:  # part of the allulose is something else
        cells[rng.choice(SUGARS)] = f"{_cell(row, 'allulose_g') * 0.5:.2f}"
        cells["allulose_g"] = f"{_cell(row, 'allulose_g') * 0.45:.2f}"
    if rng.random() < 0.5 and row["fibre_g"]:
        cells["insoluble_fibre_g"] = f"{_cell(row, 'fibre_g') * rng.uniform(0, 0.99):.2f}"
    if row["food"].startswith("fat") and rng.random() < 0.4:
        cells["mct_g"] = f"{_cell(row, 'fat_g') * rng.uniform(0.1, 1):.2f}"
    return cells


def _food(rng: random.Random, kind: str, number: int) -> dict[str, str]:
    def draw(bounds: tuple[float, float]) -> int:  # hundredths, so that sums are exact
        return round(100 * rng.uniform(*bounds))

    fat, protein, net, fibre = (draw(bounds) for bounds in CLASSES[kind][:4])
    basis = rng.choice(("by_difference", "available"))
    polyols = erythritol = allulose = 0
    if kind == "sweetener":
        sort = rng.choice(("erythritol", "allulose", "blend", "other polyol"))
        rest = 10_000 - net - draw((0, 3))
        erythritol = {"erythritol": rest, "blend": rest // 2, "other polyol": rest // 4}.get(sort, 0)
        polyols = rest if sort == "other polyol" else erythritol
        allulose = {"allulose": rest, "blend": rest // 3}.get(sort, 0)
    available = net + polyols + allulose
    room = 10_000 - fat - protein - available - fibre
    if room < 0:  # seldom: a rich nut
        fat, room = fat + room, 0
    water = room - min(room, draw((0, 3)))
    known_fibre = rng.random() > 1 / 12
    if not known_fibre and basis == "by_difference":
        available, fibre = available + fibre, 0  # net carbs are then the whole figure
    elif not known_fibre:
        fibre = 0
    kcal = (
        9 * fat
        + 4 * protein
        + 2 * fibre
        + 4 * (available - polyols - allulose)
        + 2.4 * (polyols - erythritol)
        + 0.4 * allulose
    ) / 100
    some_sweet = polyols or allulose
    figure = "{:.2f}".format
    return {
        "food": f"{kind} no. {number + 1}",
        "id": f"invented:{number + 1:04d}",
        "carb_basis": basis,
        "fat_g": figure(fat / 100),
        "protein_g": figure(protein / 100),
        "carbs_g": figure((available + (fibre if basis == "by_difference" else 0)) / 100),
        "fibre_g": figure(fibre / 100) if known_fibre else "",
        "energy_kcal": figure(kcal * rng.uniform(0.98, 1.02)) if rng.random() < 0.6 else "",
        "water_g": figure(water / 100) if rng.random() > 1 / 8 else "",
        "polyols_g": figure(polyols / 100) if some_sweet else rng.choice(("", "0.00")),
        "erythritol_g": figure(erythritol / 100) if some_sweet else "",
        "allulose_g": figure(allulose / 100) if some_sweet else "",
        "sodium_mg": figure(rng.uniform(*CLASSES[kind][4])),
        "price_per_kg": figure(rng.uniform(*CLASSES[kind][5])),
    }


# --- recipes ------------------------------------------------------------------------------------------


def _macros(row: Mapping[str, str]) -> float:
    """Grams of fat, protein and carbohydrate in 100 g: prepared, they cannot weigh more than all of it."""
    fibre = float(row["fibre_g"] or 0) if row["carb_basis"] == "available" else 0
    return fibre + sum(float(row[column]) for column in ("fat_g", "protein_g", "carbs_g"))


def random_recipe(rng: random.Random, foods: Rows, *, kind: str = "mixed") -> dict[str, Any]:
    """A recipe as `tomllib` would read it; about three in four have weights that keep every limit.

    First a dish that is possible is drawn (weights within their bounds, fat set for a ratio between 1.2
    and 3.6), then limits are put around it; for some draws a limit or two are then pulled well past it.

    Parameters
    ----------
    rng : random.Random
    foods : rows of `random_table`, at least 20
    kind : one of `KINDS`
    """
    if kind not in KINDS:
        raise ValueError(f"kind: {kind!r} is none of {KINDS}")
    chosen = _pick_foods(rng, foods, rng.randint(4, 14))
    n_adjustable = min(len(chosen) - 1, rng.randint(3, 9))
    free = [0, *sorted(rng.sample(range(1, len(chosen)), n_adjustable - 1))]  # the first is a fat
    whole = kind == "whole"
    entries, witness = [], []
    for i, row in enumerate(chosen):
        entry: dict[str, Any] = {"food": row["food"]}
        if rng.random() < 0.15:
            entry = {"food": row["id"], "label": f"item {i + 1}"}
        elif rng.random() < 0.2:
            entry["label"] = f"{row['food'].split(' no.')[0]} {chr(65 + i)}"
        if i in free:
            witness.append(_adjustable(rng, entry, row, whole))
        else:
            entry["grams"] = _fixed_grams(rng, row)
            witness.append(float(entry["grams"]))
        if kind != "plain" and rng.random() < 0.12:
            drawn = rng.choice((0.7, 0.725, 0.85, 0.9, 1.2, 2.4))
            entry["yield"] = drawn if _macros(row) / drawn <= 100 else 1.2
        entries.append(entry)
    goal = rng.uniform(1.2, 3.6)
    witness[0] = _fat_for(goal, entries, chosen, witness)
    _bound_fat(rng, entries[0], witness[0], whole)
    if kind != "plain":
        for i in free:
            if rng.random() < 0.25:
                entries[i]["keep"] = rng.choice((0.25, 0.5, 2, 3, 4.5, 10))

    title = f"Invented dish {rng.randrange(10**6)}"
    recipe: dict[str, Any] = {"title": title, "servings": rng.randint(1, 12)}
    possible = rng.random() < POSSIBLE[kind]
    recipe["targets"] = _targets(rng, recipe["servings"], entries, chosen, witness, kind, possible)
    recipe["ingredients"] = entries
    if kind == "share":
        recipe["targets"] |= _shares(random.Random(f"share {title}"), recipe, chosen, witness, possible)
    if kind != "plain":
        parts = _parts(rng, entries, witness, possible)
        if parts:
            recipe["parts"] = parts
        proportions = _proportions(rng, entries, witness, parts, possible)
        if proportions:
            recipe["proportions"] = proportions
        if kind == "choose" or rng.random() < 0.2:
            recipe["choose"] = _choose(rng, entries, free)
        policy = _policy(random.Random(title))
        if policy:
            recipe["policy"] = policy
    return recipe


def _policy(rng: random.Random) -> dict[str, Any]:
    """What is left out of net carbs and whence energy, in two recipes of five not as usual."""
    if rng.random() < 0.6:
        return {}
    policy: dict[str, Any] = {}
    keys = [*(column.removesuffix("_g") for column in (*POLYOL_KINDS, *SUGARS)), "polyols", "erythritol", "allulose"]
    if rng.random() < 0.7:
        policy["left_out"] = {key: rng.choice((0, 0.25, 0.5, 1, 1.0)) for key in rng.sample(keys, rng.randint(1, 6))}
    if rng.random() < 0.8:
        policy["energy"] = rng.choice(("table", "annex-xiv", "us", "9/4/4"))
    if rng.random() < 0.3:
        policy["mct_energy"] = 8.3
    return policy


def _pick_foods(rng: random.Random, foods: Rows, n: int) -> list[Mapping[str, str]]:
    by_class: dict[str, list[Mapping[str, str]]] = {}
    for row in foods:
        by_class.setdefault(row["food"].split(" no.")[0], []).append(row)
    chosen = [rng.choice(by_class["fat"])]
    weights = [3 if name in COMMON else 1 for name in by_class]
    while len(chosen) < n:
        row = rng.choice(by_class[rng.choices(list(by_class), weights)[0]])
        if row not in chosen:
            chosen.append(row)
        elif len(chosen) >= len(foods):
            break
    return chosen


def _usual(row: Mapping[str, str]) -> tuple[int, int]:
    """Grams in a batch that such a food is used in."""
    kind = row["food"].split(" no.")[0]
    usual = {"binder": (5, 40), "starch": (5, 40), "sweetener": (10, 90), "fat": (10, 150)}
    return usual.get(kind, (40, 420))


def _fixed_grams(rng: random.Random, row: Mapping[str, str]) -> int | float:
    least, most = _usual(row)
    grams = rng.randint(least, max(least, most // 2))
    return rng.choice((grams, grams, float(grams), grams + 0.5))


def _adjustable(rng: random.Random, entry: dict[str, Any], row: Mapping[str, str], whole: bool) -> float:
    """Fill in grams, min and max (and step or piece); the weight of the possible dish."""
    least, most = _usual(row)
    unit = 1 if rng.random() < 0.3 else 5
    low = 0 if rng.random() < 0.35 else unit * rng.randint(0, max(1, least // unit))
    high: int | float = max(low + 10 * unit, unit * rng.randint(least // unit, most // unit))
    if whole and rng.random() < 0.6:
        if row["food"].startswith("meat or egg") and rng.random() < 0.6:
            entry["piece"] = piece = rng.choice((38, 44, 50, 57.5))
            high = max(high, low + 2 * piece)
        else:
            entry["step"] = rng.choice((0.1, 0.5, 2, 5, 10))
    kind = rng.choices(("inside", "least", "most", "above", "below", "candidate"), (45, 8, 12, 20, 7, 15))[0]
    start: float = {
        "inside": rng.randint(round(low), round(high)),
        "least": low,
        "most": high,
        "above": round(high * rng.uniform(1.05, 2.5)),
        "below": round(low * rng.uniform(0.2, 0.95)),
        "candidate": 0,
    }[kind]
    if kind == "inside" and rng.random() < 0.15:
        start = min(round(start + rng.choice((0.5, 0.25, 0.1)), 2), high)
    if kind == "candidate":
        low = 0
    entry |= {"grams": start, "min": low, "max": high}
    aim = min(max(start, low), high)
    return aim + rng.uniform(0, 0.6) * (rng.uniform(low, high) - aim)


def _net(row: Mapping[str, str]) -> float:
    fibre = _cell(row, "fibre_g") if row["carb_basis"] == "by_difference" else 0.0
    return _cell(row, "carbs_g") - fibre - _cell(row, "erythritol_g") - _cell(row, "allulose_g")


def _cell(row: Mapping[str, str], column: str) -> float:
    return float(row[column] or 0)


def _amount(row: Mapping[str, str], nutrient: str) -> float:
    """Roughly, per 100 g: enough to place a limit near a dish."""
    if nutrient == "net_carbs":
        return _net(row)
    if nutrient == "carbs":
        return _cell(row, "carbs_g") + (_cell(row, "fibre_g") if row["carb_basis"] == "available" else 0)
    if nutrient == "energy":
        plain = (
            9 * _cell(row, "fat_g") + 4 * (_cell(row, "protein_g") + _net(row)) + 2 * _cell(row, "fibre_g")
        )
        return _cell(row, "energy_kcal") or plain
    return _cell(row, "sodium_mg" if nutrient == "sodium" else f"{nutrient}_g")


def _total(
    nutrient: str, entries: Sequence[Mapping[str, Any]], rows: Rows, weights: Sequence[float]
) -> float:
    return sum(
        _amount(row, nutrient) / 100 / float(entry.get("yield", 1)) * w
        for entry, row, w in zip(entries, rows, weights, strict=True)
    )


def _fat_for(
    goal: float,
    entries: Sequence[Mapping[str, Any]],
    rows: Rows,
    weights: Sequence[float],
) -> float:
    """Grams of the first ingredient, a fat, that bring the dish to the ratio `goal`; at least 5 g."""
    others = [0.0, *weights[1:]]
    fat, protein, net = (_total(k, entries, rows, others) for k in ("fat", "protein", "net_carbs"))
    one = [1.0, *(0.0 for _ in weights[1:])]
    f, p, n = (_total(k, entries, rows, one) for k in ("fat", "protein", "net_carbs"))
    return max(5.0, (goal * (protein + net) - fat) / (f - goal * (p + n)))


def _bound_fat(rng: random.Random, entry: dict[str, Any], grams: float, whole: bool) -> None:
    entry.pop("piece", None)
    entry["min"] = 0 if rng.random() < 0.4 else int(grams * rng.uniform(0, 0.8))
    entry["max"] = int(grams * rng.uniform(1.05, 1.8)) + (12 if whole else 2)
    if rng.random() < 0.6:
        entry["grams"] = rng.randint(0, entry["max"])


def _targets(
    rng: random.Random,
    servings: int,
    entries: Sequence[Mapping[str, Any]],
    rows: Rows,
    witness: Sequence[float],
    kind: str,
    possible: bool,
) -> dict[str, Any]:
    def serving(nutrient: str) -> float:
        return _total(nutrient, entries, rows, witness) / servings

    fat, net = serving("fat"), serving("net_carbs")
    ratio = fat / (serving("protein") + net + 1e-9)
    least = round(ratio * rng.uniform(0.85, 0.99), rng.choice((1, 2, 2)))
    if least > ratio and possible:
        least = round(least - 0.1, 1)
    ceiling = round(net * rng.uniform(1.01, 1.4) + 0.05, rng.choice((1, 2)))
    if not possible:
        least = round(ratio * rng.uniform(0.95, 1.6), 2)
        ceiling = round(net * rng.uniform(0.4, 1.1) + 0.01, 2)
    targets: dict[str, Any] = {"ratio": least, "net_carbs": ceiling + 0.05 if possible else ceiling}
    if rng.random() < 0.3:
        targets["ratio"] = {"min": least, "max": round(max(ratio, least) * rng.uniform(1.02, 1.3) + 0.01, 2)}
    if kind != "plain":
        chances = {"protein": 0.35, "energy": 0.3, "fibre": 0.15, "sodium": 0.2, "carbs": 0.1}
        for name, chance in chances.items():
            if rng.random() < chance:
                targets[name] = _around(rng, name, serving(name), possible)
        if rng.random() < 0.1:
            targets["fat"] = {"min": round(fat * 0.8, 1)}
    targets["net_carbs"] = round(targets["net_carbs"], 2)
    if any(row["carb_basis"] == "available" and not row["fibre_g"] for row in rows):
        targets.pop("carbs", None)  # total carbs are unknown there, so no maximum on them can be kept
    return targets


def _shares(rng: random.Random, recipe: Mapping[str, Any], rows: Rows, witness: Sequence[float],
            possible: bool) -> dict[str, dict[str, float]]:
    """One or two of the quotients that the second opinion knows, at least or at most near those of the dish."""
    from tests.oracle.second_opinion import QUOTIENTS, Dish

    def known(name: str) -> bool:
        above, below = QUOTIENTS[name]
        return all(k in DERIVED or all(row.get(f"{k}_g") for row in rows) for k in (*above, *below))

    dish = Dish({key: value for key, value in recipe.items() if key in ("servings", "ingredients")}, rows)
    found: dict[str, dict[str, float]] = {}
    usual = [name for name in QUOTIENTS if known(name)]
    for name in rng.sample(usual, min(len(usual), rng.randint(1, 2))):
        over, under = (sum(float(amounts[i]) * w for i, w in enumerate(witness)) for amounts in dish.quotient(name))
        share = over / max(under, 1e-6)
        least = min(0.99, round(share * rng.uniform(0.85, 0.995 if possible else 1.15), 3))
        most = round(max(least + 0.001, min(1.0, share * rng.uniform(1.005 if possible else 0.9, 1.2) + 0.001)), 3)
        ends = rng.choice(({"min"}, {"max"}, {"min", "max"}))
        found[name] = {end: value for end, value in (("min", least), ("max", most)) if end in ends}
    return found


def _around(rng: random.Random, name: str, value: float, possible: bool) -> Any:
    low = round(value * rng.uniform(0.6, 0.97 if possible else 1.2), 1)
    high = round(max(low, value) * rng.uniform(1.03, 1.5) + 0.2, 1)
    if name == "sodium":
        return {"max": high if possible else round(value * rng.uniform(0.7, 1.2) + 1, 1)}
    if name == "carbs":
        return {"max": high}
    if name in ("protein", "fibre") and rng.random() < 0.7:
        return {"min": low}
    return {"min": low, "max": high}


def label_of(entry: Mapping[str, Any]) -> str:
    return str(entry.get("label", entry["food"]))


def _parts(
    rng: random.Random, entries: list[dict[str, Any]], witness: Sequence[float], possible: bool
) -> dict[str, dict[str, float]]:
    if rng.random() < 0.5:
        return {}
    parts: dict[str, dict[str, float]] = {}
    for name in ("base", "filling", "topping")[: rng.randint(1, 3)]:
        members = [i for i, entry in enumerate(entries) if "part" not in entry and rng.random() < 0.4]
        if len(members) < 2:
            continue
        for i in members:
            entries[i]["part"] = name
        weight = sum(witness[i] for i in members) * (1 if possible else rng.uniform(0.85, 1.15))
        low, high = int(weight * rng.uniform(0.75, 0.98)), int(weight * rng.uniform(1.02, 1.4)) + 2
        sides = rng.choice((("min", "max"), ("min", "max"), ("min",), ("max",)))
        parts[name] = {side: low if side == "min" else high for side in sides}
    return parts


def _proportions(
    rng: random.Random,
    entries: Sequence[Mapping[str, Any]],
    witness: Sequence[float],
    parts: Mapping[str, Any],
    possible: bool,
) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    labels = [label_of(entry) for entry in entries]
    for _ in range(rng.choice((0, 0, 1, 1, 2))):
        part = rng.choice(list(parts)) if parts else None
        in_part = [i for i, entry in enumerate(entries) if part and entry.get("part") == part]
        shape = rng.choice(("in part", "in batch", "to labels", "part in batch"))
        if shape == "in part" and part:
            of, to = rng.sample(in_part, rng.randint(1, len(in_part) - 1)), in_part
            entry: dict[str, Any] = {"of": [labels[i] for i in of], "to": part}
        elif shape == "part in batch" and part:
            of, to = in_part, list(range(len(entries)))
            entry = {"of": part, "to": "batch"}
        elif shape == "to labels":
            mixed = rng.sample(range(len(entries)), rng.randint(2, min(5, len(entries))))
            of, to = mixed[:1], mixed[1:]
            entry = {"of": [labels[i] for i in of], "to": [labels[i] for i in to]}
        else:
            of, to = rng.sample(range(len(entries)), rng.randint(1, 3)), list(range(len(entries)))
            entry = {"of": [labels[i] for i in of], "to": "batch"}
        share = sum(witness[i] for i in of) / max(sum(witness[i] for i in to), 1e-6)
        share *= 1 if possible else rng.uniform(0.8, 1.25)
        low, high = int(1000 * share * rng.uniform(0.5, 0.97)) / 1000, int(1000 * share * 1.35 + 5) / 1000
        if set(of) <= set(to):  # of a whole no more than all of it can be asked for
            low, high = min(low, 1.0), min(high, 1.0)
        sides = rng.choice(("min", "max", "both"))
        if sides != "max":
            entry["min"] = low
        if sides != "min":
            entry["max"] = high
        found.append(entry)
    return found


def _choose(rng: random.Random, entries: list[dict[str, Any]], free: Sequence[int]) -> list[dict[str, Any]]:
    """One or two groups of candidates; most members may be left out, now and then one may not."""
    groups = []
    for _ in range(rng.choice((1, 1, 1, 2))):
        members = rng.sample(list(free), min(len(free), rng.randint(2, 4)))
        for i in members:
            if rng.random() < 0.9:
                entries[i]["min"] = 0
        labels = [label_of(entries[i]) for i in members]
        groups.append({"from": labels, "at_most": rng.randint(1, len(members) - 1)})
    return groups


# --- files --------------------------------------------------------------------------------------------


def write_table(path: str | Path, rows: Rows) -> None:
    """Write rows as a composition CSV, columns in the order they first appear."""
    columns = list(dict.fromkeys(column for row in rows for column in row))
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def to_toml(recipe: Mapping[str, Any]) -> str:
    """A recipe as TOML text: `tomllib.loads` gives the same mapping back."""
    lines, tables = [], []
    for key, value in recipe.items():
        if isinstance(value, Mapping):
            nested = any(isinstance(inner, Mapping) for inner in value.values())
            if key == "parts" and nested:
                for name, inner in value.items():
                    tables.append(_table(f"[{_key(key)}.{_key(name)}]", inner))
            else:
                tables.append(_table(f"[{_key(key)}]", value))
        elif isinstance(value, list) and value and all(isinstance(entry, Mapping) for entry in value):
            tables += [_table(f"[[{_key(key)}]]", entry) for entry in value]
        else:
            lines.append(f"{_key(key)} = {_value(value)}")
    return "\n\n".join(["\n".join(lines), *tables]).lstrip("\n") + "\n"


def _table(heading: str, entries: Mapping[str, Any]) -> str:
    return "\n".join([heading, *(f"{_key(key)} = {_value(value)}" for key, value in entries.items())])


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(key)} = {_value(inner)}" for key, inner in value.items()) + "}"
    return "[" + ", ".join(_value(inner) for inner in value) + "]"
