"""Foods from their packages: what a label's rounding leaves open, and that nothing true falls out of it.

The rules are those of FDA, A Food Labeling Guide, Appendix H (2009) and the Commission's guidance of December 2012
(from memory), as `foods.label_rounding` prints them; the inverse is held to that printing by values that Hypothesis
draws.
"""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from ratio_solver import Policy, food_from_label, load_foods
from ratio_solver.cli import main
from ratio_solver.errors import BadInput
from ratio_solver.foods.content import content
from ratio_solver.foods.label_rounding import LABEL_ROUNDING, printed

UNITS = {("us", "fat"): "g", ("us", "grams"): "g", ("us", "energy"): "kcal", ("us", "sodium"): "mg",
         ("us", "saturates"): "g", ("eu", "fat"): "g", ("eu", "grams"): "g", ("eu", "saturates"): "g",
         ("eu", "salt"): "g"}
"""Region and kind of figure to its unit."""


def us_fat(grams: Fraction) -> str:
    return LABEL_ROUNDING["us"]["fat"].text(grams, "g")


def us_grams(grams: Fraction) -> str:
    return LABEL_ROUNDING["us"]["grams"].text(grams, "g")


def eu_grams(grams: Fraction) -> str:
    return LABEL_ROUNDING["eu"]["grams"].text(grams, "g")


ONE = {"0 g", "< 0.5 g", "< 0.1 g", "< 0.01 g"}
"""EU guidance has either for next to nothing, so a label with one says no more than one with the other."""


def same(one: str, other: str) -> bool:
    return one == other or {one, other} <= ONE


values = st.fractions(min_value=0, max_value=1200, max_denominator=10_000)


@pytest.mark.parametrize(("region", "kind"), UNITS)
@given(true=values, share=st.fractions(min_value=0, max_value=1, max_denominator=1000))
@settings(max_examples=400, deadline=None)
def test_any_value_inside_prints_back_to_the_label_and_the_true_one_is_inside(
        region: str, kind: str, true: Fraction, share: Fraction) -> None:
    rule, unit = LABEL_ROUNDING[region][kind], UNITS[region, kind]
    label = rule.text(true, unit)
    one = printed(label, rule)
    assert one is not None and one.low <= true <= one.high, (label, one)
    within = one.low + share * (one.high - one.low)
    if one.low < within < one.high:
        assert same(rule.text(within, unit), label), (label, one, within)


@pytest.mark.parametrize(("region", "kind", "text", "low", "high"), [
    # FDA, A Food Labeling Guide, Appendix H: under 0.5 g is 0, under 5 g nearest 0.5, from 5 g nearest 1
    ("us", "fat", "0", "0", "0.5"), ("us", "fat", "0.5", "0.5", "0.75"), ("us", "fat", "5", "4.75", "5.5"),
    ("us", "fat", "15 g", "14.5", "15.5"), ("us", "grams", "0 g", "0", "0.5"),
    ("us", "grams", "less than 1 g", "0.5", "1"), ("us", "grams", "<1", "0.5", "1"), ("us", "grams", "1", "1", "1.5"),
    ("us", "energy", "0", "0", "5"), ("us", "energy", "50", "47.5", "55"), ("us", "energy", "180", "175", "185"),
    ("us", "sodium", "140", "137.5", "145"), ("eu", "grams", "0", "0", "0.5"), ("eu", "grams", "<0,5 g", "0", "0.5"),
    ("eu", "grams", "9.9", "9.85", "9.95"), ("eu", "grams", "10", "9.95", "10.5"),
    ("eu", "saturates", "<0.1", "0", "0.1"),
    ("eu", "salt", "< 0.01 g", "0", "0.0125"), ("eu", "salt", "1.0", "0.995", "1.05"),
    # printed finer than the rule: half a step to each side
    ("eu", "grams", "12.5", "12", "13"), ("us", "energy", "183", "178", "188"),
])
def test_intervals_by_hand(region: str, kind: str, text: str, low: str, high: str) -> None:
    one = printed(text, LABEL_ROUNDING[region][kind])
    assert one is not None and (one.low, one.high) == (Fraction(low), Fraction(high))


@pytest.mark.parametrize("text", ["", "a lot", "-1", "1e5", "< ", "1 2", "nan", "5 %"])
def test_what_is_no_figure(text: str) -> None:
    assert printed(text, LABEL_ROUNDING["eu"]["grams"]) is None


@settings(max_examples=60, deadline=None)
@given(fat=st.integers(0, 60), net=st.integers(0, 20), fibre=st.integers(0, 10), protein=st.integers(0, 9),
       per=st.integers(15, 100))
