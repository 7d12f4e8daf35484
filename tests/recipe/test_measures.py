"""Household measures, in and out."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from ratio_solver import BadInput, FoodTable, check, load_foods, recipe_from
from ratio_solver.foods.food import Food
from ratio_solver.recipe.measures import FARTHEST_OFF, counted_measure, household, measured_grams
from tests.kitchen import dish, food, table_file


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


@pytest.mark.parametrize(("name", "grams", "text"), [
    ("egg, whole, raw", 150, "3 large"),             # USDA SR28: large egg 50 g
    ("butter, salted", "14.2", "1 tbsp"),            # USDA SR28: tablespoon 14.2 g
    ("olive oil", 27, "2 tbsp"),                     # 13.5 g
    ("olive oil", "4.5", "1 tsp"),                   # a third of a tablespoon: 5 and 15 mL
    ("cream, heavy (36 % fat)", "48.75", "3 1/4 tbsp"),
    ("butter, salted", "0.1", ""),
    ("konjac noodles (shirataki), drained", 100, ""),
])
def test_measures_out(foods: FoodTable, name: str, grams: float | str, text: str) -> None:
    food = foods.get(name)
    assert food is not None
    assert str(household(food, Fraction(grams)) or "") == text


def test_measures_in_the_plural(foods: FoodTable) -> None:
    cookies = foods.get("chocolate chip cookies")  # USDA SR28, NDB 18159: a cookie 12.9 g, a large one 14 g
    assert cookies is not None
    assert measured_grams(cookies, "cookies", Fraction(2)) == Fraction("25.8")
    assert measured_grams(cookies, "large cookies", Fraction(2)) == 28


def test_a_measure_never_misses_the_weight_by_more_than_an_eighth(foods: FoodTable) -> None:
    for one in foods:
        for grams in (Fraction(3), Fraction(37), Fraction(250), Fraction(901)):
            found = household(one, grams)
            if found:
                assert abs(found.grams - grams) <= FARTHEST_OFF * grams
                assert found.count * 4 == int(found.count * 4)
                amount, name = counted_measure(str(found)) or (0, "")
                assert (amount, name) == (found.count, found.measure)


def test_a_prepared_weight_has_no_measure(foods: FoodTable) -> None:
    food = foods.get("celery, raw")
    assert food is not None and household(food, Fraction(200)) is not None
    assert household(food, Fraction(200), Fraction(4, 5)) is None


@pytest.mark.parametrize(("text", "grams"), [
    ("3 large", 150), ("1 1/2 large", 75), ("1/2 large", 25), ("2.5 LARGE", 125), ("1 extra large", 56),
])
def test_measures_in(foods: FoodTable, text: str, grams: float) -> None:
    recipe = recipe_from({"title": "t", "servings": 1,
                          "ingredients": [{"food": "egg, whole, raw", "measure": text}]}, foods)
    assert recipe.ingredients[0].start == grams


@pytest.mark.parametrize(("name", "text", "grams"), [
    ("milk, whole", "250 ml", 257.83),                        # 244 g in a cup of 236.588 ml (USDA SR28, NDB 01077)
    ("milk, whole", "1/4 litre", 257.83),
    ("milk, whole", "2 tablespoons", 30),                     # 15 g in one
    ("egg, whole, raw", "2", 100), ("egg, whole, raw", "1 1/2", 75), ("egg, whole, raw", "3 larges", 150),
    ("wheat flour, white, all purpose", "2 cups", 250), ("wheat flour, white, all purpose", "½ cup", 62.5),
    ("cabbage, raw", "3 leaves", 45), ("potato, with skin, raw", "2 large potatoes", 738),
    ("butter, salted", "2 sticks", 226), ("garlic, raw", "2 cloves", 6), ("onion, raw", "2 cups chopped", 320),
    ("onion, raw", "1 kilo", 1000), ("olive oil", "3 teaspoons", 13.5),
])
def test_measures_in_plural_and_volumes(foods: FoodTable, name: str, text: str, grams: float) -> None:
    recipe = recipe_from({"title": "t", "servings": 1, "ingredients": [{"food": name, "measure": text}]}, foods)
    assert recipe.ingredients[0].start == pytest.approx(grams, abs=0.01)


def test_a_volume_needs_a_measure_of_volume_of_its_own_or_of_its_kind(foods: FoodTable, tmp_path: Path) -> None:
    boiled = recipe_from(dish([{"food": "celeriac, boiled", "measure": "100 ml"}]), foods)
    assert boiled.ingredients[0].start == pytest.approx(155 / 2.36588, abs=0.01)
    unheard = load_foods(table_file(tmp_path, food("lantern dust", 1, 2, 3, measures="spoonful=3")))
    with pytest.raises(BadInput, match="expected one of this food's measures: spoonful"):
        recipe_from(dish([{"food": "lantern dust", "measure": "100 ml"}]), unheard)


@pytest.mark.parametrize("text", ["3 tassels", "1/0 large", "3 cloves", "1 handful"])
def test_a_measure_that_the_food_has_not_is_a_fault(foods: FoodTable, text: str) -> None:
    with pytest.raises(BadInput, match="expected one of this food's measures: large"):
        recipe_from({"title": "t", "servings": 1,
                     "ingredients": [{"food": "egg, whole, raw", "measure": text, "grams": 1}]}, foods)


@pytest.mark.parametrize("text", ["m＝1+1", "2 m＝1+1", "２ ｐｏｔ", "pot"])
def test_a_measure_in_full_width_letters_is_found(text: str) -> None:
    """As it stands in the table, or in letters of the usual width."""
    own = Food("own", "x", "available", {}, measures={"m＝1+1": 7, "pot": 9})
    counted = counted_measure(text)
    assert measured_grams(own, counted[1] if counted else text, Fraction(1)) == (7 if "1+1" in text else 9)


@pytest.mark.parametrize(("name", "text", "least", "most"), [
    ("almond flour, blanched", "1 cup", 84, 112), ("coconut flour", "1 cup", 100, 130),
    ("lupin flour", "1 cup", 90, 130), ("xanthan gum", "1 tsp", 2, 4), ("erythritol", "250 ml", 180, 240),
])
def test_a_volume_of_a_food_without_one_is_that_of_its_kind(foods: FoodTable, name: str, text: str, least: float,
                                                           most: float) -> None:
    """Ranges from memory: what packages and kitchen scales give for a cup of these."""
    written = dish([{"food": name, "measure": text}])
    recipe = recipe_from(written, foods)
    assert least <= recipe.ingredients[0].start <= most
    [told] = [warning for warning in check(recipe).warnings if "its table has no volume" in warning]
    assert told.startswith(f"{name}: {text} is ") and "g/ml" in told


def test_a_volume_of_its_own_is_not_told(foods: FoodTable) -> None:
    recipe = recipe_from(dish([{"food": "butter, unsalted", "measure": "1 cup"}]), foods)
    assert recipe.ingredients[0].start == 227 and not [one for one in check(recipe).warnings if "volume" in one]
