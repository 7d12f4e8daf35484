"""Servings add up to the batch exactly, whatever the step and the number of servings."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, FoodTable, Proposal, Recipe, load_foods, portions, read_recipe, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.recipe.model import Ingredient
from ratio_solver.tools.portions.compute import dealt, portion_count
from tests.kitchen import dish, drawn, table
from tests.kitchen import food as food_row

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods(*EXAMPLES.glob("*foods*.csv"))


@pytest.mark.parametrize("seed", range(200))
def test_shares_add_up_and_differ_by_one_step(seed: int) -> None:
    rng = random.Random(seed)
    step = rng.choice((Fraction(1), Fraction(1, 10), Fraction(5), Fraction(1, 2)))
    total, servings = step * rng.randint(0, 5000), rng.randint(1, 40)
    shares = dealt(total, step, servings, rng.randint(0, 50))
    assert len(shares) == servings and sum(shares) == total
    assert all(share % step == 0 for share in shares)
    assert max(shares) - min(shares) <= step
    odd = total + step * Fraction(rng.randint(1, 99), 100)
    shares = dealt(odd, step, servings)
    assert sum(shares) == odd and max(shares) - min(shares) <= step
    assert sum(1 for share in shares if share % step) == 1


def test_a_batch_of_700_g_in_portions_of_100_g_makes_7() -> None:
    """Common practice, no source."""
    assert portion_count(Fraction(700), 100) == 7
    assert portion_count(Fraction(712), 100) == 7
    assert portion_count(Fraction(699), 100) == 6
    assert portion_count(Fraction(3), 0.1) == 30


@pytest.mark.parametrize("grams", [0, -1, float("nan"), float("inf"), 701, 1e-9])
def test_other_portions_are_faults(grams: float) -> None:
    with pytest.raises(BadInput, match="--portion-grams"):
        portion_count(Fraction(700), grams)


def adds_up(recipe: Recipe, weights: tuple[Fraction, ...]) -> None:
    found = portions(recipe, weights)
    assert sum(serving.count for serving in found.servings) == recipe.servings
    for place, weight in enumerate(weights):
        assert sum(serving.count * serving.grams[place] for serving in found.servings) == weight
    for share in found.ingredients:
        assert sum(share.grams) == share.total and len(share.grams) == recipe.servings
        assert sum(count * grams for count, grams in share.counts) == share.total
    assert sum(share.total for share in found.parts) == sum(weights) == found.batch
    for share in found.parts:
        assert sum(share.grams) == share.total


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_servings_of_every_example_add_up_to_the_batch(path: Path, foods: FoodTable) -> None:
    try:
        recipe = read_recipe(path, foods)
    except BadInput:
        pytest.skip("not a recipe")
    adds_up(recipe, tuple(Fraction(repr(start)) for start in recipe.starts))
    answer = solve(recipe)
    if isinstance(answer, Proposal):
        adds_up(recipe, tuple(weight.grams for weight in answer.weights))


@pytest.mark.parametrize("seed", range(60))
def test_servings_of_drawn_recipes_add_up(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    _, _, recipe = drawn(seed, tmp_path)
    weights = tuple(Fraction(rng.randint(0, 10**6), rng.choice((1, 10, 1000))) for _ in recipe.ingredients)
    adds_up(recipe, weights)


def test_an_even_serving_holds_the_ratio_of_the_batch(tmp_path: Path) -> None:
    _, _, recipe = drawn(5, tmp_path)
    weights = tuple(Fraction(120) for _ in recipe.ingredients)
    batch = portions(replace(recipe, servings=1), weights).facts
    for servings in (2, 3, 10):
        found = portions(replace(recipe, servings=servings), weights)
        assert found.facts.ratio == batch.ratio
        assert all(share.even * servings == share.total for share in (*found.ingredients, *found.parts))


def test_extras_do_not_all_go_to_the_first_serving(foods: FoodTable) -> None:
    """Ten ingredients of 100 g in 3 servings: the heaviest serving is at most 0.1 g above the lightest."""
    food = foods.get("celery, raw")
    assert food is not None
    items = tuple(Ingredient(f"{k}", food, 100.0) for k in range(10))
    found = portions(Recipe("t", 3, items), (Fraction(100),) * 10)
    totals = [sum(serving.grams) for serving in found.servings]
    assert max(totals) - min(totals) <= Fraction(1, 10)


def test_portions_are_of_the_cooked_batch_where_its_weight_is_known(foods: FoodTable) -> None:
    food = foods.get("celery, raw")
    assert food is not None
    recipe = Recipe("t", 4, (Ingredient("celery", food, 1000.0),), finished_grams=712.0)
    found = portions(recipe, (Fraction(1000),), portion_grams=100)
    assert (found.recipe.servings, found.left, found.portion) == (7, 12, 100)
    assert found.facts.cooked == 100
    raw = portions(replace(recipe, finished_grams=None), (Fraction(1000),), portion_grams=100)
    assert (raw.recipe.servings, raw.left) == (10, 0)


def test_many_servings_stay_quick_to_sum(foods: FoodTable) -> None:
    food = foods.get("celery, raw")
    assert food is not None
    items = tuple(Ingredient(f"{k}", food, 1.0) for k in range(6))
    found = portions(Recipe("t", 20_000, items), tuple(Fraction(100_003 + 7 * k) for k in range(6)))
    assert len(found.servings) <= 13


LEAF_AND_FAT = (food_row("leaf", 0, 5, 10, 5), food_row("fat", 100))


def test_a_portion_that_is_asked_for_is_what_is_weighed_out(tmp_path: Path) -> None:
    """Of 700 g leaf (5 protein, 5 net) and 300 g fat three portions of 300 g: 210 and 90 g each, 70 and 30 g left.

    One holds 90 g fat, 10.5 g protein and 10.5 g net carbs: 90 : 21 is 4.28.
    """
    recipe = recipe_from(dish([{"food": "leaf", "grams": 700}, {"food": "fat", "grams": 300}], 4),
                         table(tmp_path, *LEAF_AND_FAT))
    found = portions(recipe, (Fraction(700), Fraction(300)), portion_grams=300)
    assert (found.recipe.servings, found.left, found.facts.weight) == (3, 100, 300)
    assert [(share.grams, share.left) for share in found.ingredients] == [((210,) * 3, 70), ((90,) * 3, 30)]
    assert [(share.grams, share.left) for share in found.parts] == [((300,) * 3, 100)]
    assert found.facts.amounts["net_carbs_g"] == Fraction("10.5") and found.facts.ratio == Fraction(90, 21)
    assert [(serving.count, serving.grams) for serving in found.servings] == [(3, (210, 90))]


def test_a_cooked_portion_is_weighed_out_as_what_goes_in(tmp_path: Path) -> None:
    """1000 g that cook down to 800: two portions of 300 g are 375 g raw each; 200 g cooked are left, 250 g raw."""
    items = [{"food": "leaf", "grams": 700}, {"food": "fat", "grams": 300}]
    for more in ({"finished_grams": 800}, {"cooking_loss": 0.2}):
        recipe = recipe_from(dish(items, 4, **more), table(tmp_path, *LEAF_AND_FAT))
        found = portions(recipe, (Fraction(700), Fraction(300)), portion_grams=300)
        assert (found.left, found.facts.weight, found.facts.cooked) == (200, 375, 300)
        assert [share.left for share in found.ingredients] == [175, 75]
        assert found.ingredients[0].grams == (Fraction("262.5"),) * 2
        told = " ".join(found.report().split())  # 262.5 g beside a portion of 300 g cooked
        assert "All shares are as weighed in, before anything is cooked." in told


@pytest.mark.parametrize("seed", range(40))
def test_portions_and_what_is_left_add_up(seed: int, tmp_path: Path) -> None:
    """Whatever the portion: to the batch exactly, and each within a step and a half of an exact share."""
    rng = random.Random(seed)
    _, _, recipe = drawn(seed, tmp_path)
    weights = tuple(Fraction(rng.randint(500, 10**5), 100) for _ in recipe.ingredients)
    grams = round(float(sum(weights)) / rng.uniform(1, 9), 1)
    found = portions(replace(recipe, finished_grams=None, cooking_loss=None), weights, portion_grams=grams)
    for share in (*found.ingredients, *found.parts):
        assert sum(share.grams) + share.left == share.total and share.left >= 0
        step = max((Fraction(repr(i.step)) for i in recipe.ingredients if i.label == share.ingredient and i.step),
                   default=Fraction(1, 10))
        assert all(abs(one - share.even) < step * Fraction(3, 2) for one in share.grams)
    assert found.facts.weight == Fraction(repr(grams))


def test_what_is_not_in_the_dish_is_not_warned_of(tmp_path: Path) -> None:
    """Of a food of 0 g neither fibre, allergens nor figures without an interval are told; of one that is used all."""
    rows = (food_row("leaf", 0, 5, 10, 5, allergens="none"), food_row("fat", 100, allergens="none"),
            food_row("meal", 1, 9, 60, ""))
    items = [{"food": "leaf", "grams": 700}, {"food": "fat", "grams": 300},
             {"food": "meal", "grams": 0, "min": 0, "max": 90}]
    recipe = recipe_from(dish(items, 4, targets={"ratio": 2}), table(tmp_path, *rows))
    for grams, told in ((0, False), (40, True)):
        found = portions(recipe, (Fraction(700), Fraction(300), Fraction(grams)), guaranteed="mean")
        assert any("meal" in warning for warning in found.warnings) == told
        assert ("meal" in str(found.to_dict()["policy"])) == told


@pytest.mark.parametrize("command", ["portions", "shopping"])
def test_a_dish_that_needs_more_time_is_not_called_impossible(command: str, monkeypatch: pytest.MonkeyPatch,
                                                              tmp_path: Path) -> None:
    """Of a band that whole grams seldom meet nothing is known in no time: there may be weights."""
    recipe = (EXAMPLES / "moussaka.toml").read_text(encoding="utf-8")
    path = tmp_path / "moussaka.toml"
    path.write_text(re.sub(r"(?m)^ratio = .*$", "ratio = {min = 1.25, max = 1.25}", recipe), encoding="utf-8")

    def timed(*rest: Any, time_limit: float | None, **more: Any) -> Any:
        return solve(*rest, time_limit=0, **more)

    monkeypatch.setattr("ratio_solver.solving.solve.solve", timed)
    ran = CliRunner().invoke(main, [command, str(path), "--foods", str(EXAMPLES / "own-foods.csv")])
    assert (ran.exit_code, ran.stdout) == (3, "")
    told = " ".join(ran.stderr.split())
    assert "undecided; the command solve says why" in told and "impossible" not in told
