"""The second opinion itself: solvers against each other, closed forms, published meals, files."""

from __future__ import annotations

import csv
import math
import random
import tomllib
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("ortools")

from tests.oracle import recipes, second_opinion
from tests.oracle.second_opinion import (
    Dish,
    best_ratio,
    by_ortools,
    faults_of,
    per_100g,
    range_of,
    solve_closest,
    solve_objective,
    solve_whole,
)

TABLES = [recipes.random_table(seed, 45) for seed in range(6)]


def drawn(seed: int, kind: str = "mixed") -> tuple[dict[str, Any], list[dict[str, str]]]:
    rows = TABLES[seed % len(TABLES)]
    return recipes.random_recipe(random.Random(seed), rows, kind=kind), rows


def food(name: str, fat: float, protein: float, carbs: float, **others: object) -> dict[str, str]:
    figures = {"fat_g": fat, "protein_g": protein, "carbs_g": carbs, "fibre_g": 0, **others}
    return {"food": name, "id": "", "carb_basis": "available"} | {k: str(v) for k, v in figures.items()}


# --- the solvers agree --------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["plain", "mixed"])
def test_glop_agrees_with_cbc(kind: str) -> None:
    pytest.importorskip("pulp")
    for seed in range(30):
        recipe, rows = drawn(seed, kind)
        recipe.pop("choose", None)
        mine, other = solve_closest(recipe, rows), solve_closest(recipe, rows, solver="PuLP")
        assert mine.status == other.status, seed
        if mine.status == "optimal":
            assert mine.objective == pytest.approx(other.objective, rel=1e-6, abs=1e-6), seed
            assert mine.objective == pytest.approx(mine.moved, rel=1e-9, abs=1e-9), seed
            assert faults_of(recipe, rows, mine.weights, 1e-6) == [], seed


@pytest.mark.parametrize("prefer", ["even", "cheapest", "lightest", "lowest-carb"])
def test_every_objective_agrees_with_another_simplex(prefer: str) -> None:
    for seed in range(40):
        recipe, rows = drawn(seed)
        mine, other = (solve_objective(recipe, rows, prefer, solver=name) for name in ("GLOP", "CLP"))
        assert mine.status == other.status, seed
        if mine.status == "optimal":
            assert mine.objective == pytest.approx(other.objective, rel=1e-6, abs=1e-7), seed
            tied = solve_objective(recipe, rows, prefer, tie_break=True)
            assert tied.objective == mine.objective, seed
            assert solve_closest(recipe, rows).objective - 1e-6 <= tied.moved <= mine.moved + 1e-6, seed
            assert faults_of(recipe, rows, tied.weights, 1e-6) == [], seed


def test_trying_every_choice_agrees_with_binaries() -> None:
    for seed in range(40):
        recipe, rows = drawn(seed, "choose")
        dish = Dish(recipe, rows)
        program = dish.program()
        program.cost = dish.closest(program)
        for members, at_most in dish.groups:
            used = {i: program.variable(dish.ingredients[i].low > 0, 1, integer=True) for i in members}
            for i, z in used.items():
                program.row({i: Fraction(1), z: -dish.ingredients[i].high}, high=0)
            program.row(dict.fromkeys(used.values(), Fraction(1)), high=at_most)
        mine, other = solve_closest(recipe, rows), by_ortools(program, "SCIP")
        assert (mine.status == "infeasible") == (other is None), seed
        if other is not None:
            assert mine.objective == pytest.approx(other[0], rel=1e-6, abs=1e-6), seed


def test_whole_steps_agree_with_cbc_and_keep_every_limit_exactly() -> None:
    for seed in range(60):
        recipe, rows = drawn(seed, "whole")
        whole, loose = solve_whole(recipe, rows), solve_closest(recipe, rows)
        assert whole.status == solve_whole(recipe, rows, solver="CBC").status, seed
        if whole.status == "optimal":
            assert whole.objective == pytest.approx(solve_whole(recipe, rows, solver="CBC").objective), seed
            assert whole.exact and faults_of(recipe, rows, whole.weights) == [], seed
            assert whole.objective >= loose.objective - 1e-6, seed
            for entry in recipe["ingredients"]:
                grid = Fraction(str(entry.get("piece", entry.get("step", 1))))
                w = Fraction(str(whole.weights[recipes.label_of(entry)]))
                assert "min" not in entry or (w / grid).denominator == 1, seed


