"""The same dish in another size: pieces stay whole, the finished weight goes along."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from ratio_solver import BadInput, FoodTable, Recipe, check, load_foods, recipe_from
from ratio_solver.recipe.change import scaled


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def dish(foods: FoodTable, egg: dict[str, Any], servings: int = 4) -> Recipe:
    return recipe_from({"title": "t", "servings": servings, "finished_grams": 900,
                        "ingredients": [{"food": "egg, whole, raw", "label": "egg", **egg},
                                        {"food": "butter, salted", "grams": 80, "min": 20, "max": 90}]}, foods)


def test_fixed_pieces_must_stay_whole(foods: FoodTable) -> None:
    """Three eggs times 2.5 are seven and a half; the nearest sizes with whole eggs and servings are 2 and 3."""
    three = dish(foods, {"grams": 150, "piece": 50})
    with pytest.raises(BadInput) as bad:
        scaled(three, 2.5)
    text = str(bad.value)
    assert "whole pieces of egg; 3 times 2.5 is 7.5; 2 and 3 give whole pieces and servings" in text
    for factor in (2, 3):
        assert scaled(three, factor).ingredients[0].start == 150 * factor
    four = dish(foods, {"grams": 200, "piece": 50})
    assert scaled(four, 2.5).ingredients[0].start == 500
    assert scaled(four, 0.25).ingredients[0].start == 50


def test_the_factors_named_are_good_ones(foods: FoodTable) -> None:
    for pieces, servings, factor in ((3, 6, 1.5), (4, 6, 1.5), (5, 10, 0.3), (7, 7, 2), (6, 9, 1 / 3)):
        recipe = dish(foods, {"grams": 50 * pieces, "piece": 50}, servings)
        try:
            scaled(recipe, factor)
        except BadInput as bad:
            named = str(bad).split("; ")[-1].split(" give ")[0]
            for text in named.split(" and ") if "give whole pieces" in str(bad) else ():
                grown = scaled(recipe, float(text))
                assert abs(grown.ingredients[0].start / 50 - round(grown.ingredients[0].start / 50)) < 1e-6


def test_what_is_not_whole_to_begin_with_is_told_and_scaled(foods: FoodTable) -> None:
    half = dish(foods, {"grams": 130, "piece": 50})
    assert scaled(half, 2.5).ingredients[0].start == 325
    assert any("egg is no whole number of pieces: 130 g is 2.6 of 50 g" in w for w in check(half).warnings)


def test_adjustable_pieces_are_left_to_the_solver(foods: FoodTable) -> None:
    grown = scaled(dish(foods, {"grams": 150, "piece": 50, "min": 100, "max": 250}), 2.5)
    egg = grown.ingredients[0]
    assert (egg.start, egg.minimum, egg.maximum, egg.piece) == (375, 250, 625, 50)


def test_the_finished_batch_grows_too(foods: FoodTable) -> None:
    recipe = dish(foods, {"grams": 200})
    assert scaled(recipe, 2.5).finished_grams == 2250
    assert check(scaled(recipe, 2.5)).facts.cooked == check(recipe).facts.cooked
    assert scaled(replace(recipe, finished_grams=None, cooking_loss=0.1), 2.5).cooking_loss == 0.1
