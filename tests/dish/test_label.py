"""A figure that a table lacks is bounded by what it can be, and a label prints what that leaves; panels by hand.

The panels are recomputed from the files of the USDA release themselves, with nothing of the project's but the weights.
"""

from __future__ import annotations

import csv
import os
import re
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from ratio_solver import BadInput, FoodTable, check, declared, load_foods, recipe_from, solve
from ratio_solver.foods.food import Food
from ratio_solver.foods.label_rounding import DAILY_PERCENT, LABEL_ROUNDING, VITAMIN_PERCENT
from ratio_solver.foods.unknown import between, ceilings
from tests.kitchen import dish, food, table

RELEASE = os.environ.get("SR28_DIR", "")


def one(role: str = "", basis: str = "by_difference", **amounts: float) -> Food:
    return Food("x", "x", basis, amounts, role=role)


@pytest.mark.parametrize(("column", "role", "amounts", "most"), [
    ("sugars_g", "", {"carbs_g": 20.0, "fibre_g": 15.0}, 5),
    ("sugars_g", "", {"carbs_g": 20.0}, 20),
    ("sugars_g", "", {"carbs_g": 20.0, "fibre_g": 15.0, "polyols_g": 2.0}, 3),
    ("starch_g", "", {"carbs_g": 20.0, "fibre_g": 15.0}, 5),
    ("saturated_g", "", {"carbs_g": 0.0}, 30),
    ("trans_g", "", {"carbs_g": 0.0, "saturated_g": 12.0}, 18),
    ("fibre_g", "", {"carbs_g": 20.0}, 20),
    ("sodium_mg", "", {"carbs_g": 0.0, "ash_g": 2.0}, 868),        # 43.4 % of 2 g
    ("sodium_mg", "cheese", {"carbs_g": 0.0, "ash_g": 90.0}, 2800),  # the ceiling of cheese is less than its ash's
    ("sodium_mg", "", {"carbs_g": 0.0}, None),
    ("magnesium_mg", "cheese", {"carbs_g": 0.0}, None),
    ("cholesterol_mg", "binder", {"carbs_g": 0.0}, 0),
])
def test_a_part_is_no_more_than_its_whole(column: str, role: str, amounts: dict[str, float], most: int | None) -> None:
    found = between(one(role, fat_g=30.0, protein_g=1.0, **amounts), column)
    assert (found.low, found.high) == (0, most)
    assert bool(found.because) == (most is not None)


def test_fibre_beside_the_carbohydrate_is_what_all_else_leaves() -> None:
    oats = one(basis="available", fat_g=30.0, protein_g=10.0, carbs_g=20.0, water_g=25.0, ash_g=5.0)
    found = between(oats, "fibre_g")
    assert (found.low, found.high) == (0, 10)


def test_no_food_of_the_tables_is_above_the_ceiling_of_its_role() -> None:
    """A bound that a known figure breaks is none: every figure that the tables have is held to what would bound it."""
    roles = set()
    for foods in (load_foods(), load_foods("europe")):
        for known in foods:
            for column in ("sodium_mg", "sugars_g", "saturated_g", "cholesterol_mg"):
                if (figure := known.at(column)) is None:
                    continue
                rest = {name: amount for name, amount in known.amounts.items() if name not in (column, "ash_g")}
                unknown = between(Food(known.name, known.id, known.basis, rest, role=known.role), column)
                slack = Fraction(1) if column.endswith("_g") else 0  # each figure of a table is rounded by itself
                assert unknown.high is None or figure <= unknown.high + slack + figure / 20, (known.name, column)
                roles.add(known.role)
    assert {role for role, column in ceilings() if column == "sodium_mg"} == roles


def test_a_trace_does_not_blank_a_label() -> None:
    """1 g of a gum of unknown sodium in six servings: 0.05 g of salt each at most, and of sugars nothing that shows."""
    foods = load_foods()
    gum = foods.get("xanthan gum")
    assert gum is not None and "sodium_mg" not in gum.amounts
    lines = [{"food": "celeriac, raw", "grams": 900}, {"food": "butter, salted", "grams": 120},
             {"food": "salt", "grams": 9}, {"food": "xanthan gum", "grams": 1}]
    recipe = recipe_from(dish(lines, 6), foods)
    figures = {figure.name: figure for figure in declared(recipe, check(recipe).grams_of_each, "eu")}
    assert all(figure.text is not None for figure in figures.values())
    # sodium, mg: 900 x 1.00 + 120 x 6.43 + 9 x 387.58 = 5159.82; with the gum's 124 at most 5283.82: salt 2.15 to 2.2 g
    assert figures["salt"].text == "at most 2.3 g" and figures["salt"].unknown == ("xanthan gum",)
    assert figures["of which sugars"].text == "2.4 g" and not figures["of which sugars"].unknown
    assert figures["of which saturates"].text == "10 g"


