"""A ratio of nothing to nothing is none: an empty dish is no answer, and what is missing is said."""

from __future__ import annotations

import csv
import io
import json
import random
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import Impossible, MenuOptions, Proposal, check, curve, load_foods, recipe_from, solve, solve_menu
from ratio_solver.cli import main
from tests.kitchen import dish, food, table
from tests.menu.drawing import framed
from tests.oracle.recipes import to_toml

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

POTATOES = dish([{"food": "potato, white, with skin, raw", "label": "potatoes", "grams": 500, "min": 0, "max": 900},
                 {"food": "milk, whole", "grams": 100, "min": 0, "max": 200}], 4,
                targets={"ratio": 2, "net_carbs": 8})
SALT = {"food": "salt", "grams": 8}
MILK = 3.27 / (3.28 + 4.65)
"""fat : (protein + net carbs) of whole milk; USDA SR28, NDB 01211 per 100 g."""


@pytest.mark.parametrize("more", [[], [SALT]], ids=["alone", "with salt"])
@pytest.mark.parametrize("exact", [True, False])
def test_potatoes_and_milk_reach_no_ratio_of_two(exact: bool, more: list[dict[str, Any]]) -> None:
    """Milk alone has the best ratio of a dish that is not empty; scaled down it keeps any ceiling."""
    recipe = recipe_from({**POTATOES, "ingredients": [*POTATOES["ingredients"], *more]}, load_foods())
    answer = solve(recipe, exact=exact)
    assert isinstance(answer, Impossible)
    found = answer.diagnosis
    assert found.empty and found.proven and [limit.name for limit in found.conflict] == ["ratio"]
    assert float(found.best_ratio or 0) == pytest.approx(MILK, abs=1e-3)
    assert not (found.repairs or found.joint_repair or found.stuck or found.fats)


@pytest.mark.parametrize("prefer", ["lightest", "lowest-carb"])
@pytest.mark.parametrize("exact", [True, False])
def test_where_the_best_dish_is_empty_a_least_weight_is_missing(prefer: str, exact: bool, tmp_path: Path) -> None:
    """A ratio of 0.3 is kept by milk, and the less of it the less energy; with 100 g at least there is an answer."""
    written = {**POTATOES, "targets": {"ratio": 0.3}}
    foods = load_foods()
    answer = solve(recipe_from(written, foods), prefer, exact=exact)
    assert isinstance(answer, Impossible) and answer.diagnosis.empty and not answer.diagnosis.conflict
    assert float(answer.diagnosis.best_ratio or 0) == pytest.approx(MILK, abs=1e-3)
    items = [{**entry, "part": "soup"} for entry in POTATOES["ingredients"]]
    held = solve(recipe_from({**written, "ingredients": items, "parts": {"soup": {"min": 100}}}, foods), prefer,
                 exact=exact)
    assert isinstance(held, Proposal) and sum(weight.grams for weight in held.weights) >= 100


def test_it_is_said_on_the_command_line_in_json_csv_a_menu_and_a_curve(tmp_path: Path) -> None:
    path = tmp_path / "dish.toml"
    path.write_text(to_toml(POTATOES), encoding="utf-8")
    text = CliRunner().invoke(main, ["solve", str(path)])
    said = " ".join(text.stdout.split())
    assert text.exit_code == 3 and max(map(len, text.stdout.splitlines())) <= 80
    assert "No dish gives a ratio of at least 2:1." in said and "0 g" not in said
    assert "Only an empty dish breaks none of the limits" in said and "A least weight of the batch is missing" in said
    assert "Within reach of a dish that is not empty best ratio 0.41:1" in said
    data = json.loads(CliRunner().invoke(main, ["solve", str(path), "--format", "json"]).stdout)
    assert data["diagnosis"]["empty_dish"] is True and data["weights"] == []
    lines = list(csv.DictReader(io.StringIO(CliRunner().invoke(main, ["solve", str(path), "--format", "csv"]).stdout)))
    assert [line["kind"] for line in lines] == ["empty dish"] and "least weight" in lines[0]["words"]

    rows = [{"recipe": "soup", "servings": "4", "ratio": "2", "net_carbs": "8", "food": "salt", "grams": "8"}]
    rows += [{"recipe": "soup", **{key: str(value) for key, value in entry.items()}}
             for entry in POTATOES["ingredients"]]
    for exact in (True, False):
        row = solve_menu(framed(rows), options=MenuOptions(exact=exact)).servings.iloc[0]
        assert row["outcome"] == "impossible" and "an empty one" in row["message"]
        assert "Best ratio of a dish that is not empty: 0.412" in row["message"] and "least weight" in row["message"]

    drawn = curve(recipe_from({**POTATOES, "targets": {"ratio": 0.3}, "ingredients": [
        {**entry, "grams": 0} for entry in POTATOES["ingredients"]]}, load_foods()))
    assert any("least weight of the batch is missing" in warning for warning in drawn.warnings)
    asked = curve(recipe_from(POTATOES, load_foods()), of=("ratio",))
    assert asked.curves[0].own is not None and not asked.curves[0].own.reachable


def test_a_recipe_of_nothing_breaks_its_ratio_as_written(tmp_path: Path) -> None:
    """Salt alone: 0 to 0. Pure oil has no denominator, but is above any least ratio."""
    foods = table(tmp_path, food("salt"), food("oil", 100))
    written = dish([{"food": "salt", "grams": 5}], targets={"ratio": 2})
    assert [state.limit.name for state in check(recipe_from(written, foods)).broken] == ["ratio"]
    oily = dish([{"food": "oil", "grams": 5, "min": 0, "max": 9}], targets={"ratio": 2})
    assert check(recipe_from(oily, foods)).kept
    assert isinstance(solve(recipe_from(oily, foods)), Proposal)


def test_drawn_dishes_that_may_be_empty(tmp_path: Path) -> None:
    """Against GLOP with a milligram of fat, protein and carbs at least: an answer is a dish, or there is none.

    Every least weight is 0, some starts are too, some foods have neither fat nor protein nor carbs.
    """
    rng, outcomes = random.Random(11), set()
    for seed in range(40):
        foods = [food(f"f{k}", *(round(rng.uniform(0, most), 1) for most in (rng.choice((2, 20, 50)), 20, 30)))
                 for k in range(3)]
        items = [{"food": row["food"], "grams": rng.choice((0, 0, rng.randint(10, 200))), "min": 0,
                  "max": rng.randint(100, 300)} for row in foods]
        salty = [{"food": "salt", "grams": 4}] if rng.random() < 0.5 else []
        written = dish([*items, *salty], 2, targets={"ratio": rng.choice((0.5, 1, 2, 3)), "net_carbs": 9})
        rows = [*foods, food("salt")]
        recipe = recipe_from(written, table(tmp_path, *rows))
        real = second_opinion.solve_closest(written, rows).status == "optimal"
        for exact in (True, False):
            answer = solve(recipe, exact=exact)
            if isinstance(answer, Proposal):
                facts = answer.facts.amounts
                assert facts["fat_g"] + facts["protein_g"] + facts["net_carbs_g"] > 0, seed
                outcomes.add("solved")
            else:
                assert answer.diagnosis.steps or real == (not answer.diagnosis.conflict), seed
                outcomes.add("no dish" if answer.diagnosis.conflict else "best is empty")
    assert outcomes == {"solved", "no dish", "best is empty"}
