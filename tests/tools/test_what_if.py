"""Scenarios beside the base answer: each equals a separate solve of the recipe so written."""

from __future__ import annotations

import csv
import io
import json
import random
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, FoodTable, load_foods, recipe_from, solve, what_if
from ratio_solver.cli import main
from tests.oracle import recipes
from tests.oracle.second_opinion import solve_closest
from tests.solving.dishes import FOODS, GRATIN, dish

WRITTEN = {
    "ratio=2.5,net_carbs=8": {"ratio": 2.5, "net_carbs": 8},
    "ratio=3:1": {"ratio": 3},
    "net_carbs<=6.5": {"net_carbs": {"max": 6.5}},
    "protein>=12": {"protein": {"min": 12}},
    "protein<=30, ratio>=2.2": {"protein": {"min": 9, "max": 30}, "ratio": {"min": 2.2}},
    "net_carbs=5": {"net_carbs": 5},
    "sodium<=400": {"sodium": {"max": 400}},
}
TARGETS = {"ratio": 2.0, "net_carbs": 8.0, "protein": {"min": 9}, "energy": {"max": 650}}


@pytest.mark.parametrize("prefer", ["closest", "even"])
def test_each_scenario_is_the_recipe_so_written(prefer: str) -> None:
    found = what_if(dish(GRATIN), FOODS, [*WRITTEN, "servings=8"], prefer)
    assert found.base == solve(dish(GRATIN), prefer)
    for scenario in found.scenarios[:-1]:
        alone = solve(dish(GRATIN, targets=TARGETS | WRITTEN[scenario.text]), prefer)
        assert scenario.answer.outcome == alone.outcome
        if alone.outcome == "solved":
            assert scenario.answer.weights == alone.weights and scenario.answer.facts == alone.facts  # type: ignore[union-attr]
    eight = solve(dish(GRATIN, servings=8), prefer)
    assert found.scenarios[-1].answer.weights == eight.weights  # type: ignore[union-attr]
    assert {s.answer.outcome for s in found.scenarios} == {"solved", "impossible"}


def test_objectives_agree_with_another_solver(tmp_path: Path) -> None:
    rows = recipes.random_table(3, 45)
    recipes.write_table(tmp_path / "foods.csv", rows)
    foods: FoodTable = load_foods(tmp_path / "foods.csv", bundled=False)
    outcomes = set()
    for seed in range(12):
        table = recipes.random_recipe(random.Random(seed), rows, kind="plain")
        found = what_if(recipe_from(table, foods), foods, ["ratio=1.5", "ratio=2.5,net_carbs=9"], exact=True)
        for scenario, targets in zip(found.scenarios, ({"ratio": 1.5}, {"ratio": 2.5, "net_carbs": 9}), strict=True):
            other = solve_closest(table | {"targets": table["targets"] | targets}, rows)
            assert (scenario.answer.outcome == "solved") == (other.status == "optimal"), seed
            outcomes.add(other.status)
            if other.status == "optimal":
                assert float(scenario.answer.objective.value) == pytest.approx(other.objective, rel=1e-6, abs=1e-5)  # type: ignore[union-attr]
    assert outcomes == {"optimal", "infeasible"}


@pytest.mark.parametrize(("text", "expected"), [
    ("ratio", "expected ratio=R"), ("ratio=two", "expected a ratio"), ("protein=20", "expected protein>=X"),
    ("servings=0", "whole number of servings"), ("servings=1.5", "whole number"), ("net_carbs=-1", "0 or more"),
    ("protien>=20", "did you mean protein"), ("ratio=2,ratio=3", "once"), ("protein<=5", "at most the maximum"),
    ("", "expected ratio=R"), ("net_carbs=1e3", "0 or more"),
])
def test_faults_name_the_scenario(text: str, expected: str) -> None:
    with pytest.raises(BadInput, match=expected) as bad:
        what_if(dish(GRATIN), FOODS, [text, "ratio=2"])
    assert all(fault.source == "--what-if" for fault in bad.value.faults)


def test_command(tmp_path: Path) -> None:
    file = tmp_path / "gratin.toml"
    file.write_text(GRATIN, encoding="utf-8")
    asked = ["solve", str(file), "--what-if", "ratio=2.5,net_carbs=8", "--what-if", "net_carbs=5",
             "--what-if", "ratio=3", "--what-if", "servings=8"]
    text = CliRunner().invoke(main, asked)
    assert text.exit_code == 0 and max(map(len, text.stdout.splitlines())) <= 80
    assert "net_carbs=5: these cannot be kept together" in text.stdout
    assert "At 3:1 and above" in text.stdout
    data = json.loads(CliRunner().invoke(main, [*asked, "--format", "json"]).stdout)
    assert [one["outcome"] for one in data["what_if"]] == ["solved", "impossible", "solved", "solved"]
    assert data["what_if"][1]["weights"] == []
    rows = list(csv.DictReader(io.StringIO(CliRunner().invoke(main, [*asked, "--format", "csv"]).stdout)))
    scenarios = ["ratio=2.5,net_carbs=8", "net_carbs=5", "ratio=3", "servings=8"]
    assert list(rows[0]) == ["what", "unit", "base", *scenarios, "caution"]
    objective = next(row for row in rows if row["what"] == "objective")
    assert float(objective["base"]) == data["objective"]["value"] and objective["net_carbs=5"] == ""
    bad = CliRunner().invoke(main, ["solve", str(file), "--what-if", "ratio"])
    assert bad.exit_code == 1 and bad.stdout == ""


EGG = 'label = "egg"\ngrams = 100'


@pytest.mark.parametrize(("text", "written"), [
    ("celeriac, raw.max=700, ratio=2.1", ("max = 900", "max = 700")),
    ("butter.min=20,ratio=2.1", ("grams = 30\nmin = 0", "grams = 30\nmin = 20")),
    ("egg.min=50,egg.max=150,ratio_min=2.1", (EGG, EGG + "\nmin = 50\nmax = 150")),
])
def test_bounds_of_an_ingredient_as_they_would_be_written(text: str, written: tuple[str, str]) -> None:
    assert written[0] in GRATIN
    [scenario] = what_if(dish(GRATIN), FOODS, [text]).scenarios
    alone = solve(dish(GRATIN.replace(*written), targets=TARGETS | {"ratio": 2.1}))
    assert scenario.answer.weights == alone.weights  # type: ignore[union-attr]


def test_ends_may_be_written_as_in_a_menu() -> None:
    one, other = what_if(dish(GRATIN), FOODS, ["protein>=12,ratio<=3", "protein_min=12,ratio_max=3"]).scenarios
    assert one.answer.recipe == other.answer.recipe and one.answer.recipe.target("ratio").maximum == 3  # type: ignore[union-attr]


@pytest.mark.parametrize(("text", "expected"), [
    ("scale=2", "scale is nothing that a scenario changes; expected ratio=R"),
    ("protien_min=2", "did you mean protein_min"),
    ("wax.max=3", "is no ingredient"), ("egg.max=150", "fixed at 100 g; expected both"),
    ("cream.max=-1", "weight in g"),
    ("cream.max=9", "of at most its most, 9 g"), ("ratio=2,ratio_min=3", "once"),
    ("cream.max=400,cream.max=500", "once"),
])
def test_what_a_scenario_cannot_change_is_told_with_what_it_can(text: str, expected: str) -> None:
    with pytest.raises(BadInput, match=expected):
        what_if(dish(GRATIN), FOODS, [text])