def test_one_food_from_its_two_labels_has_overlapping_net_carbs(fat: int, net: int, fibre: int, protein: int,
                                                                per: int) -> None:
    """A food of known composition, labelled by both rules with the printing of `label_rounding`."""
    share = Fraction(per, 100)
    us = food_from_label("x", {
        "fat": us_fat(fat * share), "carbs": us_grams((net + fibre) * share),
        "fibre": us_grams(fibre * share), "protein": us_grams(protein * share)
    }, label="us", per=per)
    eu = food_from_label("x", {
        "fat": eu_grams(Fraction(fat)), "carbs": eu_grams(Fraction(net)),
        "fibre": eu_grams(Fraction(fibre)), "protein": eu_grams(Fraction(protein))
    }, label="eu", per=100)
    ends = []
    for food in (us, eu):
        low, high = (content(food, "net_carbs_g", Policy(), end) for end in ("low", "high"))
        assert low is not None and high is not None
        slack = Fraction(2, 1000)
        assert low - slack <= net <= high + slack
        ends.append((low - slack, high + slack))
    assert ends[0][0] <= ends[1][1] and ends[1][0] <= ends[0][1]


def test_the_almonds_of_the_example() -> None:
    """30 g with 15 fat, 6 carbohydrate, 3 fibre, 6 protein: 50, 20, 10, 20 in 100 g; fat is 48.3 to 51.7."""
    printed = {"energy": 180, "fat": 15, "carbs": 6, "fibre": 3, "protein": 6}
    food = food_from_label("almonds", printed, label="us", per=30)
    assert food.basis == "by_difference"
    assert [food.amounts[f"{name}_g"] for name in ("fat", "carbs", "fibre", "protein")] == [50, 20, 10, 20]
    assert food.amounts["energy_kcal"] == 600 and food.low["energy_kcal"] == pytest.approx(175 / 0.3, abs=1e-3)
    assert (food.low["fat_g"], food.high["fat_g"]) == pytest.approx((14.5 / 0.3, 15.5 / 0.3), abs=1e-3)
    assert food.allergens is None and food.allergens_unknown


def test_rounded_to_nothing_is_not_nothing() -> None:
    """Cream, 15 g: 0 g carbohydrate may be 0.5 g, 3.3 in 100 g (the release has 2.74 of NDB 01053); oil has no room."""
    cream = food_from_label("cream", {"fat": 5, "carbs": 0, "protein": 0}, label="us", per=15)
    assert cream.amounts["carbs_g"] == pytest.approx(10 / 3, abs=1e-3) and cream.low["carbs_g"] == 0
    assert cream.low["carbs_g"] <= 2.74 <= cream.high["carbs_g"]
    oil = food_from_label("oil", {"energy": 120, "fat": 14, "carbs": 0, "protein": 0}, label="us", per=14)
    assert (oil.amounts["fat_g"], oil.amounts["carbs_g"], oil.amounts["protein_g"]) == (100, 0, 0)


def test_salt_becomes_sodium() -> None:
    """1 g of salt is 400 mg of sodium: Regulation (EU) 1169/2011, Annex I."""
    food = food_from_label("cheese", {"fat": 30, "carbs": "<0.5", "protein": 25, "salt": "1.8"}, label="eu", per=100)
    assert food.amounts["sodium_mg"] == 720 and (food.low["sodium_mg"], food.high["sodium_mg"]) == (700, 740)


@pytest.mark.parametrize(("figures", "said"), [
    ({"energy": 500}, "expected 144.4 to 191.5 kcal"), ({"fibre": 9}, "--fibre: got 9; expected at most the carbs, 6"),
    ({"saturates": 17}, "--saturates: got 17; expected at most the fat, 15"),
    ({"sugars": 8}, "--sugars: got 8; expected at most the carbs, 6"), ({"fat": 25, "energy": 270}, "--per: got 30 g"),
    ({"polyols": 9}, "--polyols"), ({"carbs": "lots"}, "--carbs: got 'lots'"), ({"salt": 1, "sodium": 400}, "not both"),
])
def test_contradictions_are_faults_with_the_numbers(figures: dict[str, float], said: str) -> None:
    given_ = {"energy": 180, "fat": 15, "carbs": 6, "fibre": 3, "protein": 6} | figures
    with pytest.raises(BadInput) as bad:
        food_from_label("almonds", given_, label="us", per=30)
    assert said in str(bad.value)


@pytest.mark.parametrize("per", [0, -30, 10_001, float("nan"), float("inf")])
def test_grams_that_no_label_is_for_are_a_fault(per: float) -> None:
    with pytest.raises(BadInput, match=r"--per: got .*; expected grams, above 0 and at most 10,000"):
        food_from_label("x", {"fat": 1, "carbs": 1, "protein": 1}, label="eu", per=per)


@pytest.mark.parametrize(("label", "per", "figures"), [
    # by the release, rounded by hand: butter NDB 01001, 14 g; soda drink; protein bar with erythritol
    ("us", 14, {"energy": 100, "fat": 11, "saturates": 7, "carbs": 0, "protein": 0, "sodium": 90}),
    ("us", 50, {"energy": 160, "fat": 7, "carbs": 20, "fibre": 9, "erythritol": 5, "protein": 15}),
    ("eu", 100, {"energy": 0, "fat": 0, "carbs": 0, "protein": 0, "salt": 0}),
    ("eu", 100, {"energy": 735, "fat": 81, "carbs": "0.7", "protein": "0.6"}),
    ("eu", 100, {"energy": 352, "fat": "1.5", "carbs": 70, "sugars": 2, "protein": 12}),
])
def test_true_labels_are_no_contradiction(label: str, per: int, figures: dict[str, float | str]) -> None:
    food_from_label("x", figures, label=label, per=per)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


