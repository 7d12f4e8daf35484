"""Everything at once in one recipe: what no other sweep draws together.

Batches of 2 g to 50 kg in 1 to 500 servings, 3 to 40 ingredients; pieces, steps of 0.01 to 10 g and weights off the
grid beside one another, `keep`, yields, a part, proportions, up to three choices that overlap; bands of several targets
at once, as wide as a tenth or held to exactly a value, around a dish on the steps. SCIP judges. `ALL_TOGETHER` says how
many are drawn in the long run.
"""

from __future__ import annotations

import math
import os
import random
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Recipe, recipe_from
from tests.kitchen import table
from tests.oracle.recipes import label_of, random_table
from tests.solving.swept import Sweep

narrow_bands = pytest.importorskip("tests.solving.test_narrow_bands")
second_opinion = pytest.importorskip("tests.oracle.second_opinion")

FEW, MANY = 4, int(os.environ.get("ALL_TOGETHER", "400"))
WIDTHS = (0.1, 0.1, 0.003, 0.00002, 0.0)

Written = dict[str, Any]


def together(seed: int, folder: Path) -> tuple[Written, list[dict[str, str]], Recipe]:
    """A drawn recipe with some of everything."""
    rng = random.Random(f"together {seed}")
    count, batch = rng.choice((3, 5, 8, 12, 16, 24, 40)), rng.choice((2, 30, 400, 1000, 3000, 10_000, 50_000))
    rows = [row | {"fibre_g": row["fibre_g"] or "0.00"} for row in random_table(seed, max(24, count))]
    foods = [rows[0], *rng.sample(rows[1:], count - 1)]  # the first is a fat
    drawn = [_ingredient(rng, row, batch / count, place < 2) for place, row in enumerate(foods)]
    entries, weights = [entry for entry, _ in drawn], [grams for _, grams in drawn]
    written: Written = {"title": f"together {seed}", "servings": rng.choice((1, 2, 4, 7, 12, 50, 137, 500)),
                        "ingredients": entries}
    choices = _choices(rng, entries, weights)
    written["targets"] = _targets(rng, written, rows, weights)
    written |= _groups(rng, entries, weights) | ({"choose": choices} if choices else {})
    return written, rows, recipe_from(written, table(folder, *rows))


def _ingredient(rng: random.Random, row: Mapping[str, str], usual: float, free: bool) -> tuple[Written, float]:
    """An ingredient and its weight in a dish on the steps, g."""
    grams, places = usual * rng.uniform(0.2, 1.8), 3 if usual < 2 else 2 if usual < 20 else rng.choice((0, 1, 2))
    entry: Written = {"food": row["food"]}
    if not free and rng.random() < 0.25:
        return entry | {"grams": round(grams, places)}, round(grams, places)
    step: float = 1
    if rng.random() < 0.6:
        key = rng.choice(("piece", "step", "step"))
        step = rng.choice((round(usual / 6, 2) or 0.1, 12, 38, 57.5, 500 if usual > 5000 else 4)) if key == "piece" \
            else rng.choice((0.1, 0.1, 0.25, 0.5, 2, 2.5, 5, 7, 0.01 if usual < 20 else 10))
        entry[key] = step
    low = 0 if rng.random() < 0.35 else round(grams * rng.uniform(0, 0.9), places)
    high = round(max(grams * rng.uniform(1.1, 2.5), low + 3 * step), places)
    start = round(rng.choice((grams * rng.uniform(0.6, 1.4), low, high, 0, high * 1.5)), places)
    if rng.random() < 0.25:
        entry["keep"] = rng.choice((0.25, 0.5, 2, 4.5, 10))
    if rng.random() < 0.1:
        entry["yield"] = 1.2
    whole = min(max(round(grams / step), math.ceil(low / step)), math.floor(high / step)) * step
    return entry | {"grams": start, "min": low, "max": high}, whole


def _choices(rng: random.Random, entries: Sequence[Written], weights: list[float]) -> list[Written]:
    """Up to three choices, which may overlap; what the dish does not use of them weighs nothing in it."""
    free = [place for place, entry in enumerate(entries) if "min" in entry]
    found: dict[frozenset[str], Written] = {}
    for _ in range(rng.choice((0, 1, 2, 3)) if len(free) > 2 else 0):
        members = rng.sample(free, rng.randint(2, min(len(free), 20)))
        most = rng.randint(1, max(1, len(members) // 2))
        for place in members:
            entries[place]["min"] = 0
        for place in members[most:]:
            weights[place] = 0
        labels = [label_of(entries[place]) for place in members]
        found[frozenset(labels)] = {"from": labels, "at_most": most}
    return list(found.values())


def _targets(rng: random.Random, written: Written, rows: Sequence[Mapping[str, str]],
             weights: Sequence[float]) -> Written:
    """A ratio, net carbs and up to four more, each a band around that of the dish, or one end."""
    dish, width = second_opinion.Dish({**written, "targets": {}}, rows), rng.choice(WIDTHS)

    def of_dish(name: str) -> float:
        return sum(float(amount) * weights[place] for place, amount in dish.amounts(name).items())

    def band(value: float) -> Written:
        least = float(f"{max(value, 1e-4) * (1 - width * rng.random()):.6g}")
        return {"min": least, "max": float(f"{least * (1 + width):.7g}")}

    targets: Written = {"ratio": band(of_dish("fat") / (of_dish("protein") + of_dish("net_carbs") + 1e-9))}
    names = ["net_carbs", *(name for name in ("protein", "fibre", "sodium", "energy", "fat") if rng.random() < 0.4)]
    for name in names:
        ends = band(of_dish(name) / written["servings"] + 1e-5)
        targets[name] = rng.choice((ends, {"min": ends["min"]} if name != "net_carbs" else ends, {"max": ends["max"]}))
    return targets


def _groups(rng: random.Random, entries: Sequence[Written], weights: Sequence[float]) -> Written:
    """A part and two proportions, at times."""
    found: Written = {}
    members = [place for place in range(len(entries)) if rng.random() < 0.4]
    inside = sum(weights[place] for place in members)
    if len(members) > 1 and inside and rng.random() < 0.6:
        for place in members:
            entries[place]["part"] = "filling"
        found["parts"] = {"filling": {"min": round(inside * 0.95, 3), "max": round(inside * 1.05 + 0.01, 3)}}
    shares = []
    for _ in range(rng.choice((0, 1, 2))):
        of = rng.sample(range(len(entries)), rng.randint(1, min(3, len(entries))))
        share = sum(weights[place] for place in of) / max(sum(weights), 1e-6)
        shares.append({"of": [label_of(entries[place]) for place in of], "to": "batch",
                       "max": min(1.0, round(share * 1.1 + 0.005, 3))})
    return found | ({"proportions": shares} if shares else {})


def swept(seeds: range, folder: Path) -> Sweep:
    sweep = Sweep()
    for seed in seeds:
        with sweep.one(f"together {seed}"):
            narrow_bands.judged(*together(seed, folder), sweep, f"together {seed}")
    return sweep


def test_all_together_is_answered(tmp_path: Path) -> None:
    counts = swept(range(FEW), tmp_path).ended()
    assert counts["solved"] + counts["impossible"] + counts["undecided"] == FEW


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_many_all_together_are_answered(part: int, tmp_path: Path) -> None:
    size = MANY // 4
    sweep = swept(range(1000 * part, 1000 * part + size), tmp_path)
    counts = sweep.ended()
    assert counts["undecided"] <= max(2, size // 6)
