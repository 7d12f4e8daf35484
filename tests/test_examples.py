"""The dishes in examples/: read, solved, judged by the second opinion, and printed as expected.

After a change that is meant to change a report, rewrite the expected ones and read the difference::

    UPDATE_EXPECTED=1 python -m pytest tests/test_examples.py
"""

from __future__ import annotations

import csv
import inspect
import json
import os
import tomllib
from fractions import Fraction
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import Proposal, Recipe, load_foods, read_recipe, solve
from ratio_solver.cli import main
from tests.oracle.second_opinion import BARE_MAXIMUM, faults_of, solve_closest, solve_whole

ROOT = Path(__file__).resolve().parent.parent
EXPECTED = ROOT / "tests" / "expected"
OWN_TABLES = {"stuffed-peppers": ("examples/own-foods.csv",)}
ALL = sorted(path.stem for path in (ROOT / "examples").glob("*.toml"))
IMPOSSIBLE = [name for name in ALL if name.startswith("impossible-")]
SOLVABLE = [name for name in ALL if name not in IMPOSSIBLE]
ROUNDING = 1e-6
"""Slack, g of the batch, that an answer in fractions of a gram may lack: it is printed to 9 decimals."""

WHOLE_STEPS = "exact" in inspect.signature(solve).parameters
"""Whether the default answer is in whole steps; where it is not, every answer is in fractions of a gram."""


def path_of(name: str) -> Path:
    return ROOT / "examples" / f"{name}.toml"


def recipe_of(name: str) -> Recipe:
    tables = [ROOT / table for table in OWN_TABLES.get(name, ())]
    return read_recipe(path_of(name), load_foods(*tables))


def in_fractions(recipe: Recipe) -> Any:
    return solve(recipe, **({"exact": True} if WHOLE_STEPS else {}))


def written(name: str) -> dict[str, Any]:
    return tomllib.loads(path_of(name).read_text(encoding="utf-8"))


def rows_of(name: str) -> list[dict[str, str]]:
    """Rows of the tables as the second opinion reads them: a minimum counts a nutrient that is unknown as none."""
    paths = [ROOT / "data" / "foods.csv", *(ROOT / table for table in OWN_TABLES.get(name, ()))]
    rows = [row for path in paths for row in csv.DictReader(path.open(encoding="utf-8"))]
    least = {
        key for key, target in written(name)["targets"].items()
        if isinstance(target, dict) and "max" not in target and key not in ("ratio", "energy", *BARE_MAXIMUM)
    }
    columns = {f"{key}_{unit}" for key in least for unit in ("g", "mg")} & {key for row in rows for key in row}
    return [row | {column: row.get(column) or "0" for column in columns} for row in rows]


def exact_weights(answer: Proposal) -> dict[str, Fraction]:
    return {weight.ingredient: weight.grams for weight in answer.weights}


def run(*arguments: str) -> Any:
    return CliRunner().invoke(main, list(arguments))


def solve_arguments(name: str, *more: str) -> list[str]:
    tables = [part for table in OWN_TABLES.get(name, ()) for part in ("--foods", str(ROOT / table))]
    return ["solve", str(path_of(name)), *tables, *more]


def test_there_are_enough_dishes() -> None:
    assert len(SOLVABLE) >= 8
    assert IMPOSSIBLE


@pytest.mark.parametrize("name", SOLVABLE)
def test_the_dish_is_a_traditional_one_adapted(name: str) -> None:
    recipe = recipe_of(name)
    ratio, net = recipe.target("ratio"), recipe.target("net_carbs_g")
    assert ratio is not None and net is not None
    assert 1.5 <= (ratio.minimum or 0) <= 3
    assert 4 <= (net.maximum or 0) <= 10
    assert 4 <= len(recipe.method) <= 7
    assert recipe.note
    replaced = [i.label for i in recipe.ingredients if i.maximum is not None and i.maximum < i.start]
    candidates = [i.label for i in recipe.ingredients if i.adjustable and i.start == 0]
    assert replaced and candidates


@pytest.mark.parametrize("name", SOLVABLE)
def test_fractions_of_a_gram_are_the_second_opinion_s_optimum(name: str) -> None:
    answer = in_fractions(recipe_of(name))
    other = solve_closest(written(name), rows_of(name))
    assert isinstance(answer, Proposal) and other.status == "optimal"
    assert float(answer.objective.value) == pytest.approx(other.objective, rel=1e-6)
    assert faults_of(written(name), rows_of(name), exact_weights(answer), ROUNDING) == []


@pytest.mark.parametrize("name", SOLVABLE)
def test_the_default_answer_keeps_every_limit(name: str) -> None:
    answer = solve(recipe_of(name))
    assert isinstance(answer, Proposal)
    tolerance = 0.0 if WHOLE_STEPS else ROUNDING
    assert faults_of(written(name), rows_of(name), exact_weights(answer), tolerance) == []


@pytest.mark.parametrize("name", SOLVABLE)
def test_whole_grams_and_whole_eggs_are_possible(name: str) -> None:
    other = solve_whole(written(name), rows_of(name))
    assert other.status == "optimal" and other.exact
    if WHOLE_STEPS:
        answer = solve(recipe_of(name))
        assert isinstance(answer, Proposal)
        assert float(answer.objective.value) == pytest.approx(other.objective, rel=1e-9)
        for ingredient in recipe_of(name).ingredients:
            if ingredient.adjustable:
                grid = Fraction(str(ingredient.piece or ingredient.step or 1))
                assert (answer.grams(ingredient.label) / grid).denominator == 1, ingredient.label


