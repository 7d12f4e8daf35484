"""Targets that hold with a probability: against a conic solver, against drawn errors, against every point there is."""

from __future__ import annotations

import csv
import itertools
import json
import math
import random
from fractions import Fraction
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import ratio_solver as rs
from ratio_solver.cli import main
from ratio_solver.dish.confidence import cones_of
from ratio_solver.dish.constraints import limits_of
from tests.kitchen import dish
from tests.oracle import cone

ROOT = Path(__file__).resolve().parents[2]
FOODS = rs.load_foods()
with (ROOT / "data" / "foods.csv").open(encoding="utf-8", newline="") as file:
    ROWS = {row["food"]: row for row in csv.DictReader(file)}

SOLID = ("onion, raw", "cauliflower, raw", "spinach, raw", "almonds", "avocado, raw")
LEAN = ("egg, whole, raw", "chicken breast, skinless, raw", "cheddar", "beef liver, raw", "ricotta, whole milk")
FATS = ("butter, salted", "cream, heavy (36 % fat)", "mayonnaise", "egg yolk, raw", "pork jowl, raw")
COLUMNS = {"ratio": "ratio", "net_carbs": "net_carbs_g", "protein": "protein_g", "sodium": "sodium_mg"}


def written(rng: random.Random) -> dict[str, Any]:
    solid, lean, fats = rng.choice(SOLID), rng.choice(LEAN), rng.sample(FATS, 2)
    targets: dict[str, Any] = {
        "ratio": rng.choice([1.0, 1.5, 2.0, {"min": 1.0, "max": 2.5}]), "net_carbs": rng.randint(4, 20)}
    if rng.random() < 0.6:
        targets["protein"] = {"min": rng.randint(4, 10)}
    if rng.random() < 0.3:
        targets["sodium"] = {"max": rng.randint(300, 900)}
    return dish([
        {"food": solid, "grams": rng.randint(100, 400)},
        {"food": lean, "grams": rng.randint(60, 200), "min": 40, "max": 250},
        *({"food": fat, "grams": rng.randint(0, 60), "min": 0, "max": 600} for fat in fats),
    ], servings=rng.randint(2, 4), targets=targets)


def by_definition(recipe: rs.Recipe, kind: str) -> list[cone.Held]:
    targets = {target.nutrient: (target.minimum, target.maximum) for target in recipe.targets}
    return cone.held([ROWS[item.food.name] for item in recipe.ingredients], targets, recipe.servings, kind)


def second_opinion(recipe: rs.Recipe, probability: float, kind: str) -> tuple[float, np.ndarray] | None:
    items = recipe.ingredients
    start = np.array(recipe.starts)
    low = np.array([i.start if i.minimum is None else i.minimum for i in items])
    high = np.array([i.start if i.maximum is None else i.maximum for i in items])
    return cone.least_moved(start, low, high, by_definition(recipe, kind), probability)


def compared(seeds: range) -> tuple[int, int]:
    """How many recipes are solved and impossible, the objective within 1e-5 of the conic solver's in each."""
    solved = impossible = 0
    for seed in seeds:
        rng = random.Random(seed)
        recipe = rs.recipe_from(written(rng), FOODS)
        probability, kind = rng.choice([0.8, 0.95, 0.99]), rng.choice(["mean", "mean", "food"])
        answer = rs.solve(recipe, exact=True, confidence=rs.Confidence(probability, kind))
        other = second_opinion(recipe, probability, kind)
        if answer.outcome != "solved":
            impossible += 1
            assert other is None, seed
            continue
        solved += 1
        assert other is not None, seed
        assert float(answer.objective.value) == pytest.approx(other[0], rel=1e-5, abs=1e-4), seed
        assert answer.objective.proven
        weights, z = np.array([float(w.grams) for w in answer.weights]), NormalDist().inv_cdf(probability)
        assert min(held.margin(weights, z) for held in by_definition(recipe, kind)) > -1e-4, seed
    return solved, impossible


def test_a_conic_solver_finds_the_same_optimum() -> None:
    solved, impossible = compared(range(40))
    assert solved >= 20 and impossible >= 3


@pytest.mark.slow
def test_a_conic_solver_finds_the_same_optimum_many_times() -> None:
    solved, impossible = compared(range(100, 500))
    assert solved >= 200 and impossible >= 30