# --- answers known by other means ---------------------------------------------------------------------


def test_one_adjustable_fat_has_a_closed_form() -> None:
    """grams = (R (P + N) - F) / (f - R (p + n)), the fixed ingredients' totals in capitals."""
    rng = random.Random(1)
    for _ in range(50):
        rows = [
            food("oil", rng.randint(80, 100), rng.randint(0, 2) / 4, rng.randint(0, 3) / 4),
            food("meat", rng.randint(2, 20), rng.randint(15, 25), 0),
            food("root", 0.3, 1.5, rng.randint(4, 12)),
        ]
        f, p, n = (float(rows[0][k]) / 100 for k in ("fat_g", "protein_g", "carbs_g"))
        meat, root, ratio = rng.randint(50, 400), rng.randint(50, 400), rng.randint(10, 40) / 10
        fat, protein, net = (
            (float(rows[1][k]) * meat + float(rows[2][k]) * root) / 100
            for k in ("fat_g", "protein_g", "carbs_g")
        )
        expected = (ratio * (protein + net) - fat) / (f - ratio * (p + n))
        recipe = {
            "servings": 4,
            "targets": {"ratio": ratio},
            "ingredients": [
                {"food": "oil", "grams": 0, "min": 0, "max": 5000},
                {"food": "meat", "grams": meat},
                {"food": "root", "grams": root},
            ],
        }
        result = solve_closest(recipe, rows)
        assert result.weights["oil"] == pytest.approx(max(expected, 0.0), rel=1e-9, abs=1e-7)
        assert range_of(recipe, rows, "oil", "lowest") == pytest.approx(
            max(expected, 0.0), rel=1e-9, abs=1e-7
        )
        reached = (fat + f * 5000) / (protein + net + (p + n) * 5000)
        assert best_ratio(recipe, rows) == pytest.approx(max(reached, fat / (protein + net)), rel=1e-9)


# Manual of Clinical Nutrition Management, Compass Group 2013, pp. E-17, E-18; per 100 g. The protein of
# cream, egg, fruit and meat is back-computed from the printed rows.
PUBLISHED = [
    food("cream", 36, 2.0, 3.0),
    food("egg", 12, 12, 0),
    food("fruit", 0, 1.0, 10),
    food("meat", 16.5, 23.5, 0),
    food("fat", 74, 0, 0),
]


def free(name: str) -> dict[str, Any]:
    return {"food": name, "grams": 0, "min": 0, "max": 500}


def test_published_eggnog() -> None:
    """Fat 40.0, protein + carbohydrate 10.0, so 4:1; printed 97 g and 43 g."""
    recipe = {
        "servings": 1,
        "targets": {"fat": {"min": 40, "max": 40}, "ratio": {"min": 4, "max": 4}},
        "ingredients": [free("cream"), free("egg")],
    }
    weights = solve_closest(recipe, PUBLISHED).weights
    assert weights == {"cream": pytest.approx(96.77, abs=0.01), "egg": pytest.approx(43.01, abs=0.01)}


def test_published_solid_meal() -> None:
    """Fat 40.0, protein 6.2, carbohydrate 3.8 with 65 g of cream; printed 19, 20 and 18 g."""
    exactly = {"fat": 40, "protein": 6.2, "net_carbs": 3.8}
    recipe = {
        "servings": 1,
        "targets": {name: {"min": value, "max": value} for name, value in exactly.items()},
        "ingredients": [{"food": "cream", "grams": 65}, free("fruit"), free("meat"), free("fat")],
    }
    weights = solve_closest(recipe, PUBLISHED).weights
    assert weights["fruit"] == pytest.approx(18.50, abs=0.01)
    assert weights["meat"] == pytest.approx(20.06, abs=0.01)
    assert weights["fat"] == pytest.approx(17.96, abs=0.01)


