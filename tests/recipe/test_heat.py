"""What heat takes of a dish: drippings lost, kept, or not known; and that a prepared food weighs what it holds."""

from __future__ import annotations

import math
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from ratio_solver import (
    BadInput,
    FoodTable,
    Recipe,
    add_fat,
    adjust,
    check,
    load_foods,
    portions,
    recipe_from,
    recipe_text,
    shopping,
    solve,
    solve_menu,
    swap,
)
from tests.kitchen import food, table

BACON = {"fat": 39.69, "protein": 12.62, "carbs": 1.28}
"""NDB 10123, per 100 g raw; 39 % of its fat is in the baked rashers (10860), 0.353 of the weight."""


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def read(foods: FoodTable, *ingredients: dict[str, Any], **more: Any) -> Recipe:
    return recipe_from({"title": "t", "servings": 1, "ingredients": list(ingredients), **more}, foods)


def fat(recipe: Recipe) -> float:
    return float(check(recipe).facts.amounts["fat_g"])


def told(recipe: Recipe) -> str:
    return " | ".join(check(recipe).warnings)


def faults(foods: FoodTable, *ingredients: dict[str, Any], **more: Any) -> str:
    with pytest.raises(BadInput) as bad:
        read(foods, *ingredients, **more)
    return str(bad.value)


# --- lost, kept, not known ---------------------------------------------------------------------------------


def test_drippings_are_lost_unless_the_cook_says_kept(foods: FoodTable) -> None:
    """100 g of baked rashers come from 283 g raw: 43.9 g of fat stay in them, 112.4 g were in them."""
    baked = {"food": "bacon, raw", "prepared": "baked", "grams": 100}
    lost, kept = read(foods, baked), read(foods, baked | {"drippings": "kept"})
    assert fat(lost) == fat(read(foods, baked | {"drippings": "lost"})) == pytest.approx(BACON["fat"] * 0.39 / 0.353)
    assert fat(kept) == pytest.approx(BACON["fat"] / 0.353)
    for column in ("protein", "carbs"):
        assert float(check(lost).facts.amounts[f"{column}_g"]) == pytest.approx(BACON[column] / 0.353)
    assert "baked, yield 0.353, 39 % of its fat stays, computed from USDA SR28 NDB 10123 raw and 10860" in told(lost)
    assert "baked, yield 0.353, drippings kept, so all its fat and juices stay in the dish" in told(kept)
    energy = [float(check(dish).facts.amounts["energy_kcal"]) for dish in (lost, kept)]
    assert energy[1] - energy[0] == pytest.approx(9 * (fat(kept) - fat(lost)))


def test_a_yield_of_the_cook_s_own_takes_the_nearest_way(foods: FoodTable) -> None:
    """Ground beef: broiled 0.667 keeps 0.59 of its fat, pan-browned 0.636 keeps 0.55 (SR28 23572, 23573, 23575)."""
    beef = {"food": "beef, ground, 20 % fat, raw", "grams": 100}
    near, far = read(foods, beef | {"yield": 0.66}), read(foods, beef | {"yield": 0.5})
    assert fat(near) == pytest.approx(20 * 0.59 / 0.66) and fat(far) == pytest.approx(20 * 0.55 / 0.5)
    assert "yield 0.66, 59 % of its fat stays as when broiled (yield 0.667), the nearest way known" in told(near)
    assert "as when pan-browned (yield 0.636)" in told(far)


def cut(ratio: float) -> str:
    """A ratio as it is told: never above what it is."""
    return f"{math.floor(100 * ratio) / 100:.2f}"


