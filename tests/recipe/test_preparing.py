"""Prepared weights: raw weights times yield, nutrients conserved, the finished dish."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from ratio_solver import BadInput, FoodTable, check, load_foods, recipe_from
from ratio_solver.dish.nutrition import facts_of
from ratio_solver.foods.content import content
from ratio_solver.foods.policy import Policy
from ratio_solver.recipe.heat import raw_grams
from ratio_solver.recipe.model import Ingredient, Recipe

MACROS = ("fat_g", "protein_g", "carbs_g", "fibre_g", "net_carbs_g", "energy_kcal")


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def read(foods: FoodTable, *ingredients: dict[str, Any], **more: Any) -> Recipe:
    return recipe_from({"title": "t", "servings": 4, "ingredients": list(ingredients), **more}, foods)


def test_raw_weight_times_yield_gives_the_prepared_weight(foods: FoodTable) -> None:
    rng = random.Random(7)
    food = foods.get("celery, raw")
    assert food is not None
    for _ in range(300):
        item = Ingredient("x", food, 1.0, yield_=round(rng.uniform(0.05, 6), rng.randint(1, 4)))
        grams = Fraction(rng.randint(1, 10**6), 1000)
        assert raw_grams(item, grams) * Fraction(str(item.yield_)) == grams


def test_macronutrients_are_conserved_through_any_chain_of_yields(foods: FoodTable) -> None:
    """A food prepared in steps holds what it held raw: the weight changes with each yield, nothing else does."""
    rng = random.Random(11)
    names = [food.name for food in foods if food.role in ("vegetable", "mushroom", "legume", "grain")]
    for _ in range(200):
        food = foods.get(rng.choice(names))
        assert food is not None
        raw = Fraction(rng.randint(1, 10**5), 100)
        chain = [Fraction(rng.randint(50, 4000), 1000) for _ in range(rng.randint(1, 5))]
        weight, whole = raw, Fraction(1)
        for share in chain:
            weight, whole = weight * share, whole * share
            decimals = Fraction(repr(float(whole)))  # what a recipe can say of the chain so far
            item = Ingredient("x", food, 0.0, yield_=float(whole))
            recipe = Recipe("t", 1, (item,))
            facts = facts_of(recipe, (raw * decimals,))
            for column in MACROS:
                held = content(food, column, Policy())
                if held is not None:
                    assert facts.amounts[column] == held / 100 * raw
        assert weight == raw * whole


def test_prepared_is_looked_up_and_its_source_is_told(foods: FoodTable) -> None:
    recipe = read(foods, {"food": "mushrooms, white, raw", "grams": 863, "prepared": "Stir-Fried"})
    item = recipe.ingredients[0]
    assert (item.prepared, item.yield_) == ("stir-fried", 0.863)
    found = check(recipe)
    assert found.facts.amounts["protein_g"] * 4 == Fraction("30.9")  # 1,000 g raw, 3.09 g in 100 g (NDB 11260)
    assert any("computed from USDA SR28 NDB 11260 raw and 11263 cooked, by protein" in w for w in found.warnings)


@pytest.mark.parametrize(("more", "expected"), [
    ({"prepared": "roasted"}, r"has no yield for celery, raw; expected one of boiled"),
    ({"prepared": "boild"}, r"did you mean boiled\?"),
    ({"prepared": "boiled", "yield": 0.8}, "expected prepared or yield, not both"),
    ({"prepared": 3}, "expected a text"),
])
def test_faults_of_prepared(foods: FoodTable, more: dict[str, Any], expected: str) -> None:
    with pytest.raises(BadInput, match=expected):
        read(foods, {"food": "celery, raw", "grams": 100, **more})


def test_a_food_without_yields_is_a_fault_that_says_so(foods: FoodTable) -> None:
    with pytest.raises(BadInput, match="a food that the table of yields has; give its yield instead"):
        read(foods, {"food": "butter, salted", "grams": 100, "prepared": "melted"})


def test_the_finished_dish_gives_the_cooked_weight_of_a_serving(foods: FoodTable) -> None:
    plain = read(foods, {"food": "celery, raw", "grams": 1000})
    by_loss, by_scale = replace(plain, cooking_loss=0.12), replace(plain, finished_grams=880.0)
    for recipe in (by_loss, by_scale):
        found = check(recipe)
        assert found.facts.cooked == 220
        assert found.facts.weight == 250
        assert found.facts.amounts == check(plain).facts.amounts
    assert check(plain).facts.cooked is None


def test_more_than_water_cannot_have_left(foods: FoodTable) -> None:
    """100 g of celery hold 95.43 g of water (NDB 11143): 4.57 g cannot boil away."""
    recipe = read(foods, {"food": "celery, raw", "grams": 100}, finished_grams=4)
    assert any("less than its dry matter, 5 g" in warning for warning in check(recipe).warnings)
    assert not check(replace(recipe, finished_grams=5.0)).warnings
    assert any("weighs more than the 100 g" in w for w in check(replace(recipe, finished_grams=120.0)).warnings)


def test_dry_matter_is_what_heat_left(foods: FoodTable) -> None:
    """Of 500 g of ground lamb (NDB 17224) broiled, 0.56 of 23.41 % fat and 16.56 % protein stay: 148 g; the raw lamb
    has 40.53 % that is not water: 203 g."""
    lamb = {"food": "lamb, ground, raw", "grams": 500}
    for more, dry in (({}, 203), ({"drippings": "lost"}, 148)):
        recipe = read(foods, lamb | more, finished_grams=100)
        assert any(f"less than its dry matter, {dry} g" in warning for warning in check(recipe).warnings)


def test_faults_of_the_finished_dish(foods: FoodTable) -> None:
    with pytest.raises(BadInput) as bad:
        read(foods, {"food": "celery, raw", "grams": 100}, finished_grams=0, cooking_loss=12)
    assert [fault.place for fault in bad.value.faults] == ["finished_grams", "cooking_loss", "cooking_loss"]
