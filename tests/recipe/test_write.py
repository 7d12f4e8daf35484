"""A recipe written as a file reads back as the same recipe."""

from __future__ import annotations

import random
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from ratio_solver import BadInput, FoodTable, Recipe, load_foods, read_recipe, recipe_from, recipe_text
from ratio_solver.errors import one_line
from ratio_solver.foods.policy import Policy
from ratio_solver.recipe.model import Target
from tests.kitchen import drawn, table

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


def again(recipe: Recipe, foods: FoodTable) -> Recipe:
    return recipe_from(tomllib.loads(recipe_text(recipe)), foods, recipe.source)


@pytest.mark.parametrize("seed", range(200))
def test_drawn_recipes_read_back_the_same(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    _, rows, recipe = drawn(seed, tmp_path)
    items = tuple(
        replace(i, label=rng.choice((i.label, f'{i.label} "o\\x" \t#é')), keep=rng.choice((1.0, 0.5, 2.0)),
                yield_=rng.choice((1.0, 1.25, 2.6)), step=rng.choice((None, 0.1, 1e-05, 5.0)))
        for i in recipe.ingredients
    ) if not recipe.proportions and not recipe.chooses else recipe.ingredients
    items = tuple(replace(i, label=" ".join(i.label.split())) for i in items)
    dish = replace(
        recipe, ingredients=items, title=one_line('A "dish" \\ of \x7f é'), note="two lines", method=("one", "two 'x'"),
        pieces=rng.choice((None, 4)), finished_grams=rng.choice((None, 812.5)),
        policy=rng.choice((recipe.policy, Policy("total", {"erythritol": 1.0, "polyols": 0.5, "allulose": 0.0}),
                           Policy(left_out={"erythritol": 0.0, "polyols": 0.0, "allulose": 1.0, "xylitol": 0.25},
                                  energy="9/4/4", mct_energy=8.3))),
    )
    assert again(dish, table(tmp_path, *rows)) == dish


def test_every_kind_of_group_reads_back(tmp_path: Path) -> None:
    foods = load_foods()
    table_ = {
        "title": "t", "servings": 2, "cooking_loss": 0.1,
        "targets": {"ratio": {"min": 1.5, "max": 3}, "net_carbs": 8, "energy": {"max": 600}, "sodium": {"max": 900}},
        "ingredients": [
            {"food": "butter, salted", "label": "butter", "grams": 50, "min": 0, "max": 90, "part": "top layer"},
            {"food": "olive oil", "grams": 10, "min": 0, "max": 50, "part": "top layer"},
            {"food": "egg, whole, raw", "measure": "large", "grams": 100, "min": 50, "max": 150},
            {"food": "celery, raw", "prepared": "boiled", "grams": 200, "part": "x-1"},
        ],
        "parts": {"top layer": {"max": 120}, "x-1": {"min": 10, "max": 500}},
        "proportions": [
            {"of": ["butter"], "to": "top layer", "min": 0.1},
            {"of": "top layer", "to": "batch", "max": 0.9},
            {"of": ["top layer", "egg, whole, raw"], "to": ["batch"], "max": 0.95},
        ],
        "choose": [{"from": ["butter", "olive oil"], "at_most": 1}],
        "policy": {"ratio_formula": "total", "unknown_as_zero": ["magnesium"]},
    }
    recipe = recipe_from(table_, foods, "x")
    assert again(recipe, foods) == recipe


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_examples_read_back_the_same(path: Path) -> None:
    foods = load_foods(*EXAMPLES.glob("*foods*.csv"))
    try:
        recipe = read_recipe(path, foods)
    except BadInput:
        pytest.skip("not a recipe")
    assert again(recipe, foods) == recipe


def test_a_target_without_ends_or_a_nutrient_of_the_user_s_own_is_kept(tmp_path: Path) -> None:
    _, rows, recipe = drawn(3, tmp_path)
    dish = recipe.with_targets(Target("ratio", 2.5, None))
    assert again(dish, table(tmp_path, *rows)) == dish