@pytest.mark.parametrize("finished", [{"cooking_loss": 0.25}, {"finished_grams": 150}])
def test_100_g_are_of_the_finished_dish(finished: dict[str, float]) -> None:
    """200 g of egg (fat 9.51, protein 12.56) that weigh 150 g when done: 100 g hold 4/3 of that, 12.7 and 16.7 g."""
    recipe = recipe_from(dish([{"food": "egg, whole, raw", "grams": 200}], 2, **finished), load_foods())
    figures = {figure.name: figure for figure in declared(recipe, (Fraction(200),), "eu")}
    assert (figures["fat"].text, figures["fat"].per_100_g) == ("9.5 g", "13 g")
    assert (figures["protein"].text, figures["protein"].per_100_g) == ("13 g", "17 g")


@pytest.fixture
def own(tmp_path: Path) -> FoodTable:
    return table(tmp_path, food("oil", 100, sodium_mg=0, role="fat"), food("stilton", 35, 24, 0.1, role="cheese"),
                 food("gum", 0, 2, 80, 77, role="binder", sodium_mg="<50"))


def test_a_maximum_counts_what_is_unknown_as_the_most_that_it_can_be(own: FoodTable) -> None:
    """50 g of a cheese at the ceiling of 2,800 mg are 1,400 mg: 1,400 is kept, 1,399 is not."""
    lines = [{"food": "oil", "grams": 10}, {"food": "stilton", "grams": 50}]
    for most, kept in ((1400, True), (1399, False)):
        found = check(recipe_from(dish(lines, targets={"sodium": {"max": most}}), own))
        assert found.kept == kept
        [told] = [warning for warning in found.warnings if "sodium" in warning]
        assert told.startswith("sodium is unknown and at most 2800 mg in 100 g of stilton (") and told.endswith(
            "a maximum counts it as that, a minimum as none")


def test_the_solver_holds_a_maximum_at_that_end(own: FoodTable) -> None:
    lines = [{"food": "oil", "grams": 10}, {"food": "stilton", "grams": 50, "min": 0, "max": 60}]
    found = solve(recipe_from(dish(lines, targets={"sodium": {"max": 840}}), own))
    assert found.weights_g["stilton"] == 30  # 28 mg a gram


def test_unknown_as_zero_still_counts_as_none(own: FoodTable) -> None:
    lines = [{"food": "stilton", "grams": 50}]
    written = dish(lines, targets={"sodium": {"max": 1}}, policy={"unknown_as_zero": ["sodium"]})
    assert check(recipe_from(written, own)).kept


def test_what_nothing_bounds_is_still_refused(own: FoodTable) -> None:
    written = dish([{"food": "stilton", "grams": 50}], targets={"cholesterol": {"max": 300}})
    with pytest.raises(BadInput, match="has no figure for cholesterol_mg"):
        check(recipe_from(written, table_with_cholesterol(own)))


def table_with_cholesterol(foods: FoodTable) -> FoodTable:
    return FoodTable((*foods.foods, one("egg", fat_g=10.0, protein_g=12.0, carbs_g=0.0, cholesterol_mg=372.0)))


# 21 CFR 101.9(c)(3): under 2 mg 0, 2 to 5 "less than 5", above the nearest 5; (c)(8)(iii): steps of 2, 5 and 10 %;
# (d)(7)(ii): whole percent. All from memory.
def test_us_edges_from_memory() -> None:
    us = LABEL_ROUNDING["us"]
    assert [us["cholesterol"].text(Fraction(x), "mg") for x in ("0", "1.99", "2", "4.99", "5", "7.49", "7.5")] == [
        "0 mg", "0 mg", "less than 5 mg", "less than 5 mg", "5 mg", "5 mg", "10 mg"]
    assert [us["tens"].text(Fraction(x), "mg") for x in ("4.99", "5", "14.99", "15")] == [
        "0 mg", "10 mg", "10 mg", "20 mg"]
    assert [us["iron"].text(Fraction(x), "mg") for x in ("0.049", "0.05", "1.649", "1.65")] == [
        "0.0 mg", "0.1 mg", "1.6 mg", "1.7 mg"]
    shares = ("0.0199", "0.02", "0.0299", "0.03", "0.0999", "0.1", "0.11", "0.1249", "0.125", "0.4749", "0.475",
              "0.5499", "0.55")
    assert [VITAMIN_PERCENT.figure(100 * Fraction(x)) for x in shares] == [
        0, 2, 2, 4, 10, 10, 10, 10, 15, 45, 50, 50, 60]
    assert [DAILY_PERCENT.figure(100 * Fraction(x)) for x in ("0.0049", "0.005", "0.5349", "0.535")] == [0, 1, 53, 54]


# --- panels by hand, from the release itself ---

