"""Unknown fibre: where the table leaves it out, total carbohydrate is unknown too and is never claimed kept."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

import ratio_solver as rs
from ratio_solver.errors import BadInput
from ratio_solver.recipe.model import Recipe

HEADER = "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,energy_kcal\n"
ROOT = "garden root,own:root,{basis},0,1,5,{fibre},\n"
OIL = "plain oil,own:oil,by_difference,100,0,0,0,900\n"
TOTAL = '[policy]\nratio_formula = "total"'


def dish(folder: Path, basis: str, targets: str, policy: str = "", fibre: str = "") -> Recipe:
    table = folder / "foods.csv"
    table.write_text(HEADER + ROOT.format(basis=basis, fibre=fibre) + OIL, encoding="utf-8")
    path = folder / "dish.toml"
    path.write_text(
        f'title = "Roots"\nservings = 1\n[targets]\n{targets}\n{policy}\n'
        '[[ingredients]]\nfood = "garden root"\ngrams = 100\n'
        '[[ingredients]]\nfood = "plain oil"\ngrams = 5\nmin = 0\nmax = 100\n', encoding="utf-8")
    return rs.read_recipe(path, rs.load_foods(table, bundled=False))


@pytest.mark.parametrize("targets, policy", [
    ("carbs = {max = 6}", ""),
    ("ratio = 2", TOTAL),
])
def test_a_claim_over_unknown_total_carbs_is_refused(tmp_path: Path, targets: str, policy: str) -> None:
    recipe = dish(tmp_path, "available", targets, policy)
    for answer in (rs.solve, rs.check):
        with pytest.raises(BadInput, match=r"no figure for fibre_g.*policy.unknown_as_zero"):
            answer(recipe)


@pytest.mark.parametrize("named", ["fibre", "carbs"])
def test_the_policy_may_count_it_as_none(tmp_path: Path, named: str) -> None:
    recipe = dish(tmp_path, "available", "ratio = 2", TOTAL + f'\nunknown_as_zero = ["{named}"]')
    answer = rs.solve(recipe, exact=True)
    assert answer.outcome == "solved"
    # 2 (1 + 5) g of fat, fibre none
    assert float(answer.grams("plain oil")) == pytest.approx(12, abs=1e-6)
    told = "total carbs, fibre and energy are at least what is stated, the ratio at most"
    assert any(told in warning for warning in answer.warnings)


def test_total_carbs_are_then_at_least_what_the_table_has(tmp_path: Path) -> None:
    found = rs.check(dish(tmp_path, "available", "carbs = {min = 4}"))
    assert found.kept and found.facts.amounts["carbs_g"] == 5
    assert found.facts.unknown["carbs_g"] == ("garden root",)
    assert not any("only be lower" in warning for warning in found.warnings)


def test_by_difference_is_on_the_safe_side_as_it_is(tmp_path: Path) -> None:
    found = rs.check(dish(tmp_path, "by_difference", "carbs = {max = 6}\nfibre = {max = 1}"))
    assert found.kept and found.facts.amounts["carbs_g"] == Fraction(5)
    assert "carbs_g" not in found.facts.unknown
    assert any("net carbs can only be lower" in warning for warning in found.warnings)


def test_a_menu_refuses_and_counts_the_same(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    dish(tmp_path, "available", "carbs = {max = 6}")
    foods = rs.load_foods(tmp_path / "foods.csv", bundled=False)
    rows = [{"recipe": name, "food": food, "grams": grams, "min": low, "max": high, "servings": 1, **targets}
            for name, targets in (("high", {"carbs_max": 6.0}), ("free", {"ratio": 2.0}))
            for food, grams, low, high in (("garden root", 100, None, None), ("plain oil", 5, 0, 100))]
    found = rs.solve_menu(pandas.DataFrame(rows), foods, rs.MenuOptions(exact=True))
    assert set(found.problems["recipe"]) == {"high"}
    free = found.servings.set_index("recipe").loc["free"]
    assert free["carbs_g"] == 5 and "carbs_g" in free["at_least"]


@pytest.mark.parametrize("basis, fibre, energy, policy, told", [
    # 4 kcal per g of protein and carbohydrate, 9 per g of fat, 2 per g of fibre: Regulation (EU) 1169/2011, Annex XIV;
    # 100 g of root with 1 g of protein and 5 g of carbohydrate, 5 g of oil
    ("available", "", "", "", "at least 69 kcal"),
    ("available", "", "", "us", "at least 69 kcal"),
    ("available", "", "30", "annex-xiv", "at least 69 kcal"),
    ("available", "2", "", "", "73 kcal"),
    ("available", "", "30", "", "75 kcal"),
    ("available", "", "", "9/4/4", "69 kcal"),
    ("by_difference", "", "", "", "69 kcal"),
])
def test_energy_without_the_fibre_that_is_unknown_is_at_least_so_much(
        basis: str, fibre: str, energy: str, policy: str, told: str, tmp_path: Path) -> None:
    recipe = dish(tmp_path, basis, "net_carbs = 9", f'[policy]\nenergy = "{policy}"' if policy else "", fibre)
    if energy:
        table = tmp_path / "foods.csv"
        table.write_text(table.read_text(encoding="utf-8").replace(f",5,{fibre},\n", f",5,{fibre},{energy}\n"),
                         encoding="utf-8")
        recipe = rs.read_recipe(tmp_path / "dish.toml", rs.load_foods(table, bundled=False))
    found = rs.check(recipe)
    assert f"energy {told}" in " ".join(found.report().split())
    assert f" {told} " in rs.card(found, form="md")
    unknown = found.to_dict()["unknown"]
    assert isinstance(unknown, dict) and ("energy_kcal" in unknown) == told.startswith("at least")
    assert ("calories" in rs.card(found, form="jsonld")) != told.startswith("at least")
    assert any("fibre and energy are at least" in one for one in found.warnings) == told.startswith("at least")


def test_a_way_out_of_a_bowl_has_at_least_the_energy_that_is_known(tmp_path: Path) -> None:
    # twice the root has 12 g of protein and carbohydrate, 48 kcal, and 10 g of oil 90, in two servings; and fibre
    recipe = dish(tmp_path, "available", "net_carbs = 5")
    found = rs.adjust(recipe, {"garden root": 200, "plain oil": 10})
    assert "5.00 g net carbs, at least 69 kcal" in " ".join(found.report().split())


def test_a_menu_tells_that_energy_is_at_least_so_much(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    recipe = dish(tmp_path, "available", "ratio = 1")
    foods = rs.load_foods(tmp_path / "foods.csv", bundled=False)
    rows = [{"recipe": "roots", "food": food, "grams": grams, "min": low, "max": high, "servings": 1, "ratio": 1.0}
            for food, grams, low, high in (("garden root", 100, None, None), ("plain oil", 5, 0, 100))]
    [cell] = rs.solve_menu(pandas.DataFrame(rows), foods).servings["at_least"]
    answer = rs.solve(recipe)
    assert answer.outcome == "solved" and set(cell.split("; ")) == set(answer.facts.unknown)
    assert "energy_kcal" in cell