def test_where_no_way_is_known_the_range_is_told(foods: FoodTable) -> None:
    """Pork belly, 53.01 g of fat and 9.34 g of protein (NDB 10005): 5.675:1, or 1.589:1 with 28 % of the fat, which is
    what microwaved bacon keeps (10861), the least of any meat."""
    belly = read(foods, {"food": "pork belly, raw", "yield": 0.9, "grams": 100})
    assert fat(belly) == pytest.approx(53.01 / 0.9)
    assert "yield 0.9, what heat takes of its fat is not known, so all of it counts" in told(belly)
    assert "the ratio is 5.67:1, and 1.58:1 where only the least known of it stays" in told(belly)
    assert "pork belly, raw 28 %, as bacon, raw microwaved" in told(belly)
    lost = read(foods, {"food": "pork belly, raw", "drippings": "lost", "grams": 100})
    assert fat(lost) == pytest.approx(53.01) and "1.58:1" in told(lost)
    kept = read(foods, {"food": "pork belly, raw", "yield": 0.9, "drippings": "kept", "grams": 100})
    assert "1.58:1" not in told(kept) and fat(kept) == fat(belly)
    swollen = read(foods, {"food": "bacon, raw", "yield": 1.1, "grams": 100})
    assert fat(swollen) == pytest.approx(BACON["fat"] / 1.1) and "2.85:1, and 0.79:1" in told(swollen)


def test_raw_meat_in_a_dish_that_is_weighed_cooked_asks_for_the_drippings(foods: FoodTable) -> None:
    """200 g of ground lamb, 23.41 g of fat and 16.56 g of protein (NDB 17224), broiled it keeps 0.56 of the fat."""
    lamb = {"food": "lamb, ground, raw", "label": "lamb", "grams": 200}
    oil = {"food": "olive oil", "grams": 20}
    now, then = (2 * 23.41 + 20) / (2 * 16.56), (2 * 23.41 * 0.56 + 20) / (2 * 16.56)
    for weighed in ({"finished_grams": 180}, {"cooking_loss": 0.2}):
        said = told(read(foods, lamb, oil, **weighed))
        assert f"the ratio is {cut(now)}:1, and {cut(then)}:1" in said and "lamb 56 % when broiled" in said
        assert said.endswith('drippings = "kept" or "lost" says which')
        kept = read(foods, lamb | {"drippings": "kept"}, oil, **weighed)
        assert f"{cut(then)}:1" not in told(kept) and fat(kept) == pytest.approx(2 * 23.41 + 20)
        lost = read(foods, lamb | {"drippings": "lost"}, oil, **weighed)
        assert float(check(lost).facts.ratio or 0) == pytest.approx(then, abs=1e-3)
        assert "56 % of its fat stays as when broiled (yield 0.669), the leanest way known" in told(lost)
    assert "heat" not in told(read(foods, lamb, oil))
    cod = {"food": "cod, raw", "grams": 2000}  # what stays of its fat is not known; of 200 g it is less than is shown
    assert "0.08:1 where only the least known of it stays" in told(read(foods, cod, oil, finished_grams=1800))
    said = told(read(foods, {"food": "mackerel, raw", "grams": 150, "prepared": "cooked"}, oil))
    assert "what stays of its fat is not known, so all of it counts" in said and "where only the least known" in said
    cooked = {"food": "beef, ground, 20 % fat, patty, broiled", "grams": 200}
    assert told(read(foods, cooked, oil, finished_grams=190)) == ""


def test_without_weights_no_ratio_is_told(foods: FoodTable) -> None:
    lamb = {"food": "lamb, ground, raw", "grams": 200, "min": 100, "max": 200}
    answer = solve(read(foods, lamb, finished_grams=180, targets={"ratio": 9}))
    assert answer.outcome == "impossible"
    [said] = [text for text in answer.warnings if "heat" in text]
    assert ":1" not in said


def test_a_food_of_one_s_own_goes_by_its_role(tmp_path: Path) -> None:
    own = table(tmp_path, food("shoulder", 20, 18, role="meat", source="butcher"), food("leaf", 0, 2, 3, 1))
    assert "is not known, so all of it counts" in told(read(own, {"food": "shoulder", "grams": 90, "yield": 0.7}))
    assert "yield" not in told(read(own, {"food": "leaf", "grams": 90, "yield": 0.7}))


# --- a prepared food weighs what it holds ------------------------------------------------------------------