def binding(name: str) -> frozenset[str]:
    """What shapes the dish: sorts of limit that bind, targets by their name, bounds only where they cost."""
    answer = in_fractions(recipe_of(name))
    assert isinstance(answer, Proposal)
    found = set()
    for state in answer.limits:
        if state.binding and state.limit.kind != "ingredient":
            found.add(f"{state.limit.name} {state.limit.sense}" if state.limit.kind == "target" else state.limit.kind)
        elif state.binding and state.limit.bound and state.price:
            found.add(f"ingredient {state.limit.sense}")
    return frozenset(found)


def test_what_binds_differs_from_dish_to_dish() -> None:
    sets = {name: binding(name) for name in SOLVABLE}
    alike = [(one, other, sorted(sets[one])) for one, other in combinations(SOLVABLE, 2) if sets[one] == sets[other]]
    assert not alike
    together = frozenset().union(*sets.values())
    assert {"ratio >=", "net carbs <=", "protein >=", "part", "proportion", "choose"} <= together
    assert any(item.startswith("energy") for item in together)


@pytest.mark.parametrize("name", ALL)
def test_the_report_is_the_expected_one(name: str) -> None:
    result = run(*solve_arguments(name))
    assert result.exit_code == (3 if name in IMPOSSIBLE else 0), result.stderr
    path = EXPECTED / f"{name}.txt"
    if os.environ.get("UPDATE_EXPECTED"):
        EXPECTED.mkdir(exist_ok=True)
        path.write_text(result.stdout, encoding="utf-8")
    assert result.stdout == path.read_text(encoding="utf-8")
    assert max(map(len, result.stdout.splitlines())) <= 80


def test_every_expected_report_has_its_dish() -> None:
    assert sorted(path.stem for path in EXPECTED.glob("*.txt")) == ALL


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_an_impossible_dish_gives_no_weights(name: str) -> None:
    assert solve_closest(written(name), rows_of(name)).status == "infeasible"
    for more in ((), ("--exact",)):
        result = run(*solve_arguments(name, "--format", "json", *more))
        assert result.exit_code == 3
        data = json.loads(result.stdout)
        assert data["outcome"] == "impossible" and data["weights"] == []


def test_the_dumplings_are_impossible_for_their_bread() -> None:
    data = json.loads(run(*solve_arguments("impossible-dumplings", "--format", "json")).stdout)
    assert set(data["diagnosis"]["conflict"]) == {"net carbs", "stale rolls min"}


def test_the_own_table_says_the_same_of_market_foods_as_the_bundled_one() -> None:
    bundled = {row["food"]: row for row in csv.DictReader((ROOT / "data" / "foods.csv").open(encoding="utf-8"))}
    own = list(csv.DictReader((ROOT / "examples" / "own-foods.csv").open(encoding="utf-8")))
    shared = [row for row in own if row["food"] in bundled]
    assert len(shared) > 5 and len(shared) < len(own)
    for row in shared:
        for column in ("id", "carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g", "energy_kcal", "allergens"):
            assert row[column] == bundled[row["food"]][column], (row["food"], column)


def test_the_house_s_own_foods_are_the_sums_of_their_recipes() -> None:
    """Each house row states its recipe in `source`; the figures are added up again here from the bundled table."""
    names = {
        "pork shoulder": "pork shoulder, raw", "pork backfat": "pork backfat, raw", "ancho": "ancho pepper, dried",
        "vinegar": "vinegar, cider", "salt": "salt", "paprika": "paprika", "garlic": "garlic, raw",
        "water": "water, tap", "lard": "lard", "cream (36 %)": "cream, heavy (36 % fat)", "sour cream": "sour cream",
    }
    bundled = {row["food"]: row for row in csv.DictReader((ROOT / "data" / "foods.csv").open(encoding="utf-8"))}
    house = [row for row in csv.DictReader((ROOT / "examples" / "own-foods.csv").open(encoding="utf-8"))
             if row["id"].startswith("house:")]
    assert len(house) == 3
    for row in house:
        lines = row["source"].partition("g: ")[2].partition(";")[0].split(", ")
        parts = {names[line.rpartition(" ")[0]]: float(line.rpartition(" ")[2]) for line in lines}
        for column in ("fat_g", "protein_g", "carbs_g", "fibre_g"):
            total = sum(grams * float(bundled[food][column]) for food, grams in parts.items()) / sum(parts.values())
            assert float(row[column]) == pytest.approx(total, abs=0.006), (row["food"], column)


def test_iron_is_a_target_and_the_own_prices_are_a_preference() -> None:
    recipe = recipe_of("stuffed-peppers")
    answer = in_fractions(recipe)
    assert isinstance(answer, Proposal)
    assert answer.facts.amounts["iron_mg"] >= 5 - Fraction(1, 10**6)
    without = run("solve", str(path_of("stuffed-peppers")))
    assert without.exit_code == 1 and "house chorizo" in without.stderr
    cheapest = solve(recipe, "cheapest")
    assert isinstance(cheapest, Proposal)

    def cost(found: Proposal) -> float:
        pairs = zip(recipe.ingredients, found.weights, strict=True)
        return sum((i.food.price or 0) * float(weight.grams) / 1000 for i, weight in pairs)

    assert cost(cheapest) < cost(answer) - 0.5