def test_carbohydrate_bases_and_energy() -> None:
    """The same food on both bases: 20 g by difference with 8 g of fibre is 12 g available."""
    by_difference = food("a", 10, 5, 20, fibre_g=8, polyols_g=5, erythritol_g=3, allulose_g=1)
    by_difference["carb_basis"] = "by_difference"
    available = food("b", 10, 5, 12, fibre_g=8, polyols_g=5, erythritol_g=3, allulose_g=1)
    kcal = 9 * 10 + 4 * 5 + 2 * 8 + 4 * (12 - 5 - 1) + Fraction("2.4") * (5 - 3) + Fraction("0.4") * 1
    for row in (by_difference, available):
        assert per_100g(row, "net_carbs") == 12 - 3 - 1
        assert per_100g(row, "carbs") == 20
        assert per_100g(row, "energy") == kcal
        assert per_100g(row | {"energy_kcal": "101"}, "energy") == 101
    assert per_100g(available | {"fibre_g": ""}, "carbs") == 12
    with pytest.raises(ValueError, match="blank"):
        per_100g(available | {"fat_g": ""}, "fat")


def test_what_a_policy_leaves_out_by_hand() -> None:
    """10 g of polyols: 4 erythritol, 2 xylitol, 1 glycerol, 3 of no kind; 2 g of allulose; 20 g of carbohydrate."""
    sweet = food("sweet", 0, 0, 20, polyols_g=10, erythritol_g=4, xylitol_g=2, glycerol_g=1, allulose_g=2)

    def net(**left_out: float) -> Fraction:
        return per_100g(sweet, "net_carbs", {"left_out": left_out})

    assert per_100g(sweet, "net_carbs") == net() == 20 - 4 - 2
    assert net(polyols=1.0) == 20 - 4 - 2 - (2 + 3)  # glycerol is not left out with them
    assert net(polyols=0.5) == 20 - 4 - 2 - Fraction(2 + 3, 2)
    assert net(polyols=1.0, xylitol=0.0) == 20 - 4 - 2 - 3
    assert net(erythritol=0.0, allulose=0.0, glycerol=1.0) == 20 - 1
    assert net(erythritol=0.25) == 20 - 1 - 2


def test_a_policy_of_polyols_moves_the_answer_by_hand() -> None:
    """10 g of maltitol in 20 g of carbohydrate: at 1:1 20 g of oil, 15 g with half of it left out."""
    rows = [food("paste", 0, 0, 20, polyols_g=10, maltitol_g=10), food("oil", 100, 0, 0)]
    recipe: dict[str, Any] = {"servings": 1, "targets": {"ratio": 1},
                              "ingredients": [{"food": "paste", "grams": 100}, free("oil")]}
    assert solve_closest(recipe, rows).objective == pytest.approx(20)
    assert solve_closest(recipe | {"policy": {"left_out": {"polyols": 0.5}}}, rows).objective == pytest.approx(15)
    assert solve_closest(recipe | {"policy": {"left_out": {"maltitol": 1.0}}}, rows).objective == pytest.approx(10)


