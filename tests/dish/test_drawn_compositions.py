"""Whatever is held at the ends of the intervals is kept by every composition drawn inside them.

Compositions are drawn here from the cells of the table, without the package's own reckoning: every figure between its
ends, half of them at a corner, and carbohydrate by difference moved by what the drawn water, protein, fat, ash and
alcohol are off their figures.
"""

from __future__ import annotations

import csv
import itertools
import random
from collections.abc import Iterator, Mapping
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import ratio_solver as rs
from ratio_solver.dish.constraints import limits_of
from tests.kitchen import dish, food, table

TABLE = Path(__file__).resolve().parents[2] / "data" / "foods.csv"
FOODS = rs.load_foods()
ROWS = {row["food"]: row for row in csv.DictReader(TABLE.open(encoding="utf-8", newline=""))}
ENDS = {"mean": ("low", "high"), "food": ("lowest", "highest")}
BESIDE = ("water_g", "protein_g", "fat_g", "ash_g", "alcohol_g")
DRAWN = (*BESIDE, "fibre_g", "sodium_mg")
COMPOSITIONS = 2000

Drawn = Mapping[str, np.ndarray]


def figure(row: Mapping[str, str], column: str) -> float:
    return float(row[column] or 0)


def compositions(row: Mapping[str, str], kind: str, rng: np.random.Generator, count: int = COMPOSITIONS) -> Drawn:
    """Figures per 100 g, each of shape (count,)."""
    low, high = ENDS[kind]
    found = {}
    for column in DRAWN:
        least, most = (float(row[f"{column}_{end}"] or row[column] or 0) for end in (low, high))
        share = rng.random(count)
        corner = rng.random(count) < 0.5
        found[column] = least + (most - least) * np.where(corner, np.round(share), share)
    off = sum(found[column] - figure(row, column) for column in BESIDE)
    found["carbs_g"] = np.maximum(0.0, figure(row, "carbs_g") - off)
    found["net_carbs_g"] = np.maximum(0.0, found["carbs_g"] - found["fibre_g"])
    return found


def served(answer: rs.Proposal | rs.Check, kind: str, seed: int) -> dict[str, np.ndarray]:
    """Nutrients per serving and the ratio of drawn compositions, each of shape (count,)."""
    rng = np.random.default_rng(seed)
    total = dict.fromkeys((*DRAWN, "carbs_g", "net_carbs_g"), np.zeros(COMPOSITIONS))
    for weight in answer.weights:
        drawn = compositions(ROWS[weight.food], kind, rng)
        total = {column: total[column] + drawn[column] * float(weight.grams) / 100 for column in total}
    total = {column: amounts / answer.recipe.servings for column, amounts in total.items()}
    return total | {"ratio": total["fat_g"] / (total["protein_g"] + total["net_carbs_g"])}


def broken(answer: rs.Proposal, kind: str, seed: int = 1) -> list[str]:
    amounts = served(answer, kind, seed)
    wrong = []
    for target in answer.recipe.targets:
        if target.minimum is not None and (amounts[target.nutrient] < target.minimum - 1e-7).any():
            wrong.append(f"{target.nutrient} under {target.minimum}")
        if target.maximum is not None and (amounts[target.nutrient] > target.maximum + 1e-7).any():
            wrong.append(f"{target.nutrient} over {target.maximum}")
    return wrong


BASES = ("onion, raw", "celeriac, raw", "cauliflower, raw", "spinach, raw", "almonds", "avocado, raw")
LEAN = ("egg, whole, raw", "chicken breast, skinless, raw", "cheddar", "beef liver, raw", "ricotta, whole milk")
FATS = ("butter, salted", "cream, heavy (36 % fat)", "mayonnaise", "egg yolk, raw", "pork jowl, raw")


