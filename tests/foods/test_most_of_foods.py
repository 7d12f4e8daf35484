"""The most that a serving may hold, as the bundled table has it, against the figures it is reckoned from."""

from __future__ import annotations

import csv
import re
from fractions import Fraction
from math import floor
from pathlib import Path

import pytest

from ratio_solver.errors import BadInput
from tools.composition.table import with_most

DATA = Path(__file__).resolve().parents[2] / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


FOODS = {row["food"]: row for row in rows("foods.csv")}
IDS = {row["id"] for row in FOODS.values()}
MOST = {row["food"]: row for row in rows("most.csv") if row["id"] in IDS}
EUROPE = {row["id"]: row for row in rows("europe.csv")}


def most(name: str) -> Fraction:
    return Fraction(FOODS[name]["most_per_serving"])


def test_every_row_is_of_the_food_it_names_and_has_its_source() -> None:
    for name, row in MOST.items():
        assert FOODS[name]["id"] == row["id"]
        assert all(FOODS[name][column] == row[column] for column in ("most_per_serving", "most_because"))
        assert re.search(r"from memory|no source|EFSA 2016", row["most_because"]) and row["most_because"][-1] != "."
        assert "; " not in row["most_because"], "a list of warnings is parted so"
    assert {name for name, row in FOODS.items() if row["most_per_serving"] or row["most_because"]} == set(MOST)


def test_european_foods_have_the_most_that_their_own_figures_give() -> None:
    """An American row's most does not fit a European liver of twice the retinol; iodine likewise."""
    own = [row for row in rows("most.csv") if row["id"] not in IDS]
    assert len(own) >= 25
    for row in own:
        there = EUROPE[row["id"]]
        assert (there["food"], there["most_per_serving"], there["most_because"]) == (
            row["food"], row["most_per_serving"], row["most_because"])
        assert re.search("from memory|EFSA 2016", row["most_because"])
    for there in EUROPE.values():
        for column, level in (("retinol_ug", 3000), ("iodine_ug", 600)):
            if Fraction(there[column] or 0) > level:
                assert Fraction(there["most_per_serving"]) * Fraction(there[column]) / 100 <= level, there["food"]


@pytest.mark.parametrize(("column", "level", "reason", "roles"), [
    ("retinol_ug", 3000, "vitamin A", ()),  # SCF 2002, from memory
    ("selenium_ug", 255, "selenium", ()),  # EFSA 2023, from memory
    # EFSA 2016, read: 7 mg per kg of body weight, 490 mg at 70 kg; not of fish, whose 22:1 is mostly cetoleic acid
    ("erucic_g", Fraction("0.49"), "erucic acid", ("fish", "shellfish", "supplement")),
])
def test_no_hundred_grams_of_a_food_pass_a_level_without_a_most_of_it(
    column: str, level: Fraction, reason: str, roles: tuple[str, ...]
) -> None:
    found = 0
    for name, row in FOODS.items():
        held = Fraction(row[column] or 0) / 100
        if held * 100 > level and row["role"] not in roles:
            found += 1
            assert row["most_per_serving"], name
            assert held * most(name) <= level, name
            if row["most_because"].startswith(f"{reason}:"):
                grid = 1 if most(name) >= 10 else 10
                assert most(name) == Fraction(floor(level / held * grid), grid) or reason == "erucic acid", name
    assert found


def test_liver_of_every_animal_has_a_most_and_a_word_on_pregnancy() -> None:
    livers = [name for name in FOODS if re.search(r"\bliver\b", name)]
    assert len(livers) >= 13
    assert all(MOST[name]["most_because"].startswith("vitamin A: ") and "pregnancy" in MOST[name]["most_because"]
               for name in [*livers, "cod liver oil"])


@pytest.mark.parametrize(("name", "iodine", "water"), [
    ("kelp, raw", 486_000, "5.31"), ("wakame, raw", 19_100, "8.54"), ("laver (nori), raw", 5_100, "6.54"),
])
def test_iodine_of_seaweeds_by_their_dry_matter(name: str, iodine: int, water: str) -> None:
    """Iodine (ug) and water (g) in 100 g dried: Ciqual 2017, foods 20991, 20984 and 20987, read; 600 ug a day."""
    in_one_gram = Fraction(iodine) / (100 - Fraction(water)) * (100 - Fraction(FOODS[name]["water_g"])) / 100
    step = Fraction(1, 10) if in_one_gram > 600 else Fraction(1)
    assert most(name) == floor(600 / in_one_gram / step) * step


def test_what_grows_with_body_weight_is_for_70_kg() -> None:
    """By hand: 0.5 and 0.4 g, 5 mg, 10 ug at 20 mg per kg, 1.3 ug at 0.995 and 0.354 mg per kg, 4 mg at 40 %."""
    assert (most("erythritol"), most("allulose")) == (35, 28)
    assert most("sucralose, pure") == Fraction("0.35") == Fraction(5 * 70, 1000)
    assert most("poppy seeds") == 70 * 10 // 20
    assert (most("swordfish, raw"), most("tuna, yellowfin, raw")) == (
        floor(91 / Fraction("0.995") / 7), floor(91 / Fraction("0.354") / 7))  # a seventh of a week's
    assert most("tuna, yellowfin, cooked") == floor(257 * Fraction(
        FOODS["tuna, yellowfin, raw"]["protein_g"]) / Fraction(FOODS["tuna, yellowfin, cooked"]["protein_g"])) // 7
    assert most("stevia extract (steviol glycosides)") == Fraction("0.28") / Fraction("0.4")


def test_a_polyol_by_itself_and_nothing_that_is_no_figure() -> None:
    for name, row in FOODS.items():
        if row["polyols_g"] == "100" and row["erythritol_g"] != "100":
            assert most(name) == 20, name
    assert (most("nutmeg, ground"), most("mace, ground"), most("MCT oil"), most("brazil nuts")) == (
        Fraction("0.5"), Fraction("0.5"), 30, 13)
    told = [name for name in MOST if not MOST[name]["most_per_serving"]]
    assert "cassava, raw" in told and "kidney beans, red, raw" in told and all("most" not in MOST[n]["most_because"]
                                                                              for n in told)


def test_no_medicine_and_no_additive_is_a_fat() -> None:
    roles = {name: FOODS[name]["role"] for name in ("cod liver oil", "lecithin, soy")}
    assert roles == {"cod liver oil": "supplement", "lecithin, soy": "binder"} and "mustard oil" not in FOODS


def test_a_most_of_no_food_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "most.csv").write_text("id,food,most_per_serving,most_because\nndb:00000,no such food,1,\n")
    with pytest.raises(BadInput, match="ndb:00000"):
        with_most([FOODS["lard"]], tmp_path)