def drawn_margins(recipe: rs.Recipe, weights: np.ndarray, target: str, bound: float, least: bool, kind: str,
                  count: int, seed: int) -> np.ndarray:
    """What the target leaves over for drawn errors: normal, carbohydrate by difference of the drawn parts."""
    rng = np.random.default_rng(seed)
    total = dict.fromkeys((*cone.PRIMITIVES, "net_carbs_g"), np.zeros(count))
    for item, grams in zip(recipe.ingredients, weights, strict=True):
        row = ROWS[item.food.name]
        drawn = {column: cone.figure(row, column) + cone.deviation(row, column, kind) * rng.standard_normal(count)
                 for column in cone.PRIMITIVES}
        off = sum(drawn[column] - cone.figure(row, column) for column in cone.BESIDE)
        drawn["net_carbs_g"] = cone.figure(row, "carbs_g") - off - drawn["fibre_g"]
        total = {column: total[column] + drawn[column] * grams / 100 for column in total}
    value = total["fat_g"] - bound * (total["protein_g"] + total["net_carbs_g"]) if target == "ratio" else \
        total[target] / recipe.servings - bound
    return value if least else -value


@pytest.mark.parametrize("kind", ["mean", "food"])
def test_of_drawn_errors_one_in_twenty_breaks_a_target_that_binds(kind: str) -> None:
    """The share of broken draws lies within 3.3 standard deviations of a binomial count around 5 %."""
    count, judged = 20_000, 0
    band = 3.3 * math.sqrt(0.05 * 0.95 / count)
    for seed in range(20):
        recipe = rs.recipe_from(written(random.Random(seed)), FOODS)
        answer = rs.solve(recipe, exact=True, confidence=rs.Confidence(0.95, kind))
        if answer.outcome != "solved":
            continue
        weights = np.array([float(w.grams) for w in answer.weights])
        for state in answer.limits:
            if state.limit.kind == "target":
                name = COLUMNS[state.limit.name.replace(" ", "_")]
                margins = drawn_margins(recipe, weights, name, float(state.limit.bound), state.limit.sense == ">=",
                                        kind, count, seed)
                broken = float((margins < 0).mean())
                assert broken < 0.05 + band, (seed, name)
                if state.binding and np.ptp(margins) > 1e-6:
                    judged += 1
                    assert abs(broken - 0.05) < band, (seed, name)
    assert judged >= 5


@pytest.mark.parametrize("seed", range(6))
def test_on_the_steps_it_is_the_best_of_all_points(seed: int) -> None:
    """Two weights: every point there is, judged by the formula from its definition."""
    rng = random.Random(seed)
    made = dish([{"food": rng.choice(SOLID), "grams": rng.randint(60, 120)},
                 {"food": "egg, whole, raw", "grams": 60, "min": 30, "max": 90},
                 {"food": rng.choice(FATS[:3]), "grams": 30, "min": 0, "max": 120, "step": rng.choice([1, 2])}],
                targets={"ratio": rng.choice([1.0, 1.5]), "protein": {"min": 3}}, servings=2)
    recipe = rs.recipe_from(made, FOODS)
    answer = rs.solve(recipe, confidence=0.95)
    z = NormalDist().inv_cdf(0.95)
    targets = by_definition(recipe, "mean")
    fixed = recipe.ingredients[0].start
    step = int(recipe.ingredients[2].step or 1)
    points = itertools.product(range(30, 91), range(0, 121, step))
    kept = [(abs(egg - 60) + abs(fat - 30), egg, fat) for egg, fat in points
            if all(held.margin(np.array([fixed, egg, fat]), z) >= 0 for held in targets)]
    if not kept:
        assert answer.outcome == "impossible"
        return
    assert answer.outcome == "solved" and answer.objective.proven
    assert float(answer.objective.value) == min(kept)[0]
    weights = [weight.grams for weight in answer.weights]
    assert (float(answer.objective.value), *map(float, weights[1:])) in kept
    cones = cones_of(recipe, limits_of(recipe), rs.Confidence(0.95))
    assert all(one.holds(weights) for one in cones)  # in rationals, both sides squared


