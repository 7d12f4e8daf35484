"""Every row of the table against itself: its energy is what its fat, protein, carbohydrate and alcohol come to.

A slip of a figure shows where the release is not at hand. The factors of a kind of food, kcal per g, are those that
most of its foods have in the release (USDA SR28, table FOOD_DES; Merrill AL, Watt BK, Energy Value of Foods, USDA
Agriculture Handbook No. 74). Foods on the available basis, and kinds that the release gives no common factors, go by
Regulation (EU) No 1169/2011, Annex XIV, with allulose at 0.4, glycerol at 4.32 and tagatose at 1.5 (these three from
memory). A row without an energy has none to be judged. Tolerances are what the release itself leaves: the share
of the energy (of 50 kcal at least) that a row may be off.
"""

from __future__ import annotations

import csv

import pytest

from ratio_solver.foods.content import energy_by_factors
from ratio_solver.foods.food import Food
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import bundled_path

Row = dict[str, str]

FACTORS = {
    "fat": (4.27, 8.84, 3.87, 0.03), "dairy": (4.27, 8.79, 3.87, 0.05), "cheese": (4.27, 8.79, 3.87, 0.03),
    "egg": (4.36, 9.02, 3.68, 0.035), "meat": (4.27, 9.02, 3.87, 0.055), "poultry": (4.27, 9.02, 3.87, 0.05),
    "fish": (4.27, 9.02, 3.87, 0.07), "shellfish": (4.27, 9.02, 4.11, 0.06), "nut": (3.47, 8.37, 4.07, 0.005),
    "seed": (3.47, 8.37, 4.07, 0.005), "legume": (3.47, 8.37, 4.07, 0.05), "soy": (3.47, 8.37, 4.07, 0.07),
    "vegetable": (2.44, 8.37, 3.57, 0.1), "seaweed": (2.44, 8.37, 3.57, 0.02), "mushroom": (2.62, 8.37, 3.48, 0.02),
    "starchy vegetable": (2.78, 8.37, 4.03, 0.12), "fruit": (3.36, 8.37, 3.6, 0.1), "herb": (2.44, 8.37, 3.3, 0.08),
    "spice": (3.3, 8.37, 2.8, 0.23), "flour": (3.5, 8.37, 4.1, 0.1), "grain": (3.7, 8.37, 4.1, 0.09),
    "pasta": (3.9, 8.37, 4.1, 0.1), "bread": (4.0, 8.8, 4.1, 0.09), "drink": (4.0, 9.0, 4.0, 0.07),
    "stock": (4.0, 9.0, 4.0, 0.03), "sugar": (4.0, 9.0, 4.0, 0.1),
}
"""Kind to factors of protein, fat and carbohydrate by difference, and tolerance."""

BY_REGULATION = 0.1
"""Tolerance of the others: protein 4, fat 9, carbohydrate 4, fibre 2, polyols 2.4 (erythritol none), alcohol 7."""

OWN = "the release has factors of its own for it (FOOD_DES): of acids, of bran, of another kind"
UNTOLD = "the release gives it no factors"
ACID = "its acid gives energy and is no carbohydrate"
NO_ENERGY = "counted as carbohydrate by difference, and stated without energy"

LOOSE = {
    **dict.fromkeys((
        "lecithin, soy", "fish roe, raw", "mangetout (edible-podded peas), raw",
        "mangetout (edible-podded peas), boiled", "baked beans, canned", "soy protein isolate", "lemon juice, raw",
        "lemon, without peel, raw", "lemon juice, bottled", "lime, raw", "lime juice, raw", "wheat bran", "oat bran",
        "rice bran", "cocoa powder", "cocoa powder, alkalized", "chocolate chips, semisweet", "capers, canned",
        "ketchup", "pickle relish, sweet", "baking powder", "tofu, silken, firm", "tofu, silken, soft",
        "mixed vegetables, frozen",
    ), OWN),
    **dict.fromkeys(("mushrooms, chanterelle, raw", "lemon peel, raw", "carob flour", "guar gum (seed gum)",
                     "cocoa powder, high fat"), UNTOLD),
    **dict.fromkeys(("vinegar, cider", "vinegar, distilled", "vinegar, red wine", "vinegar, balsamic",
                     "gherkins, pickled in vinegar", "cranberry juice, unsweetened"), ACID),
    **dict.fromkeys(("stevia leaf extract powder (with carrier)", "stevia extract (steviol glycosides)",
                     "monk fruit extract (mogrosides)", "sucralose, pure"), NO_ENERGY),
}
"""Rows that are let off, and why."""

