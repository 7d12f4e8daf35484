"""Rounding of declared figures at every boundary, and what a label counts as carbohydrate, energy and salt."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from ratio_solver import BadInput, FoodTable, check, declared, load_foods, recipe_from
from ratio_solver.foods.food import Food
from ratio_solver.foods.label_rounding import LABEL_ROUNDING, nearest
from ratio_solver.foods.label_rules import LABELS, label_between, salt
from tests.kitchen import dish, food, table


def F(text: str) -> Fraction:
    return Fraction(text)


def shown(region: str, kind: str, value: str, unit: str = "g") -> str:
    return LABEL_ROUNDING[region][kind].text(F(value), unit)


def label_content(food: Food, column: str) -> Fraction | None:
    """A label's figure in 100 g of a food; None where the table cannot tell."""
    found = label_between(food, column)
    return found.low if found.known else None


# FDA, A Food Labeling Guide, Appendix H, 2009: energy < 5 -> 0, <= 50 -> nearest 5, > 50 -> nearest 10 kcal
@pytest.mark.parametrize(("kcal", "text"), [
    ("0", "0 kcal"), ("4.999", "0 kcal"), ("5", "5 kcal"), ("7.49", "5 kcal"), ("7.5", "10 kcal"),
    ("47.49", "45 kcal"), ("47.5", "50 kcal"), ("50", "50 kcal"), ("50.01", "50 kcal"), ("54.99", "50 kcal"),
    ("55", "60 kcal"), ("404.9", "400 kcal"), ("405", "410 kcal"), ("1234", "1230 kcal"),
])
def test_us_energy(kcal: str, text: str) -> None:
    assert shown("us", "energy", kcal, "kcal") == text


# The same source: fat < 0.5 -> 0, < 5 -> nearest 0.5, >= 5 -> nearest 1 g
@pytest.mark.parametrize(("grams", "text"), [
    ("0", "0 g"), ("0.499", "0 g"), ("0.5", "0.5 g"), ("0.74", "0.5 g"), ("0.75", "1 g"), ("2.24", "2 g"),
    ("2.25", "2.5 g"), ("4.74", "4.5 g"), ("4.75", "5 g"), ("4.999", "5 g"), ("5", "5 g"), ("5.49", "5 g"),
    ("5.5", "6 g"), ("36.58", "37 g"),
])
def test_us_fat(grams: str, text: str) -> None:
    assert shown("us", "fat", grams) == text


# The same source: carbohydrate, fibre, sugars < 0.5 -> 0, < 1 -> "less than 1 g", >= 1 -> nearest 1 g
@pytest.mark.parametrize(("grams", "text"), [
    ("0", "0 g"), ("0.499", "0 g"), ("0.5", "less than 1 g"), ("0.999", "less than 1 g"), ("1", "1 g"),
    ("1.49", "1 g"), ("1.5", "2 g"), ("8.4", "8 g"), ("13.5", "14 g"),
])
def test_us_grams(grams: str, text: str) -> None:
    assert shown("us", "grams", grams) == text


# From memory: sodium < 5 -> 0, to 140 nearest 5, above nearest 10 mg
@pytest.mark.parametrize(("mg", "text"), [
    ("4.99", "0 mg"), ("5", "5 mg"), ("137.4", "135 mg"), ("140", "140 mg"), ("140.1", "140 mg"), ("145", "150 mg"),
])
def test_us_sodium(mg: str, text: str) -> None:
    assert shown("us", "sodium", mg, "mg") == text


# From memory, Commission guidance of December 2012: >= 10 g -> 1 g, < 10 and > 0.5 -> 0.1 g, <= 0.5 -> "< 0.5 g"
@pytest.mark.parametrize(("grams", "text"), [
    ("0", "0 g"), ("0.01", "< 0.5 g"), ("0.5", "< 0.5 g"), ("0.501", "0.5 g"), ("0.55", "0.6 g"), ("1", "1.0 g"),
    ("9.94", "9.9 g"), ("9.95", "10 g"), ("10", "10 g"), ("10.49", "10 g"), ("10.5", "11 g"), ("36.58", "37 g"),
])
def test_eu_grams(grams: str, text: str) -> None:
    assert shown("eu", "grams", grams) == text