ALMONDS = ("foods", "add", "almonds, bagged", "--label", "us", "--per", "30", "--energy", "180", "--fat", "15",
           "--carbs", "6", "--fibre", "3", "--protein", "6")


def test_the_command_writes_a_table_that_is_read(tmp_path: Path) -> None:
    own = str(tmp_path / "own.csv")
    made = run(*ALMONDS, "--brand", "House", "--packed", "2026-03", "--allergens", "nuts", "--to", own)
    assert made.exit_code == 0, made.stderr
    second = run("foods", "add", "cream", "--label", "eu", "--per", "100", "--fat", "30", "--carbs", "3,1", "--protein",
                 "2,3", "--salt", "0,10", "--to", own)
    assert second.exit_code == 0, second.stderr
    foods = load_foods(own)
    almonds, cream = foods.get("almonds, bagged"), foods.get("cream")
    assert almonds is not None and cream is not None and almonds.allergens == ("nuts",)
    assert "House" in almonds.source and "packed 2026-03" in almonds.source and "per 30 g" in almonds.source
    assert (cream.basis, cream.amounts["carbs_g"], cream.amounts["sodium_mg"]) == ("available", 3.1, 40)


def test_a_name_that_is_there_is_replaced_only_where_that_is_said(tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    assert run(*ALMONDS, "--to", str(own)).exit_code == 0
    before = own.read_bytes()
    again = run(*ALMONDS, "--to", str(own))
    assert again.exit_code == 1 and "--replace" in again.stderr and own.read_bytes() == before
    assert run(*ALMONDS, "--replace", "--to", str(own)).exit_code == 0
    with own.open(encoding="utf-8", newline="") as file:
        assert len(list(csv.DictReader(file))) == 1


def test_a_table_with_semicolons_stays_one(tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    own.write_text("food;id;carb_basis;fat_g;protein_g;carbs_g;fibre_g;note\nquark;own:q;available;0,2;12,5;4,1;0;mine\n",
                   encoding="utf-8")
    assert run("foods", "add", "cream", "--label", "eu", "--per", "100", "--fat", "30.5", "--carbs", "3.1", "--protein",
               "2.3", "--to", str(own)).exit_code == 0
    foods = load_foods(own, bundled=False)
    assert [food.amounts["fat_g"] for food in foods] == [0.2, 30.5] and "mine" in own.read_text(encoding="utf-8")


def test_nothing_is_written_where_anything_is_wrong(tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    wrong = run(*ALMONDS, "--saturates", "17", "--to", str(own))
    assert wrong.exit_code == 1 and not own.exists()
    assert run(*ALMONDS).exit_code == 2
    assert run("foods", "add", "x", "--label", "us", "--per", "none", "--fat", "1", "--carbs", "1", "--protein", "1",
               "--to", str(own)).exit_code == 1


def test_salt_is_understood_where_sodium_is(tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    own.write_text("food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,salt_g,salt_g_high\n"
                   "a,own:a,available,1,1,1,1,1.5,1.6\nb,own:b,available,1,1,1,1,< 0.01,\n", encoding="utf-8")
    a, b = load_foods(own, bundled=False)
    assert (a.amounts["sodium_mg"], a.high["sodium_mg"]) == (600, 640) and "salt_g" not in a.amounts
    assert "sodium_mg" not in b.amounts and b.high["sodium_mg"] == 4


@pytest.mark.parametrize(("energy", "guessed"), [("766", True), ("500", False), ("90", False)])
def test_energy_that_may_be_in_kj_is_asked_about(energy: str, guessed: bool) -> None:
    """15 g of fat, 6 of carbohydrate and 6 of protein: 9 x 15 + 4 x 12 = 183 kcal, 766 kJ, with fibre some more."""
    with pytest.raises(BadInput) as raised:
        food_from_label("dip", {"fat": 15, "carbs": 6, "protein": 6, "fibre": 0, "energy": energy}, label="eu", per=100)
    assert ("is it in kJ?" in str(raised.value)) == guessed and "--energy" in str(raised.value)


def test_what_is_told_of_a_food_fits_80_columns(tmp_path: Path) -> None:
    done = run("foods", "add", "clear broth", "--label", "us", "--per", "30", "--fat", "3", "--carbs", "0", "--protein",
               "0", "--fibre", "0", "--to", str(tmp_path / "own.csv"))
    assert done.exit_code == 0, done.stderr
    told = done.stdout.splitlines()
    assert " ".join(told).endswith("carbs and protein count the most that this label allows.")
    assert max(map(len, told[1:])) <= 80  # the first names the file
