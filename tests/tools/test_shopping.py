"""What to buy, by hand: divided by the yield and by what is not thrown away, in whole pieces."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import BadInput, FoodTable, ShoppingList, load_foods, recipe_from, shopping
from ratio_solver.tools.shopping.compute import SECTIONS, section_of
from tests.kitchen import food, table


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def bought(foods: FoodTable, *ingredients: dict[str, Any], servings: int | None = None) -> ShoppingList:
    recipe = recipe_from({"title": "t", "servings": 4, "ingredients": list(ingredients)}, foods)
    weights = tuple(Fraction(repr(start)) for start in recipe.starts)
    return shopping(recipe, weights, servings, foods=foods)


def test_peel_and_yield_by_hand(foods: FoodTable) -> None:
    """860 g of trimmed celeriac, 14 % refuse (NDB 11141): 1,000 g; roasted to 0.8 of it: 1,250 g."""
    (raw,) = bought(foods, {"food": "celeriac, raw", "grams": 860}).purchases
    assert (raw.raw, raw.bought, raw.buy) == (860, 1000, 1000)
    (roasted,) = bought(foods, {"food": "celeriac, raw", "grams": 860, "yield": 0.8}).purchases
    assert (roasted.used, roasted.raw, roasted.bought) == (860, 1075, 1250)
    assert roasted.note == "prepared: yield 0.8, 14 % refuse"


def test_eggs_are_bought_whole(foods: FoodTable) -> None:
    """151 g of egg are more than 3 large ones of 50 g; bought in the shell, 12 % of it (NDB 01123)."""
    (egg,) = bought(foods, {"food": "egg, whole, raw", "grams": 151}).purchases
    assert (egg.pieces, egg.piece, egg.raw) == (4, "large", 151)
    assert egg.buy == Fraction(200) / Fraction(88, 100)
    (egg,) = bought(foods, {"food": "egg, whole, raw", "grams": 132, "piece": 44}).purchases
    assert (egg.pieces, egg.piece) == (3, "medium")


def test_the_same_food_is_added_up_before_it_is_rounded(foods: FoodTable) -> None:
    (egg,) = bought(foods, {"food": "egg, whole, raw", "label": "crust egg", "grams": 70},
                    {"food": "egg, whole, raw", "label": "filling egg", "grams": 80}).purchases
    assert (egg.pieces, egg.used_for) == (3, ("crust egg", "filling egg"))


def test_a_cooked_food_is_bought_raw_where_its_yield_is_known(foods: FoodTable) -> None:
    """Bacon bakes to 0.353 of its weight (USDA SR28 10123 and 10860): 353 g take 1,000 g."""
    (bacon,) = bought(foods, {"food": "bacon, baked", "grams": 353}).purchases
    assert (bacon.food, bacon.raw, bacon.note) == ("bacon, raw", 1000, "baked: yield 0.353")
    (pressed,) = bought(foods, {"food": "bacon, baked", "grams": 353, "yield": 0.8}).purchases
    assert pressed.raw == 1250
    (ham,) = bought(foods, {"food": "ham, boneless, extra lean, roasted", "grams": 300}).purchases
    assert (ham.food, ham.note) == ("ham, boneless, extra lean, roasted", "weight as cooked; no yield known")
    (roasted,) = bought(foods, {"food": "almonds, dry roasted", "grams": 30}).purchases
    assert roasted.note == ""


def test_servings_multiply_and_pieces_stay_whole(foods: FoodTable) -> None:
    items = ({"food": "egg, whole, raw", "grams": 150}, {"food": "salt", "grams": 4.1})
    ten = bought(foods, *items, servings=10)
    assert ten.servings == 10
    egg, salt = ten.purchases
    assert (egg.raw, egg.pieces) == (375, 8)
    assert (salt.used, salt.buy) == (Fraction(41, 4), 11)
    assert bought(foods, *items).purchases[1].buy == Fraction(41, 10)
    with pytest.raises(BadInput, match="--servings"):
        bought(foods, *items, servings=0)


def test_unused_foods_are_not_bought_and_sections_have_their_order(foods: FoodTable) -> None:
    found = bought(foods, {"food": "salt", "grams": 4}, {"food": "olive oil", "grams": 0},
                   {"food": "celery, raw", "grams": 100}, {"food": "water, tap", "grams": 500})
    assert [p.section for p in found.purchases] == ["vegetables and fruit", "seasonings and stocks", "water, tap"]


def test_every_role_has_its_section(foods: FoodTable) -> None:
    assert {section_of(item) for item in foods} <= {*SECTIONS, "water, tap"}
    assert not [item.name for item in foods if section_of(item) == "other" and item.role]


def test_prices_are_of_what_is_bought(tmp_path: Path) -> None:
    own = table(tmp_path, food("root", carbs=5, price_per_kg=2, refuse_percent=20), food("leaf", carbs=3))
    found = bought(own, {"food": "root", "grams": 400}, {"food": "leaf", "grams": 50})
    assert [p.price for p in found.purchases] == [1, None]
    assert (found.price, found.unpriced) == (1, ("leaf",))
    assert bought(own, {"food": "leaf", "grams": 50}).price is None