def drawn_recipe(rng: random.Random) -> rs.Recipe:
    """A dish of foods with intervals, its targets near what it can do."""
    solid, lean = rng.choice(BASES), rng.choice(LEAN)
    fats = rng.sample(FATS, 2)
    items = [
        {"food": solid, "grams": rng.randint(100, 400)},
        {"food": lean, "grams": rng.randint(60, 200), "min": 40, "max": 250},
        *({"food": fat, "grams": rng.randint(0, 60), "min": 0, "max": 900} for fat in fats),
    ]
    targets: dict[str, object] = {"ratio": rng.choice([0.8, 1.0, 1.5, {"min": 1.0, "max": 3.0}]),
                                  "net_carbs": rng.randint(8, 40)}
    if rng.random() < 0.5:
        targets["protein"] = {"min": rng.randint(3, 9)}
    if rng.random() < 0.3:
        targets["sodium"] = {"max": rng.randint(300, 900)}
    return rs.recipe_from(dish(items, servings=rng.randint(2, 4), targets=targets), FOODS)


@pytest.mark.parametrize("kind", ["mean", "food"])
def test_no_drawn_composition_breaks_what_is_held_at_the_ends(kind: str) -> None:
    rng, solved, loose = random.Random(9), 0, 0
    for _ in range(24):
        recipe = drawn_recipe(rng)
        answer = rs.solve(recipe, guaranteed=kind)
        if answer.outcome == "solved":
            solved += 1
            assert broken(answer, kind) == []
        plain = rs.solve(recipe)
        loose += plain.outcome == "solved" and bool(broken(plain, kind))
    assert solved >= 8
    assert loose >= 8  # without it the same draws do break the same targets


@pytest.mark.parametrize("kind", ["mean", "food"])
@pytest.mark.parametrize("name", ["onion, raw", "butter, salted"])
def test_onion_and_butter(name: str, kind: str) -> None:
    """The carbohydrate of an onion is not exact: it is the difference of water and the rest."""
    items = [{"food": name, "grams": 100}, {"food": "egg, whole, raw", "grams": 100},
             {"food": "cream, heavy (36 % fat)", "grams": 100, "min": 0, "max": 2000}]
    ratio, net = (1.5, 25) if kind == "mean" else (1.0, 60)
    recipe = rs.recipe_from(dish(items, targets={"ratio": ratio, "net_carbs": net}), FOODS)
    answer = rs.solve(recipe, guaranteed=kind)
    assert answer.outcome == "solved"
    assert broken(answer, kind) == []
    amounts = served(answer, kind, 1)
    row = ROWS[name]
    alone = compositions(row, kind, np.random.default_rng(2))
    assert np.ptp(alone["carbs_g"]) > 0.5, "its carbohydrate lies in an interval"
    assert amounts["ratio"].min() < float(answer.facts.ratio)


def corners(row: Mapping[str, str], kind: str) -> Iterator[tuple[Fraction, Fraction, Fraction]]:
    """Fat, protein and net carbs at every corner of a food's intervals, exact."""
    columns = (*BESIDE, "fibre_g")
    pairs = [[Fraction(row[f"{column}_{end}"] or row[column] or 0) for end in ENDS[kind]] for column in columns]
    for corner in itertools.product(*pairs):
        at = dict(zip(columns, corner, strict=True))
        off = sum((at[column] - Fraction(row[column] or 0) for column in BESIDE), Fraction(0))
        carbs = max(Fraction(0), Fraction(row["carbs_g"]) - off)
        yield at["fat_g"], at["protein_g"], max(Fraction(0), carbs - at["fibre_g"])