def test_100_g_never_hold_more_than_100_g(foods: FoodTable) -> None:
    oats = faults(foods, {"food": "oats, rolled, dry", "grams": 100, "yield": 0.01})
    assert "ingredients[1].yield" in oats and "would hold 8737.0 g" in oats and "a yield of 0.87 or more" in oats
    assert "would hold 124.7 g" in faults(foods, {"food": "pork belly, raw", "grams": 100, "yield": 0.5})
    shrunk = {"food": "bacon, raw", "grams": 100, "yield": 0.2, "drippings": "kept"}
    assert "100 g of bacon, raw as weighed would hold" in faults(foods, shrunk)
    assert fat(read(foods, {"food": "pork belly, raw", "grams": 100, "yield": 0.5, "drippings": "kept"})) == \
        pytest.approx(2 * 53.01)  # what is beside it in the pan is part of the dish, not of its weight
    edge = float(Fraction("8737") / Fraction("100.5") / 100)
    read(foods, {"food": "oats, rolled, dry", "grams": 100, "yield": edge + 1e-6})
    faults(foods, {"food": "oats, rolled, dry", "grams": 100, "yield": edge - 1e-6})


@pytest.mark.parametrize(("more", "expected"), [
    ({"drippings": "keep"}, r"drippings: got 'keep'; expected one of kept, lost; did you mean kept\?"),
    ({"drippings": 1}, "expected a text"),
    ({"food": "celery, raw", "drippings": "lost"}, "said of meat, poultry, fish, shellfish; the role of celery"),
    ({"prepared": "fried", "drippings": "lost"}, "has no yield for bacon, raw; expected one of baked, pan-fried"),
])
def test_faults(foods: FoodTable, more: dict[str, Any], expected: str) -> None:
    with pytest.raises(BadInput, match=expected):
        read(foods, {"food": "bacon, raw", "grams": 100} | more)


# --- everything else that reads a recipe -------------------------------------------------------------------


ROAST = {"food": "duck, meat and skin, raw", "label": "duck", "prepared": "roasted", "grams": 300, "min": 200,
         "max": 400}
FRY = {"food": "beef, ground, 20 % fat, raw", "label": "beef", "yield": 0.7, "grams": 200, "drippings": "kept"}
LEEK = {"food": "leek, raw", "label": "leek", "grams": 200}
OIL = {"food": "olive oil", "label": "oil", "grams": 10, "min": 0, "max": 150}
TARGETS = {"ratio": 2}


def dish(foods: FoodTable) -> Recipe:
    return read(foods, ROAST, FRY, LEEK, OIL, targets=TARGETS)


def test_a_dish_that_is_written_reads_back_the_same(foods: FoodTable) -> None:
    recipe = dish(foods)
    text = recipe_text(recipe)
    assert 'drippings = "kept"' in text and text.count("drippings") == 1 and 'prepared = "roasted"' in text
    again = recipe_from(tomllib.loads(text), foods, recipe.source)
    assert again == recipe and check(again).facts == check(recipe).facts


def test_solve_add_fat_adjust_and_portions_count_what_is_left(foods: FoodTable) -> None:
    """By hand from the table: duck 39.34 x 0.44 / 0.605, beef 20 / 0.7 with its drippings, leek and oil."""
    answer = solve(dish(foods), exact=True)
    duck, beef, leek, oil = (float(weight.grams) for weight in answer.weights)
    above = duck * 0.3934 * 0.44 / 0.605 + beef * 0.20 / 0.7 + leek * 0.003 + oil
    below = duck * 0.1149 / 0.605 + beef * 0.1717 / 0.7 + leek * (0.015 + 0.1415 - 0.018)
    assert above / below == pytest.approx(2, abs=1e-6)
    bare = read(foods, ROAST | {"min": 300, "max": 300}, FRY, LEEK, targets=TARGETS)
    assert add_fat(bare, foods).candidates
    weighed = adjust(dish(foods), weighed={"duck": 320})
    assert weighed.answer.outcome == "solved"
    served = portions(dish(foods), tuple(weight.grams for weight in answer.weights))
    assert float(served.facts.ratio or 0) == pytest.approx(2, abs=1e-3)


