"""The weight of a serving as a target, and salt as one, wherever targets are written."""

from __future__ import annotations

import csv
import json
import random
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import (
    BadInput,
    FoodTable,
    Impossible,
    MenuOptions,
    Proposal,
    check,
    load_foods,
    recipe_from,
    solve,
    solve_menu,
)
from ratio_solver.cli import main
from ratio_solver.recipe.write import recipe_text
from tests.kitchen import dish, drawn, food, table
from tests.menu.drawing import drawn_menu, framed
from tests.menu.test_answers import same, singles
from tests.oracle.recipes import random_table, write_table
from tests.recipe.another_solver import agreed_status

__all__ = ["singles"]

ROWS = random_table(11, 60)


def mash(**targets: object) -> dict[str, Any]:
    """400 g of cauliflower, 40 g of butter to move, for two: 220 g a serving as written."""
    return dish([{"food": "cauliflower, boiled", "grams": 400},
                 {"food": "butter, salted", "label": "butter", "grams": 40, "min": 0, "max": 200}], 2, targets=targets)


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def test_a_serving_is_weighed_by_hand(foods: FoodTable) -> None:
    """Two servings of at least 250 g are 500 g, so the butter must be 100 g; of at most 210 g, 20 g."""
    for targets, butter in (({"min": 250}, 100), ({"max": 210}, 20), ({"min": 200, "max": 230}, 40)):
        answer = solve(recipe_from(mash(weight=targets), foods))
        assert isinstance(answer, Proposal)
        assert [float(w.grams) for w in answer.weights] == [400, butter], targets
    states = [(s.limit.name, s.limit.unit, float(s.slack)) for s in answer.limits if s.limit.kind == "target"]
    assert states == [("weight", "g", 20), ("weight", "g", 10)]


def test_a_serving_is_weighed_as_weighed(tmp_path: Path) -> None:
    """300 g of a prepared food are 300 g, whatever it weighed before."""
    own = table(tmp_path, food("veg", 0.3, 1.5, 9.2, 1.8), food("oil", 100))
    written = dish([{"food": "veg", "grams": 300, "yield": 0.5}, {"food": "oil", "grams": 0, "min": 0, "max": 50}],
                   targets={"weight": {"min": 310}})
    answer = solve(recipe_from(written, own))
    assert isinstance(answer, Proposal)
    assert [float(w.grams) for w in answer.weights] == [300, 10]
    assert check(recipe_from(written, own)).limits[0].slack == -10


def test_what_no_serving_weighs_is_diagnosed(foods: FoodTable) -> None:
    """400 g of cauliflower alone are 200 g a serving: at most 190 cannot be, and 200 is what can be accepted."""
    answer = solve(recipe_from(mash(weight={"max": 190}), foods))
    assert isinstance(answer, Impossible)
    assert answer.diagnosis.conflict[0].name == "weight"
    assert [(repair.limit.name, float(repair.to)) for repair in answer.diagnosis.repairs] == [("weight", 200)]
    assert "allow 200 g weight per serving instead of 190 g" in " ".join(str(answer.report()).split())


def test_it_goes_through_files_and_commands(foods: FoodTable, tmp_path: Path) -> None:
    path = tmp_path / "mash.toml"
    path.write_text(recipe_text(recipe_from(mash(weight={"max": 230, "min": 100}), foods)), encoding="utf-8")
    assert tomllib.loads(path.read_text(encoding="utf-8"))["targets"] == {"weight_g": {"min": 100, "max": 230}}

    def run(*arguments: str) -> Any:
        return CliRunner().invoke(main, list(arguments))

    found = json.loads(run("solve", str(path), "--target", "weight>=225", "--format", "json").stdout)
    assert found["per_serving"]["weight_g"] == 225
    assert [limit["name"] for limit in found["limits"] if limit["binding"]] == ["weight"]
    assert run("check", str(path), "--target", "weight<=219").exit_code == 3
    assert run("solve", str(path), "--guaranteed", "--target", "weight<=210").exit_code == 0
    assert run("solve", str(path), "--confidence", "0.95", "--target", "weight<=210").exit_code == 0
    beside = run("solve", str(path), "--what-if", "weight_max=215").stdout
    assert beside.count("  weight  ") == 1 and "215.0 g" in beside
    assert "weight = {min" in run("solve", str(path), "--target", "grams<=9").stderr