def test_the_formula_by_hand(tmp_path: Path) -> None:
    """Fat 20 +- 1.96, water 60 +- 3.92: standard deviations 1 and 2 g in 100 g; protein's error cancels.

    Of 100 g at a ratio of at least 1: row 20 - (10 + 10) and errors 1 x (1 + 1) for fat, 2 for water: sqrt(8).
    """
    from tests.kitchen import food, table

    row = food("paste", 20, 10, 10, 0, water_g=60, ash_g=0, fat_g_low=18.04, fat_g_high=21.96, protein_g_low=4,
               protein_g_high=16, water_g_low=56.08, water_g_high=63.92)
    recipe = rs.recipe_from(dish([{"food": "paste", "grams": 100}], targets={"ratio": 1, "net_carbs": 14}),
                            table(tmp_path, row))
    ratio, carbs = cones_of(recipe, limits_of(recipe), rs.Confidence(0.95))
    assert sum(part**2 for part in (sum(e) * 100 for e in ratio.errors)) == 8
    # net carbs: fat 1, protein 6 / 1.96, water 2
    assert carbs.variance([Fraction(100)]) == 1 + (Fraction(6) / Fraction("1.96")) ** 2 + 4
    found = rs.check(recipe, confidence=0.95)
    assert not found.kept
    assert float(found.limits[0].actual) == pytest.approx((20 - 1.6448536269514722 * math.sqrt(8)) / 20)


def test_one_food_in_two_lines_has_one_error() -> None:
    once = dish([{"food": "egg, whole, raw", "grams": 200}], targets={"net_carbs": 3})
    twice = dish([{"food": "egg, whole, raw", "label": name, "grams": 100} for name in ("yolky", "foamy")],
                 targets={"net_carbs": 3})
    one, two = (rs.check(rs.recipe_from(made, FOODS), confidence=0.95) for made in (once, twice))
    assert one.limits[0].actual == two.limits[0].actual


def test_prices_are_those_of_a_bound_moved_a_little() -> None:
    checked = 0
    for seed in range(25):
        recipe = rs.recipe_from(written(random.Random(seed)), FOODS)
        answer = rs.solve(recipe, exact=True, confidence=0.95)
        if answer.outcome != "solved":
            continue
        for state in answer.limits:
            if state.limit.kind != "target" or not state.binding or not state.price:
                continue
            nutrient = COLUMNS[state.limit.name.replace(" ", "_")]
            target, step = recipe.target(nutrient), 1e-4
            assert target is not None
            moved = [rs.solve(recipe.with_targets(
                rs.Target(nutrient, float(state.limit.bound) + by, target.maximum) if state.limit.sense == ">=" else
                rs.Target(nutrient, target.minimum, float(state.limit.bound) + by)), exact=True, confidence=0.95)
                for by in (-step, step)]
            if all(one.outcome == "solved" for one in moved):
                slopes = [float(one.objective.value - answer.objective.value) / by
                          for one, by in zip(moved, (-step, step), strict=True)]
                if abs(slopes[0] - slopes[1]) < 1e-2 * abs(slopes[1]):  # no corner of the objective here
                    assert state.price == pytest.approx(slopes[1], rel=0.02), (seed, nutrient)
                    checked += 1
    assert checked >= 5


def test_a_choice_is_made_as_well_as_it_can_be() -> None:
    """One of two fats: the better of the two dishes in which the other may not be used."""
    items = [{"food": "onion, raw", "grams": 150}, {"food": "egg, whole, raw", "grams": 100},
             *({"food": name, "grams": 0, "min": 0, "max": 200} for name in ("butter, salted", "mayonnaise"))]
    made = dish(items, targets={"ratio": 2.0})
    choose = [{"from": ["butter, salted", "mayonnaise"], "at_most": 1}]
    chosen = rs.solve(rs.recipe_from(made | {"choose": choose}, FOODS), exact=True, confidence=0.95)
    alone = []
    for place in (2, 3):
        items = [item | {"max": 0} if number == place else item for number, item in enumerate(made["ingredients"])]
        alone.append(rs.solve(rs.recipe_from(made | {"ingredients": items}, FOODS), exact=True, confidence=0.95))
    assert float(chosen.objective.value) == pytest.approx(min(float(one.objective.value) for one in alone), abs=1e-5)


def test_more_confidence_costs_more_and_none_is_the_plain_answer() -> None:
    recipe = rs.recipe_from(written(random.Random(1)), FOODS)
    moved = [float(rs.solve(recipe, exact=True, confidence=p).objective.value) for p in (0.500001, 0.8, 0.95)]
    assert moved == sorted(moved)
    assert moved[0] == pytest.approx(float(rs.solve(recipe, exact=True).objective.value), abs=0.01)