def test_a_swap_takes_heat_along(foods: FoodTable) -> None:
    """Goose roasts to 0.630 and keeps 0.41 of its fat (SR28 05146, 05147); pork belly has no way of its own."""
    after = swap(dish(foods), foods, [("duck", "goose, meat and skin, raw")]).swaps[0].new
    assert (after.yield_, after.prepared) == (0.63, "roasted")
    assert after.food.amounts["fat_g"] == pytest.approx(33.62 * 0.41)
    kept = swap(dish(foods), foods, [("beef", "lamb, ground, raw")]).swaps[0].new
    assert kept.drippings == "kept" and kept.food.amounts["fat_g"] == 23.41
    leek = swap(dish(foods), foods, [("beef", "leek, raw")]).swaps[0].new
    assert leek.drippings is None and leek.yield_note == ""
    with pytest.raises(BadInput, match=r"pork belly, raw as weighed would hold 103\.1 g"):
        swap(dish(foods), foods, [("duck", "pork belly, raw")])


def test_shopping_buys_what_a_cook_buys(foods: FoodTable) -> None:
    """Shelled nuts and kernels by their weight; thighs and drumsticks with a bone of 17 and 33 %, chops with 27 %."""
    items = [{"food": name, "grams": grams} for name, grams in (
        ("almonds", 50), ("walnuts", 50), ("sunflower seeds", 50), ("chicken thigh, with skin, raw", 830),
        ("chicken thigh, skinless, raw", 500), ("chicken drumstick, with skin, raw", 670),
        ("lamb rib (rack), raw", 730), ("brazil nuts", 30))]
    recipe = read(foods, *items, {"food": "bacon, raw", "prepared": "baked", "grams": 353},
                  {"food": "celeriac, boiled", "grams": 300})
    bought = {p.food: p.buy for p in shopping(recipe, tuple(map(Fraction, recipe.starts)), foods=foods).purchases}
    assert bought == {
        "almonds": 50, "walnuts": 50, "sunflower seeds": 50, "brazil nuts": 30, "chicken thigh, with skin, raw": 1000,
        "chicken thigh, skinless, raw": 500, "chicken drumstick, with skin, raw": 1000, "lamb rib (rack), raw": 1000,
        "bacon, raw": 1000, "celeriac, raw": 349}  # 300 g and 14 % of peel


def test_a_menu_says_what_solve_says(foods: FoodTable) -> None:
    """With a yield, a way, a statement, and a yield that is a fault, beside a dish that the arrays hold."""
    def rows(name: str, **duck: str) -> list[dict[str, str]]:
        first = {"recipe": name, "servings": "1", "ratio": "2", "food": "duck, meat and skin, raw", "grams": "300",
                 "min": "200", "max": "400", **duck}
        return [first, {"recipe": name, "food": "leek, raw", "grams": "200"},
                {"recipe": name, "food": "olive oil", "grams": "10", "min": "0", "max": "150"}]

    menu = {"way": {"prepared": "roasted"}, "yield": {"yield": "0.65"}, "kept": {"yield": "0.65", "drippings": "kept"},
            "raw": {}, "lost": {"drippings": "lost"}}
    too_full = rows("full", food="oats, rolled, dry", **{"yield": "0.5"})
    frame = pd.DataFrame([*(row for name, more in menu.items() for row in rows(name, **more)), *too_full])
    found = solve_menu(frame.fillna(""), foods)
    assert list(found.problems["recipe"]) == ["full"] and list(found.problems["column"]) == ["yield"]
    table_ = found.servings.set_index("recipe")
    for name, more in menu.items():
        duck = {"food": "duck, meat and skin, raw", "grams": 300, "min": 200, "max": 400,
                **{key: float(value) if key == "yield" else value for key, value in more.items()}}
        answer = solve(read(foods, duck, LEEK | {"label": "leek, raw"}, OIL | {"label": "olive oil"}, targets=TARGETS))
        assert answer.outcome == "solved"
        assert table_.loc[name, "fat_g"] == pytest.approx(float(answer.facts.amounts["fat_g"]), abs=1e-6)
        assert table_.loc[name, "warnings"] == "; ".join(answer.warnings)