# From memory, the same guidance: saturates to 0.1 g with "< 0.1 g"; salt 0.1 g from 1 g, else 0.01 g
def test_eu_saturates_and_salt() -> None:
    assert [shown("eu", "saturates", x) for x in ("0", "0.1", "0.11", "9.96", "12.4")] == [
        "0 g", "< 0.1 g", "0.1 g", "10 g", "12 g"]
    assert [shown("eu", "salt", x) for x in ("0", "0.0125", "0.013", "0.994", "0.996", "1.04", "1.05")] == [
        "0 g", "< 0.01 g", "0.01 g", "0.99 g", "1.0 g", "1.0 g", "1.1 g"]


def test_eu_energy_states_both_units_to_one() -> None:
    assert LABELS["eu"][0].text(F("2082.5"), F("504.49")) == "2083 kJ / 504 kcal"


def test_midway_goes_up() -> None:
    assert [nearest(F(x), F("5")) for x in ("2.49", "2.5", "7.5")] == [0, 5, 10]


def one(name: str, basis: str = "by_difference", **amounts: float) -> Food:
    return Food(name, name, basis, amounts)


# Regulation (EU) 1169/2011, Annex XIV, kcal (kJ) per g: carbohydrate 4 (17), polyols 2.4 (10), protein 4 (17),
# fat 9 (37), alcohol 7 (29), fibre 2 (8), erythritol 0
@pytest.mark.parametrize(("amounts", "kcal", "kj"), [
    ({"fat_g": 100.0}, 900, 3700),
    ({"protein_g": 100.0}, 400, 1700),
    ({"carbs_g": 100.0}, 400, 1700),
    ({"carbs_g": 100.0, "fibre_g": 100.0}, 200, 800),
    ({"carbs_g": 100.0, "polyols_g": 100.0}, 240, 1000),
    ({"carbs_g": 100.0, "polyols_g": 100.0, "erythritol_g": 100.0}, 0, 0),
    ({"carbs_g": 100.0, "erythritol_g": 100.0}, 0, 0),
    ({"alcohol_g": 100.0}, 700, 2900),
    ({"carbs_g": 100.0, "allulose_g": 100.0}, 400, 1700),
])
def test_energy_by_the_factors_of_the_regulation(amounts: dict[str, float], kcal: int, kj: int) -> None:
    whole = one("x", **({"fat_g": 0.0, "protein_g": 0.0, "carbs_g": 0.0, "fibre_g": 0.0} | amounts))
    assert label_content(whole, "eu_energy_kcal") == kcal
    assert label_content(whole, "eu_energy_kj") == kj


def test_both_bases_of_one_food_give_the_same_label() -> None:
    """Almonds, USDA SR28 12061: carbohydrate 21.55 of which fibre 12.5; without the fibre 9.05."""
    rest = {"fat_g": 49.93, "protein_g": 21.15, "fibre_g": 12.5, "polyols_g": 2.0}
    by_difference, available = one("a", carbs_g=21.55, **rest), one("a", "available", carbs_g=9.05, **rest)
    for column in ("eu_carbs_g", "carbs_g", "eu_energy_kcal", "eu_energy_kj", "polyols_g"):
        assert label_content(by_difference, column) == label_content(available, column)
    assert label_content(by_difference, "eu_carbs_g") == F("9.05")     # Annex I: no fibre, polyols stay
    assert label_content(available, "carbs_g") == F("21.55")           # US: fibre included
    assert label_content(by_difference, "eu_energy_kcal") == (
        9 * F("49.93") + 4 * F("21.15") + 4 * F("7.05") + F("2.4") * 2 + 2 * F("12.5"))