DISHES = (
    {"ndb:12061": ("almonds", 120), "ndb:01001": ("butter, salted", 60), "ndb:01123": ("egg, whole, raw", 150)},
    {"ndb:11141": ("celeriac, raw", 400), "ndb:01053": ("cream, heavy (36 % fat)", 150), "ndb:02047": ("salt", 5)},
    {"ndb:12061": ("almonds", 40), "ndb:01009": ("cheddar", 100), "ndb:11457": ("spinach, raw", 250)},
)
SERVINGS = 3
NUMBERS = {"fat": "204", "saturates": "606", "carbs": "205", "fibre": "291", "sugars": "269", "protein": "203",
           "sodium": "307"}
ANNEX_XIV = {"kJ": (37, 17, 17, 8), "kcal": (9, 4, 4, 2)}  # fat, protein, carbohydrate, fibre


@pytest.fixture(scope="module")
def release() -> dict[str, dict[str, Decimal]]:
    if not RELEASE or not Path(RELEASE).is_dir():
        pytest.skip("SR28_DIR names no folder of the release")
    wanted = {name.removeprefix("ndb:") for each in DISHES for name in each}
    found: dict[str, dict[str, Decimal]] = {number: {} for number in wanted}
    for name, take in (("FOOD_DES.txt", lambda r: ("factor", r[10] if float(r[10] or 0) else "6.25")),
                       ("NUT_DATA.txt", lambda r: (r[1], r[2]))):
        with (Path(RELEASE) / name).open(encoding="cp1252") as file:
            for record in csv.reader(file, delimiter="^", quotechar="~"):
                if record[0] in wanted:
                    key, value = take(record)
                    found[record[0]][key] = Decimal(value)
    return found


@pytest.mark.parametrize("chosen", DISHES, ids=lambda each: "-".join(name for name, _ in each.values()))
def test_a_panel_by_hand_from_the_release(chosen: dict[str, tuple[str, int]],
                                          release: dict[str, dict[str, Decimal]]) -> None:
    def batch(number: str) -> Decimal:
        return sum((release[name[4:]][number] * grams / 100 for name, (_, grams) in chosen.items()), Decimal(0))

    fat, saturates, carbs, fibre, sugars, sodium = (
        batch(NUMBERS[name]) for name in ("fat", "saturates", "carbs", "fibre", "sugars", "sodium"))
    protein = sum((release[name[4:]]["203"] / release[name[4:]]["factor"] * Decimal("6.25") * grams / 100
                   for name, (_, grams) in chosen.items()), Decimal(0))
    available = sum((max(Decimal(0), release[name[4:]]["205"] - release[name[4:]]["291"]) * grams / 100
                     for name, (_, grams) in chosen.items()), Decimal(0))
    weight = sum(grams for _, grams in chosen.values())
    by_hand = {"fat": fat, "of which saturates": saturates, "carbohydrate, fibre left out": available,
               "of which sugars": sugars, "fibre": fibre, "protein": protein, "salt": sodium * Decimal("0.0025")}
    energy = {unit: sum((factor * amount for factor, amount in zip(factors, (fat, protein, available, fibre),
                                                                   strict=True)), Decimal(0))
              for unit, factors in ANNEX_XIV.items()}
    foods = load_foods()
    lines = [{"food": name, "grams": grams} for name, (_, grams) in chosen.items()]
    recipe = recipe_from(dish(lines, SERVINGS), foods)
    figures = {figure.name: figure for figure in declared(recipe, check(recipe).grams_of_each, "eu")}
    for share, attribute in ((Decimal(1) / SERVINGS, "text"), (Decimal(100) / weight, "per_100_g")):
        for name, amount in by_hand.items():
            assert rounded_matches(getattr(figures[name], attribute), amount * share), (name, attribute, amount * share)
        kj, kcal = (int((energy[unit] * share).quantize(Decimal(1), ROUND_HALF_UP)) for unit in ("kJ", "kcal"))
        assert getattr(figures["energy"], attribute) == f"{kj} kJ / {kcal} kcal"
    assert carbs >= available


def rounded_matches(text: str | None, amount: Decimal) -> bool:
    """Whether a printed figure is the amount to its own last digit; of "< 0.5 g" whether it lies below."""
    assert text is not None
    match = re.fullmatch(r"(< )?([\d.]+) g", text)
    assert match, text
    if match[1]:
        return amount <= Decimal(match[2])
    return abs(Decimal(match[2]) - amount) <= Decimal("0.5") * Decimal(1).scaleb(-len(match[2].partition(".")[2]))


def test_the_nitrogen_of_almonds_counts_more(release: dict[str, dict[str, Decimal]]) -> None:
    """Almonds: 21.15 g of protein at 5.18; times 6.25 / 5.18 that is 25.5 g."""
    almonds = load_foods().get("ndb:12061")
    assert almonds is not None and almonds.nitrogen_factor == float(release["12061"]["factor"]) == 5.18
    recipe = recipe_from(dish([{"food": "ndb:12061", "grams": 100}]), load_foods())
    protein = {figure.name: figure.text for figure in declared(recipe, (Fraction(100),), "eu")}["protein"]
    assert protein == "26 g"
