"""One recipe under two tables, two policies or two formulas: each column is what the recipe so written comes to."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, check, load_foods, read_recipe, solve, what_if
from ratio_solver.cli import main
from ratio_solver.recipe.read import recipe_from
from tests.kitchen import dish, food, table

GRATIN = Path(__file__).resolve().parent.parent.parent / "examples/celeriac-gratin.toml"
POLICIES = {
    "policy.ratio_formula=ketogenic-quotient": {"ratio_formula": "ketogenic-quotient"},
    "policy.left_out.erythritol=0.5": {"left_out": {"erythritol": 0.5}},
    "policy.energy=9/4/4,policy.left_out.polyols=1": {"energy": "9/4/4", "left_out": {"polyols": 1}},
}


def test_another_table_is_the_recipe_read_with_it() -> None:
    foods = load_foods()
    found = what_if(read_recipe(GRATIN, foods), foods, ["foods=europe", "foods=europe,ratio=1.8"])
    european = solve(read_recipe(GRATIN, load_foods("europe")))
    assert found.base == solve(read_recipe(GRATIN, foods))
    [(_, base), (_, same), (_, looser)] = found.columns
    assert same.weights == european.weights and same.facts == european.facts  # type: ignore[union-attr]
    assert same.facts != base.facts and looser.objective.value < same.objective.value  # type: ignore[union-attr]
    told = found.to_dict()
    assert [one["id"] for one in told["tables"]] == ["foods"]  # type: ignore[union-attr]
    assert [one["id"] for one in told["what_if"][0]["tables"]] == ["foods", "europe"]  # type: ignore[index]


@pytest.mark.parametrize("scenario", POLICIES)
def test_another_policy_is_the_recipe_so_written(scenario: str, tmp_path: Path) -> None:
    """Half of 20 g of erythritol counts: 10 g of net carbs more in the batch, by hand in the second test."""
    own = table(tmp_path, food("curd", 20, 10, 4), food("oil", 100),
                food("erythritol", carbs=100, polyols_g=100, erythritol_g=100))
    lines = [{"food": "curd", "grams": 200}, {"food": "oil", "grams": 40, "min": 0, "max": 200},
             {"food": "erythritol", "grams": 20}]
    written = dish(lines, 2, targets={"ratio": 1.5})
    found = what_if(recipe_from(written, own), own, [scenario])
    alone = solve(recipe_from(written | {"policy": POLICIES[scenario]}, own))
    assert found.scenarios[0].answer.weights == alone.weights  # type: ignore[union-attr]
    assert found.scenarios[0].answer.facts == alone.facts  # type: ignore[union-attr]
    if "erythritol" in scenario:
        net = [column.facts.amounts["net_carbs_g"] for _, column in found.columns]  # type: ignore[union-attr]
        assert net == [4, 9]  # 8 g in 200 g of curd; 10 g of the erythritol beside: two servings


def test_a_column_says_how_it_is_reckoned() -> None:
    done = CliRunner().invoke(main, ["solve", str(GRATIN), "--what-if", "policy.energy=us"])
    words = " ".join(done.stdout.split())
    assert "policy.energy=us: ratio = fat : (protein + net carbs)" in words and "energy by US factors" in words
    data = json.loads(CliRunner().invoke(
        main, ["solve", str(GRATIN), "--what-if", "policy.energy=us", "--format", "json"]).stdout)
    assert data["policy"]["energy"] == "table" and data["what_if"][0]["policy"]["energy"] == "us"


@pytest.mark.parametrize(("scenario", "words"), [
    ("foods=nowhere.csv", "or the path of a CSV file"), ("policy.energy=", "expected foods=TABLE"),
    ("policy.ratio_formula=totl", "did you mean total"), ("policy.left_out.wax=1", "is not a key"),
    ("policy.left_out=1", "expected a table"), ("policy.energy.x=1", "expected"),
])
def test_what_cannot_be_read_is_a_fault(scenario: str, words: str) -> None:
    foods = load_foods()
    with pytest.raises(BadInput, match=words):
        what_if(read_recipe(GRATIN, foods), foods, [scenario])


def test_the_recipe_itself_stays_as_it_is() -> None:
    foods = load_foods()
    recipe = read_recipe(GRATIN, foods)
    before = check(recipe).facts
    what_if(recipe, foods, ["foods=europe"])
    assert check(recipe).facts == before