def test_guaranteed_ends_by_hand() -> None:
    """A paste of fat 9 to 12, protein 4 to 6 and carbohydrate 7 to 9 g at 1:1: 15 - 9 = 6 g of oil for 100 g of it."""
    paste = food("paste", 10, 5, 8, fat_g_low=9, fat_g_high=12, protein_g_low=4, protein_g_high=6, carbs_g_low=7,
                 carbs_g_high=9, fat_g_lowest=5, protein_g_highest=8)
    rows = [paste, food("oil", 100, 0, 0)]
    recipe: dict[str, Any] = {"servings": 1, "targets": {"ratio": 1},
                              "ingredients": [{"food": "paste", "grams": 100}, free("oil")]}
    assert solve_closest(recipe, rows).objective == pytest.approx(13 - 10)
    assert solve_closest(recipe, rows, guaranteed="mean").objective == pytest.approx(15 - 9)
    assert solve_closest(recipe, rows, guaranteed="food").objective == pytest.approx(17 - 5)  # carbs: the mean's
    recipe["targets"] = {"ratio": {"max": 1.2}}  # 12 g of fat and the oil to 4 + 7 g
    recipe["ingredients"] = [{"food": "paste", "grams": 100}, free("oil") | {"grams": 50}]
    assert solve_closest(recipe, rows, guaranteed="mean").objective == pytest.approx(50 - (1.2 * 11 - 12))
    recipe["targets"] = {"net_carbs": 8.5}
    recipe["ingredients"] = [free("paste") | {"grams": 100}]
    assert solve_closest(recipe, rows).objective == pytest.approx(0)
    assert solve_closest(recipe, rows, guaranteed="mean").objective == pytest.approx(100 - 850 / 9)


def test_carbohydrate_by_difference_moves_with_what_it_is_the_difference_of() -> None:
    """Fat 9 to 12 of 100 g: with 9 g carbohydrate is 21 g, with 12 g it is 18; at 1:2 the one is worse."""
    paste = food("paste", 10, 5, 20, fat_g_low=9, fat_g_high=12) | {"carb_basis": "by_difference"}
    rows = [paste, food("oil", 100, 0, 0)]
    recipe: dict[str, Any] = {"servings": 1, "targets": {"ratio": 0.5},
                              "ingredients": [{"food": "paste", "grams": 100}, free("oil")]}
    assert {(c["fat_g"], c["carbs_g"]) for c in second_opinion.corners(paste, "mean")} == {("9", "21"), ("12", "18")}
    assert solve_closest(recipe, rows, guaranteed="mean").objective == pytest.approx(26 / 2 - 9)


def test_yield_choose_and_proportion_by_hand() -> None:
    """100 g roasted from 200 g raw (yield 0.5) carries twice the table; the dearer fat is left out."""
    rows = [
        food("root", 0, 2, 8, price_per_kg=2),
        food("oil", 100, 0, 0, price_per_kg=10),
        food("lard", 100, 0, 0, price_per_kg=4),
    ]
    recipe: dict[str, Any] = {
        "servings": 2,
        "targets": {"ratio": 1},
        "ingredients": [{"food": "root", "grams": 100, "yield": 0.5}, free("oil"), free("lard")],
        "choose": [{"from": ["oil", "lard"], "at_most": 1}],
    }
    assert solve_closest(recipe, rows).objective == pytest.approx(20)
    cheapest = solve_objective(recipe, rows, "cheapest")
    assert cheapest.weights == {"root": 100, "oil": 0, "lard": pytest.approx(20)}
    assert cheapest.objective == pytest.approx(0.4 + 0.08)
    assert solve_objective(recipe, rows, "even").objective == pytest.approx(20 / 500)
    assert solve_objective(recipe, rows, "lowest-carb").objective == pytest.approx(8)
    assert solve_objective(recipe, rows, "lightest").objective == pytest.approx((20 * 4 + 20 * 9) / 2)
    recipe["proportions"] = [{"of": ["oil"], "to": "batch", "min": 0.2}]
    assert solve_closest(recipe, rows).weights["oil"] == pytest.approx(25)
    recipe["ingredients"][2] |= {"min": 1}
    assert solve_closest(recipe, rows).status == "infeasible"
    assert best_ratio(recipe, rows) is None


def test_ratio_without_bound() -> None:
    recipe = {"servings": 1, "targets": {"ratio": 2}, "ingredients": [free("fat"), free("meat")]}
    assert best_ratio(recipe, PUBLISHED) == math.inf
    recipe["targets"]["protein"] = 2.35
    assert best_ratio(recipe, PUBLISHED) == pytest.approx((16.5 * 0.1 + 0.74 * 500) / 2.35)