SURE = ("fat", "dairy", "cheese", "egg", "meat", "poultry", "nut", "seed")
"""Kinds whose factors fit so well that a slip of a fifth in the fat shows wherever fat gives half the energy."""


def figure(row: Row, column: str) -> float:
    return float(row.get(column) or 0)


def reckoned(row: Row, fat: float = 1.0) -> float:
    """kcal in 100 g by the factors of its kind; `fat` times the fat."""
    protein_g, fat_g, carbs, fibre = (figure(row, f"{name}_g") for name in ("protein", "fat", "carbs", "fibre"))
    alcohol = 7 * figure(row, "alcohol_g")
    available = row["carb_basis"] == "available"
    if row["role"] in FACTORS and not available and row["id"].startswith("ndb:"):
        protein, of_fat, of_carbs, _ = FACTORS[row["role"]]
        return protein * protein_g + of_fat * fat * fat_g + of_carbs * carbs + alcohol
    polyols, erythritol, allulose = (figure(row, f"{name}_g") for name in ("polyols", "erythritol", "allulose"))
    glycerol, tagatose = figure(row, "glycerol_g"), figure(row, "tagatose_g")
    starch = carbs - (0 if available else fibre) - polyols - allulose - tagatose
    sweet = 2.4 * (polyols - erythritol - glycerol) + 0.4 * allulose + 4.32 * glycerol + 1.5 * tagatose
    return 4 * protein_g + 9 * fat * fat_g + 4 * starch + 2 * fibre + sweet + alcohol


def tolerance(row: Row) -> float:
    by_kind = row["role"] in FACTORS and row["carb_basis"] == "by_difference" and row["id"].startswith("ndb:")
    return FACTORS[row["role"]][3] if by_kind else BY_REGULATION


def off(row: Row, fat: float = 1.0) -> float:
    """How far the energy is from what is reckoned, as a share of it."""
    return abs(figure(row, "energy_kcal") - reckoned(row, fat)) / max(50.0, figure(row, "energy_kcal"))


ROWS = [row for row in csv.DictReader(bundled_path().open(encoding="utf-8")) if row["energy_kcal"]]


def test_every_energy_is_that_of_its_figures() -> None:
    wrong = [(row["food"], row["energy_kcal"], round(reckoned(row), 1), round(off(row), 3)) for row in ROWS
             if row["food"] not in LOOSE and row["energy_kcal"] and off(row) > tolerance(row)]
    assert not wrong


def test_what_is_let_off_would_not_pass() -> None:
    rows = {row["food"]: row for row in ROWS}
    assert set(LOOSE) <= set(rows)
    assert [name for name in LOOSE if off(rows[name]) <= tolerance(rows[name])] == []


def test_a_slip_of_a_fifth_in_a_fat_figure_shows() -> None:
    """Up and down, wherever fat gives half the energy: there the ratio hangs on it."""
    fatty = [row for row in ROWS if row["role"] in SURE and row["id"].startswith("ndb:") and row["food"] not in LOOSE
             and 9 * figure(row, "fat_g") >= figure(row, "energy_kcal") / 2]
    assert len(fatty) > 200
    assert [row["food"] for row in fatty for fat in (0.8, 1.2) if off(row, fat) <= tolerance(row)] == []


@pytest.mark.parametrize("energy", ["table", "annex-xiv", "us", "9/4/4"])
def test_alcohol_has_seven_kcal_a_gram(energy: str) -> None:
    """Regulation (EU) 1169/2011, Annex XIV; of wine with 10 g of alcohol and nothing else in 100 g."""
    wine = Food("wine", "own:wine", "available", {"fat_g": 0.0, "protein_g": 0.0, "carbs_g": 0.0, "alcohol_g": 10.0})
    assert energy_by_factors(wine, "", Policy(energy=energy)) == 70