def test_the_same_best_as_another_solver(tmp_path: Path) -> None:
    """Random recipes, yields and parts among them, each with a band on the serving's weight, against GLOP."""
    outcomes = set()
    for seed in range(60):
        written, rows, _ = drawn(seed, tmp_path)
        rng = random.Random(seed)
        ends = [sum(line.get(key, line["grams"]) for line in written["ingredients"]) / written["servings"]
                for key in ("min", "grams", "max")]
        least = round(rng.uniform(ends[0], ends[2]), 1)
        written["targets"]["weight"] = rng.choice((
            {"min": least}, {"max": least}, {"min": least, "max": round(least * 1.05 + 1, 1)}))
        outcomes.add(agreed_status(written, rows, tmp_path, seed))
    assert outcomes == {"optimal", "infeasible"}


@pytest.mark.parametrize("exact", [True, False])
def test_a_menu_answers_as_solve_does(exact: bool, tmp_path: Path, singles: list[str]) -> None:
    """In arrays, and by the per-recipe way where a yield makes the weight other than that of what was bought."""
    write_table(tmp_path / "foods.csv", ROWS)
    own = load_foods(tmp_path / "foods.csv", bundled=False)
    frame = drawn_menu(21, 16, ROWS)
    heads = frame["servings"] != ""
    grams = frame["grams"].astype(float).groupby(frame["recipe"]).sum()
    servings = frame.loc[heads].set_index("recipe")["servings"].astype(float)
    frame["weight_max"] = ""
    names = frame.loc[heads, "recipe"]
    frame.loc[heads, "weight_max"] = [f"{1.02 * grams[name] / servings[name]:.1f}" for name in names]
    counts = same(frame, own, MenuOptions(exact=exact))
    assert counts["solved"] >= 5
    prepared = set(frame.loc[frame["yield"].isin(["0.7", "0.725", "0.85", "0.9", "1.2", "2.4"]), "recipe"])
    assert prepared and prepared <= set(singles)
    assert len(set(singles)) < 16


def test_salt_is_sodium_in_a_menu_too(foods: FoodTable, tmp_path: Path) -> None:
    """1 g of salt is 400 mg of sodium (Regulation (EU) 1169/2011, Annex I): the same answers, line for line."""
    rows = [{"recipe": "mash", "servings": "2", "food": "cauliflower, boiled", "grams": "400"},
            {"recipe": "mash", "food": "butter, salted", "grams": "40", "min": "0", "max": "200"}]
    salty = solve_menu(framed([rows[0] | {"salt_max": "0.25"}, rows[1]]), foods, MenuOptions())
    sodium = solve_menu(framed([rows[0] | {"sodium_max": "100"}, rows[1]]), foods, MenuOptions())
    assert salty.weights.equals(sodium.weights) and salty.limits.equals(sodium.limits)
    assert list(salty.limits["limit"]) == [100.0] and list(salty.weights["grams"])[1] < 40
    (tmp_path / "mash.toml").write_text(recipe_text(recipe_from(mash(), foods)), encoding="utf-8")
    by_file = tmp_path / "menu.csv"
    by_file.write_text("file;salt_max\nmash.toml;0,25\n", encoding="utf-8")
    result = CliRunner().invoke(main, ["menu", str(by_file), "-o", str(tmp_path / "out")])
    assert result.exit_code == 0, result.stderr
    with (tmp_path / "out" / "limits.csv").open(encoding="utf-8", newline="") as file:
        assert [float(row["limit"]) for row in csv.DictReader(file)] == [100.0]


def test_an_option_goes_before_a_menu_s_column_of_salt(foods: FoodTable, tmp_path: Path) -> None:
    """--target salt<=0.2 is 80 mg for every recipe, and not 80 g of salt in the menu's column."""
    path = tmp_path / "menu.csv"
    path.write_text("recipe,servings,food,grams,min,max,salt_max\n"
                    "mash,2,\"cauliflower, boiled\",400,,,0.25\nmash,,\"butter, salted\",40,0,200,\n", encoding="utf-8")
    result = CliRunner().invoke(main, ["menu", str(path), "--target", "salt<=0.2", "-o", str(tmp_path / "out")])
    assert result.exit_code == 0, result.stderr
    with (tmp_path / "out" / "limits.csv").open(encoding="utf-8", newline="") as file:
        assert [float(row["limit"]) for row in csv.DictReader(file)] == [80.0]


def test_two_columns_of_one_limit_are_a_fault(foods: FoodTable) -> None:
    rows = framed([{"recipe": "x", "servings": "1", "food": "salt", "grams": "1", "salt_max": "1", "sodium_max": "9"}])
    with pytest.raises(BadInput, match="expected one of salt_max and sodium_max"):
        solve_menu(rows, foods, MenuOptions())