def test_best_ratio_and_ranges_fit_the_answer() -> None:
    for seed in range(60):
        recipe, rows = drawn(seed)
        result, best = solve_closest(recipe, rows), best_ratio(recipe, rows)
        ratio = recipe["targets"]["ratio"]
        least = ratio["min"] if isinstance(ratio, dict) else ratio
        assert (best is not None and best >= least) == (result.status == "optimal"), seed
        label = next(recipes.label_of(entry) for entry in recipe["ingredients"] if "min" in entry)
        ends = [range_of(recipe, rows, label, sense) for sense in ("lowest", "highest")]
        if result.status == "infeasible":
            assert ends == [None, None], seed
            continue
        inner = [range_of(recipe, rows, label, sense, result.objective) for sense in ("lowest", "highest")]
        chain = [ends[0], inner[0], result.weights[label], inner[1], ends[1]]
        assert all(a <= b + 1e-5 for a, b in pairwise(chain)), seed


# --- the draws ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", recipes.KINDS)
def test_most_draws_are_possible_and_not_all(kind: str) -> None:
    possible = sum(solve_closest(*drawn(seed, kind)).status == "optimal" for seed in range(200))
    assert 0.55 <= possible / 200 <= 0.90


def test_draws_have_the_shape_of_a_recipe_and_survive_toml() -> None:
    for seed in range(200):
        recipe, rows = drawn(seed, recipes.KINDS[seed % len(recipes.KINDS)])
        assert tomllib.loads(recipes.to_toml(recipe)) == recipe
        assert (recipe, rows) == drawn(seed, recipes.KINDS[seed % len(recipes.KINDS)])
        assert 4 <= len(recipe["ingredients"]) <= 14 and 1 <= recipe["servings"] <= 12
        assert 3 <= sum("min" in entry for entry in recipe["ingredients"]) <= 9
        assert all(entry["min"] < entry["max"] for entry in recipe["ingredients"] if "min" in entry)
        bands = [
            *recipe["targets"].values(),
            *recipe.get("parts", {}).values(),
            *recipe.get("proportions", []),
        ]
        assert all(b["min"] < b["max"] for b in bands if isinstance(b, dict) and {"min", "max"} <= set(b))
        second_opinion.Dish(recipe, rows)


def test_toml_of_awkward_names() -> None:
    recipe = {
        "title": 'Grandmother\'s "best", \\ 1/2 crème',
        "servings": 2,
        "method": ["Peel.", "Roast 40 min."],
        "parts": {"top layer": {"max": 3.5}, "base": {}},
        "ingredients": [{"food": "oil", "grams": 1e-05, "measure": "2 large"}],
    }
    assert tomllib.loads(recipes.to_toml(recipe)) == recipe


def test_table_figures_agree(tmp_path: Path) -> None:
    for seed in range(20):
        rows = recipes.random_table(seed, 60)
        assert len({row["food"] for row in rows}) == len({row["id"] for row in rows}) == 60
        for row in rows:
            figures = {k: Fraction(row[k] or 0) for k in row if k.endswith("_g")}
            whole = sum(figures[k] for k in ("fat_g", "protein_g", "carbs_g", "water_g"))
            by_difference = row["carb_basis"] == "by_difference"
            inside = figures["polyols_g"] + figures["allulose_g"] + by_difference * figures["fibre_g"]
            assert whole + (not by_difference) * figures["fibre_g"] <= 100, row
            assert 0 <= figures["erythritol_g"] <= figures["polyols_g"] and inside <= figures["carbs_g"], row
            assert min(figures.values()) >= 0 and per_100g(row, "net_carbs") >= 0, row
        assert {row["carb_basis"] for row in rows} == {"by_difference", "available"}
    recipes.write_table(tmp_path / "foods.csv", rows)
    with open(tmp_path / "foods.csv", encoding="utf-8", newline="") as file:
        assert list(csv.DictReader(file)) == rows
