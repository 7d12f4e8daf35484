"""The composition matrix: each figure is looked up once, and what is kept is never taken for another recipe's."""

from __future__ import annotations

import pickle
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from ratio_solver import FoodTable, Policy, Recipe, check, load_foods, read_recipe, solve
from ratio_solver.dish import nutrition
from ratio_solver.dish.constraints import limits_of
from ratio_solver.dish.nutrition import facts_of, known_amounts, least_amounts, ratio_vectors
from ratio_solver.foods.food import Food
from ratio_solver.recipe import model
from ratio_solver.recipe.model import Ingredient, Target

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def dish(*foods: Food, policy: Policy | None = None, yield_: float = 1.0) -> Recipe:
    items = tuple(Ingredient(food.name, food, 100.0, yield_=yield_) for food in foods)
    return Recipe("t", 1, items, policy=policy or Policy())


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_no_figure_is_looked_up_twice(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    looked_up: Counter[tuple[int, str, str]] = Counter()
    alive = []  # so that no other food has the identity of one that was counted

    def counting(food: Food, column: str, policy: Policy, end: str = "") -> Fraction | None:
        alive.append(food)
        looked_up[id(food), column, end] += 1
        return original(food, column, policy, end)  # type: ignore[arg-type]

    original = nutrition.content
    own = [EXAMPLES / "own-foods.csv"] if path.stem == "stuffed-peppers" else []
    recipe = read_recipe(path, load_foods(*own))
    new = {item.food.id: replace(item.food) for item in recipe.ingredients}  # nothing of them is kept yet
    recipe = replace(recipe, ingredients=tuple(replace(item, food=new[item.food.id]) for item in recipe.ingredients))
    monkeypatch.setattr(nutrition, "content", counting)
    for found in (check(recipe), solve(recipe)):
        assert found.cautions
        assert isinstance(found.warnings, tuple)
    assert set(looked_up.values()) == {1}


def test_a_policy_and_a_yield_have_figures_of_their_own() -> None:
    """20 g by difference, 5 g of them fibre and 10 g erythritol: 5 g are net, 15 g where erythritol counts."""
    sweet = Food("sweet", "own:sweet", "by_difference",
                 {"fat_g": 1.0, "protein_g": 2.0, "carbs_g": 20.0, "fibre_g": 5.0, "erythritol_g": 10.0})
    strict = Policy(left_out={"erythritol": 0.0})
    for policy, yield_, net in ((Policy(), 1.0, 5), (strict, 1.0, 15), (Policy(), 0.5, 10), (strict, 0.5, 30)):
        recipe = dish(sweet, policy=policy, yield_=yield_)
        assert known_amounts(recipe, "net_carbs_g") == (Fraction(net, 100),)
        assert ratio_vectors(recipe) == ((1 / Fraction(str(yield_)) / 100,),
                                         (2 / Fraction(str(yield_)) / 100 + Fraction(net, 100),))


def test_a_food_has_its_own_figures_though_another_is_called_the_same() -> None:
    """What is kept for recipes of the same foods is not that of one with the same name and id, nor of fewer."""
    lean, fat = (Food("cut", "own:cut", "available", {"fat_g": grams}) for grams in (5.0, 30.0))
    for foods, vector in (((lean,), (5,)), ((fat,), (30,)), ((fat, lean), (30, 5)), ((fat,), (30,))):
        recipe = dish(*foods)
        assert known_amounts(recipe, "fat_g") == tuple(Fraction(grams, 100) for grams in vector)
        assert check(recipe).facts.amounts["fat_g"] == sum(vector)


def test_what_another_thread_has_computed_meanwhile_is_not_taken_for_ones_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """Between the look at what is kept and its use a recipe of other foods is the last."""
    lean, fat = (Food("cut", "own:cut", "available", {"fat_g": grams}) for grams in (5.0, 30.0))
    alike = model._alike

    def meanwhile(one: model._MadeOf, other: model._MadeOf) -> bool:
        found = alike(one, other)
        monkeypatch.setattr(model, "_alike", alike)
        assert known_amounts(dish(fat), "fat_g") == (Fraction(3, 10),)
        return found

    for _ in range(2):
        assert known_amounts(dish(lean), "fat_g") == (Fraction(5, 100),)
        monkeypatch.setattr(model, "_alike", meanwhile)
    assert known_amounts(dish(lean), "fat_g") == (Fraction(5, 100),)


def test_facts_are_of_the_weights_when_they_were_asked_for() -> None:
    """100 g with 5 g of fat, though the list of the weights is changed before the figure is looked at."""
    weights = [Fraction(100)]
    facts = facts_of(dish(Food("cut", "own:cut", "available", {"fat_g": 5.0})), weights)
    weights[0] = Fraction(900)
    assert facts.amounts["fat_g"] == 5


def test_figures_of_a_serving_are_a_mapping_of_what_is_known() -> None:
    """100 g of each: 3 g fat and 9 g carbohydrate; sodium of one alone is known, so that there is at least 4 mg."""
    root = Food("root", "own:root", "available", {"fat_g": 1.0, "carbs_g": 9.0, "fibre_g": 0.0, "sodium_mg": 4.0})
    bare = Food("bare", "own:bare", "available", {"fat_g": 2.0, "fibre_g": 0.0, "carbs_g": 0.0})
    found = check(dish(root, bare)).facts
    assert found.amounts["sodium_mg"] == 4
    assert found.unknown["sodium_mg"] == ("bare",)
    assert "protein_g" not in found.amounts  # unknown of both
    assert found.amounts.get("vitamin_c_mg") is None
    assert pickle.loads(pickle.dumps(found)) == found
    assert len(found.amounts) == len(list(found.amounts)) == len(set(found.amounts))
    assert {column: float(found.amounts[column]) for column in ("fat_g", "carbs_g")} == {"fat_g": 3, "carbs_g": 9}


def test_unknown_is_not_none(foods: FoodTable) -> None:
    """Fibre is left out by the table and not known: total carbohydrate is at least what the table has."""
    plain = Food("plain", "own:plain", "available", {"fat_g": 1.0, "protein_g": 2.0, "carbs_g": 20.0})
    recipe = dish(plain)
    assert known_amounts(recipe, "carbs_g") == (None,)
    assert least_amounts(recipe, "carbs_g") == (Fraction(1, 5),)
    assert known_amounts(recipe, "sodium_mg") == (None,)
    assert least_amounts(recipe, "sodium_mg") == (0,)


def test_limits_are_made_once_a_recipe_and_follow_a_change(foods: FoodTable) -> None:
    recipe = read_recipe(EXAMPLES / "celeriac-gratin.toml", foods)
    assert limits_of(recipe) is limits_of(recipe)
    assert limits_of(recipe, "mean") is not limits_of(recipe, "food")
    other = recipe.with_targets(Target("ratio", 1.5))
    bounds = [{limit.bound for limit in limits_of(one) if limit.name == "ratio"} for one in (recipe, other)]
    assert bounds[0] != bounds[1] == {Fraction(3, 2)}
    halved = replace(recipe, servings=2 * recipe.servings)
    assert check(halved).facts.amounts["fat_g"] * 2 == check(recipe).facts.amounts["fat_g"]


def test_an_answer_says_what_it_says_once(foods: FoodTable) -> None:
    found = check(read_recipe(EXAMPLES / "celeriac-gratin.toml", foods))
    assert found.facts is found.facts
    assert found.warnings is found.warnings
    assert found.cautions is found.cautions


def test_limits_are_kept_however_they_are_asked_for() -> None:
    """By place, by name, or not at all where that means the same."""
    root = Food("root", "own:root", "available", {"fat_g": 1.0, "protein_g": 1.0, "carbs_g": 9.0})
    recipe = replace(dish(root), targets=(Target("ratio", 2.0),))
    assert limits_of(recipe) is limits_of(recipe, None) is limits_of(recipe, guaranteed=None)
    assert limits_of(recipe, "mean") is limits_of(recipe, guaranteed="mean") is not limits_of(recipe)