def test_salt_is_sodium_times_two_and_a_half() -> None:
    """Regulation (EU) 1169/2011, Annex I."""
    assert salt(F("400")) == 1
    assert label_content(one("salted", sodium_mg=643.0), "salt_g") == F("1.6075")


def test_unknown_stays_unknown_unless_it_is_part_of_nothing() -> None:
    base = {"fat_g": 1.0, "protein_g": 1.0, "carbs_g": 1.0}
    assert label_content(one("x", **base), "eu_carbs_g") is None
    assert label_content(one("x", **base), "eu_energy_kj") is None
    assert label_content(one("x", **base), "salt_g") is None
    assert label_content(one("x", **base), "carbs_g") == 1
    assert label_content(one("x", "available", **base), "carbs_g") is None
    assert label_content(one("x", "available", **base), "eu_carbs_g") == 1
    none = one("x", **(base | {"carbs_g": 0.0, "fat_g": 0.0}))
    assert [label_content(none, c) for c in ("fibre_g", "sugars_g", "saturated_g", "eu_carbs_g")] == [0, 0, 0, 0]
    assert label_content(one("x", "available", **(base | {"carbs_g": 0.0})), "fibre_g") is None


@pytest.fixture
def own(tmp_path: Path) -> FoodTable:
    return table(tmp_path, food("butter", 40, 0.5, 0, 0, sodium_mg=200, saturated_g=25, sugars_g=0, energy_kcal=362),
                 food("seeds", 40, 20, 30, 20, sodium_mg="", saturated_g=4, sugars_g=2, energy_kcal=520))


def test_declared_figures_of_a_serving(own: FoodTable) -> None:
    """Two servings of 100 g boiled-down butter (yield 0.5: as 200 g) and 20 g seeds, by hand."""
    recipe = recipe_from(dish([{"food": "butter", "grams": 100, "yield": 0.5}, {"food": "seeds", "grams": 20}], 2), own)
    weights = tuple(weight.grams for weight in check(recipe).weights)
    us = {figure.name: figure.text for figure in declared(recipe, weights, "us")}
    eu = {figure.name: figure.text for figure in declared(recipe, weights, "eu")}
    # 414 kcal, 44, 25.4, trans at most 44 - 25.4, ?, ?, 3.0, 2.0, 0.2, 2.5 (midway: up)
    assert us == {"energy": "410 kcal", "fat": "44 g", "of which saturated": "25 g", "of which trans": "at most 19 g",
                  "cholesterol": None, "sodium": None, "carbohydrate, fibre included": "3 g", "of which fibre": "2 g",
                  "of which sugars": "0 g", "of which added sugars": "0 g", "protein": "3 g", "vitamin D": None,
                  "calcium": None, "iron": None, "potassium": None}
    # kJ: 37 x 44 + 17 x 2.5 + 17 x 1 + 8 x 2 = 1703.5; kcal: 9 x 44 + 4 x 2.5 + 4 x 1 + 2 x 2 = 414
    assert eu == {"energy": "1704 kJ / 414 kcal", "fat": "44 g", "of which saturates": "25 g",
                  "carbohydrate, fibre left out": "1.0 g", "of which sugars": "< 0.5 g", "fibre": "2.0 g",
                  "protein": "2.5 g", "salt": None}
    assert declared(recipe, weights, "eu")[-1].unknown == ("seeds",)


def test_polyols_are_declared_where_there_are_any() -> None:
    foods = load_foods()
    recipe = recipe_from(dish([{"food": "erythritol", "grams": 12}, {"food": "butter, salted", "grams": 50}]), foods)
    figures = {f.name: f.text for f in declared(recipe, (F("12"), F("50")), "eu")}
    assert figures["of which polyols"] == figures["carbohydrate, fibre left out"] == "12 g"


def test_no_other_rules(own: FoodTable) -> None:
    recipe = recipe_from(dish([{"food": "butter", "grams": 50}]), own)
    with pytest.raises(BadInput, match="expected one of us, eu"):
        declared(recipe, (F("50"),), "mars")