@pytest.mark.parametrize("kind", ["mean", "food"])
@pytest.mark.parametrize("end", ["minimum", "maximum"])
@pytest.mark.parametrize("bound", [0.5, 2.0, 4.0])
@pytest.mark.parametrize("formula", ["net", "ketogenic-quotient"])
def test_the_row_of_a_food_is_its_worst_corner(kind: str, end: str, bound: float, formula: str) -> None:
    """Exact for at least, and for at most of fat : (protein + net carbs); else never looser, where it is stricter."""
    for name in ("onion, raw", "butter, salted", "almonds", "egg, whole, raw", "celeriac, raw"):
        recipe = rs.recipe_from(dish([{"food": name, "grams": 100}], policy={"ratio_formula": formula}), FOODS)
        recipe = recipe.with_targets(rs.Target("ratio", **{end: bound}))
        (limit,) = limits_of(recipe, kind)
        b, sign = Fraction(bound), 1 if end == "minimum" else -1

        def margin(fat: Fraction, protein: Fraction, net: Fraction, b: Fraction = b, sign: int = sign) -> Fraction:
            above, below = (fat, protein + net) if formula == "net" else (
                Fraction("0.90") * fat + Fraction("0.46") * protein,
                net + Fraction("0.58") * protein + Fraction("0.10") * fat)
            return sign * (above - b * below)

        worst = min(margin(*corner) for corner in corners(ROWS[name], kind))
        held = limit.margin([Fraction(100)])
        if end == "minimum" or formula == "net":
            assert held == worst, name
        else:
            assert held <= worst, name


def test_an_own_interval_of_the_carbohydrate_comes_before_the_difference(tmp_path: Path) -> None:
    row = food("paste", 20, 10, 10, 0, water_g=58, ash_g=2, water_g_low=50, water_g_high=66,
               carbs_g_low=9, carbs_g_high=12)
    recipe = rs.recipe_from(dish([{"food": "paste", "grams": 100}], targets={"net_carbs": 12}), table(tmp_path, row))
    assert rs.check(recipe, guaranteed="mean").kept
    assert rs.check(recipe, guaranteed="food").kept  # the mean's stands for both
    del row["carbs_g_low"], row["carbs_g_high"]
    recipe = rs.recipe_from(dish([{"food": "paste", "grams": 100}], targets={"net_carbs": 12}), table(tmp_path, row))
    found = rs.check(recipe, guaranteed="mean")
    assert not found.kept and found.limits[0].actual == 18


@pytest.mark.parametrize("kind", ["mean", "food"])
def test_energy_moves_with_its_parts_and_with_what_they_leave_of_the_carbohydrate(kind: str) -> None:
    """At every corner: the table's energy and the change by 9, 4, 4, 2 and 7 kcal/g (Annex XIV); the most there is."""
    columns = (*BESIDE, "fibre_g")
    for name in ("onion, raw", "butter, salted", "almonds", "egg, whole, raw", "beer", "avocado, raw"):
        row, held = ROWS[name], rs.recipe_from(dish([{"food": name, "grams": 100}]), FOODS)
        pairs = [[Fraction(row[f"{column}_{end}"] or row[column] or 0) for end in ENDS[kind]] for column in columns]
        figures = {column: Fraction(row[column] or 0) for column in (*columns, "carbs_g")}

        def kcal(at: Mapping[str, Fraction]) -> Fraction:
            return (9 * at["fat_g"] + 4 * at["protein_g"] + 7 * at["alcohol_g"] + 2 * at["fibre_g"]
                    + 4 * max(Fraction(0), at["carbs_g"] - at["fibre_g"]))

        found = []
        for corner in itertools.product(*pairs):
            at = dict(zip(columns, corner, strict=True))
            off = sum((at[column] - figures[column] for column in BESIDE), Fraction(0))
            at["carbs_g"] = max(Fraction(0), figures["carbs_g"] - off)
            found.append(max(Fraction(0), Fraction(row["energy_kcal"]) + kcal(at) - kcal(figures)))
        limits = [limits_of(held.with_targets(rs.Target("energy_kcal", **{end: 100.0})), kind)[0]
                  for end in ("minimum", "maximum")]
        least, most = (limit.numerator[0] * 100 for limit in limits)
        assert least <= min(found) and most == max(found), name