def test_what_cannot_be_kept_has_a_conflict_and_cures_that_cure() -> None:
    found = 0
    for seed in range(5):
        made = written(random.Random(seed))
        made["targets"]["net_carbs"] = 2
        recipe = rs.recipe_from(made, FOODS)
        answer = rs.solve(recipe, confidence=0.95)
        if answer.outcome == "solved" or answer.diagnosis.steps:
            continue
        names = {(limit.name, limit.sense) for limit in answer.diagnosis.conflict}
        assert names
        for repair in answer.diagnosis.repairs:
            nutrient = COLUMNS[repair.limit.name.replace(" ", "_")]
            target = recipe.target(nutrient) or rs.Target(nutrient)
            least = repair.limit.sense == ">="

            step = 1.0 if repair.limit.unit == "mg" else 0.01
            for by, outcome in ((0.0, "solved"), (step if least else -step, "impossible")):
                value = float(repair.to) + by
                changed = rs.Target(nutrient, *((value, target.maximum) if least else (target.minimum, value)))
                assert rs.solve(recipe.with_targets(changed), confidence=0.95).outcome == outcome, (seed, nutrient, by)
            found += 1
    assert found >= 2


def test_a_menu_gives_the_answers_of_solve() -> None:
    rows, recipes = [], {}
    for seed in range(6):
        made = written(random.Random(seed))
        head = {"servings": made["servings"], "ratio": 1.2, "net_carbs": 15}
        recipes[f"dish {seed}"] = rs.recipe_from(made | {"targets": {"ratio": 1.2, "net_carbs": 15}}, FOODS)
        for item in made["ingredients"]:
            rows.append({"recipe": f"dish {seed}", **head, **item})
            head = {}
    frame = pd.DataFrame(rows, dtype=object)
    found = rs.solve_menu(frame, FOODS, rs.MenuOptions(confidence=0.95))
    for name, recipe in recipes.items():
        alone = rs.solve(recipe, confidence=0.95)
        mine = found.servings[found.servings["recipe"] == name].iloc[0]
        assert mine["outcome"] == alone.outcome
        if alone.outcome == "solved":
            grams = found.weights[found.weights["recipe"] == name]["grams"].tolist()
            assert grams == [float(weight.grams) for weight in alone.weights]
            assert "95 % probability" in mine["warnings"]


GRATIN = str(ROOT / "examples" / "celeriac-gratin.toml")


def run(*arguments: str) -> Any:
    return CliRunner().invoke(main, list(arguments))


def test_the_commands_say_what_it_means_and_what_is_exact() -> None:
    solved = run("solve", GRATIN, "--confidence", "0.9", "--net-carbs", "14", "--ratio", "1.5")
    assert solved.exit_code == 0, solved.output
    text = " ".join(solved.output.split())
    assert "each target by itself is held with 90 % probability" in text and "taken as exact:" in text
    assert "with 90 %)" in text and "guaranteed" not in text
    data = json.loads(run("check", GRATIN, "--confidence", "food:0.9", "--format", "json").stdout)
    assert (data["policy"]["confidence"], data["policy"]["intervals"]) == (0.9, "food")
    assert "celeriac, peeled" not in data["policy"]["taken_as_exact"]  # 0 g as written


@pytest.mark.parametrize(("words", "code"), [
    (["--confidence", "1"], 1), (["--confidence", "0.5"], 1), (["--confidence", "most:0.9"], 1),
    (["--confidence", "x"], 1),
    (["--confidence", "0.9", "--guaranteed"], 1), (["--confidence", "nan"], 1),
    (["--confidence", "0.9", "--scale-error", "1"], 2), (["--confidence", "0.9", "--what-if", "ratio=2"], 2),
])
def test_faults(words: list[str], code: int) -> None:
    result = run("solve", GRATIN, *words)
    assert result.exit_code == code
    assert result.stdout == "" and "--confidence" in result.stderr and "Traceback" not in result.stderr


@pytest.mark.parametrize("call", [rs.solve, rs.check])
def test_faults_in_the_library(call: Any) -> None:
    recipe = rs.recipe_from(written(random.Random(1)), FOODS)
    for confidence in (0.5, 1.0, float("nan")):
        with pytest.raises(rs.BadInput, match=r"above 0\.5 and below 1"):
            call(recipe, confidence=confidence)
    with pytest.raises(rs.BadInput, match="without --guaranteed"):
        call(recipe, confidence=0.9, guaranteed="food")
    with pytest.raises(rs.BadInput, match="without --guaranteed"):
        rs.solve_menu(pd.DataFrame([{"recipe": "a"}]), FOODS, rs.MenuOptions(confidence=0.9, guaranteed="mean"))
