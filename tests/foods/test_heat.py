"""A raw food without the fat that its drippings take, by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ratio_solver.exact import exact
from ratio_solver.foods.food import Food
from ratio_solver.foods.heat import after_heat, as_weighed

RAW = Food(
    "belly of an invented beast", "own:1", "by_difference",
    {"fat_g": 40.0, "protein_g": 15.0, "carbs_g": 1.0, "fibre_g": 0.0, "energy_kcal": 430.0, "water_g": 43.0,
     "saturated_g": 14.0, "trans_g": 0.3, "c8_g": 0.1, "caprylic_g": 0.1, "cholesterol_mg": 70.0, "sodium_mg": 60.0,
     "calcium_mg": 5.0},
    low={"fat_g": 38.0, "protein_g": 14.5, "water_g": 42.0, "energy_kcal": 400.0},
    high={"fat_g": 42.0, "energy_kcal": 450.0}, refuse=7.0, allergens=(), role="meat", measures={"slice": 30.0},
    source="invented",
)


def test_fat_leaves_and_takes_along_what_is_part_of_it() -> None:
    """A quarter of 40 g of fat is left: 30 g and 9 x 30 = 270 kcal are gone, and so are three quarters of its parts."""
    left = after_heat(RAW, 0.25, "25 % of its fat stays when fried")
    assert left.amounts == {
        "fat_g": 10.0, "protein_g": 15.0, "carbs_g": 1.0, "fibre_g": 0.0, "energy_kcal": 160.0, "saturated_g": 3.5,
        "trans_g": 0.075, "c8_g": 0.025, "caprylic_g": 0.025, "cholesterol_mg": 70.0, "sodium_mg": 60.0,
        "calcium_mg": 5.0}
    # Carbohydrate's interval stays that of the raw food, of whose fat, protein and water it is the difference.
    assert left.low == {"fat_g": 9.5, "protein_g": 14.5, "carbs_g": 0.0, "energy_kcal": 400 - 9 * 28.5}
    assert left.high == {"fat_g": 10.5, "carbs_g": 4.5, "energy_kcal": 450 - 9 * 31.5}
    assert left.source == "invented; 25 % of its fat stays when fried"
    assert replace(left, amounts=RAW.amounts, low=RAW.low, high=RAW.high, lowest=RAW.lowest, highest=RAW.highest,
                   source=RAW.source) == RAW


@pytest.mark.parametrize("kept", [0.33, 0.39, 0.07, 1.0])
def test_the_figures_are_decimals_without_noise(kept: float) -> None:
    left = after_heat(RAW, kept)
    assert exact(left.amounts["fat_g"]) == exact(kept) * 40
    assert "energy_kcal" not in after_heat(replace(RAW, amounts={"fat_g": 1.0, "protein_g": 1.0, "carbs_g": 0.0}), kept
                                           ).amounts


def test_energy_is_never_below_nothing() -> None:
    lean = replace(RAW, amounts=RAW.amounts | {"energy_kcal": 100.0})
    assert after_heat(lean, 0.0).amounts["energy_kcal"] == 0


def test_what_100_g_as_weighed_hold() -> None:
    """56 g in 100 g raw are 160 g in 100 g of what has 0.35 of the weight; fibre counts once on either basis."""
    assert as_weighed(RAW, 0.35) == 160
    oats = {"fat_g": 7.0, "protein_g": 13.0, "carbs_g": 68.0, "fibre_g": 10.0}
    assert as_weighed(replace(RAW, amounts=oats), 1) == 88
    assert as_weighed(replace(RAW, basis="available", amounts=oats | {"carbs_g": 58.0}), 2) == 44
    assert as_weighed(replace(RAW, amounts=oats | {"alcohol_g": 2.0}), 1) == 90
