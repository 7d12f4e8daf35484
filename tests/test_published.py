"""The main job against published meals, through the recipe file and the command.

Meals and percentages: Manual of Clinical Nutrition Management, Compass Group 2013, pp. E-15 to E-18, as
read there; protein of cream and egg, meat and fruit is back-computed from its printed rows.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ratio_solver.cli import main

TABLE = """food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g
"cream, 36 % fat",own:cream,available,36,2.0,3.0,0
"egg",own:egg,available,12,12,0,0
"fruit, 10 % carbohydrate",own:fruit,available,0,1.0,10,0
"meat",own:meat,available,16.5,23.5,0,0
"fat, 74 %",own:fat,available,74,0,0,0
"""

EGGNOG = """title = "Eggnog"
servings = 1
[targets]
ratio = {min = 4.0, max = 4.0}
fat = {min = 40.0, max = 40.0}
[[ingredients]]
food = "cream, 36 % fat"
grams = 60
min = 0
max = 200
[[ingredients]]
food = "egg"
grams = 50
min = 0
max = 200
"""

SOLID_MEAL = """title = "Meat, fruit and cream"
servings = 1
[targets]
fat = {min = 40.0, max = 40.0}
protein = {min = 6.2, max = 6.2}
carbs = {min = 3.8, max = 3.8}
[[ingredients]]
food = "cream, 36 % fat"
grams = 65
[[ingredients]]
food = "fruit, 10 % carbohydrate"
grams = 0
min = 0
max = 100
[[ingredients]]
food = "meat"
grams = 0
min = 0
max = 100
[[ingredients]]
food = "fat, 74 %"
grams = 0
min = 0
max = 100
"""


@pytest.mark.parametrize(("recipe", "published"), [
    (EGGNOG, {"cream, 36 % fat": 96.77, "egg": 43.01}),
    (SOLID_MEAL, {"fruit, 10 % carbohydrate": 18.50, "meat": 20.06, "fat, 74 %": 17.96}),
])
def test_published_meals(tmp_path: Path, recipe: str, published: dict[str, float]) -> None:
    (tmp_path / "meal.toml").write_text(recipe, encoding="utf-8")
    (tmp_path / "own.csv").write_text(TABLE, encoding="utf-8")
    result = CliRunner().invoke(main, ["solve", str(tmp_path / "meal.toml"), "--exact", "--format", "json",
                                       "--foods", str(tmp_path / "own.csv")])
    assert result.exit_code == 0, result.output
    weights = {weight["ingredient"]: weight["grams"] for weight in json.loads(result.output)["weights"]}
    for name, grams in published.items():
        assert weights[name] == pytest.approx(grams, abs=0.01)


def test_prescription_of_a_meal_at_four_to_one(tmp_path: Path) -> None:
    """4:1, 400 kcal a meal, protein 6.2 g: fat 40 and carbohydrate 3.8 g (same manual, E-16), solved and reckoned."""
    (tmp_path / "own.csv").write_text(
        "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g\nfat,,available,100,0,0,0\nlean,,available,0,100,0,0\n"
        "starch,,available,0,0,100,0\n", encoding="utf-8")
    lines = "".join(f'[[ingredients]]\nfood = "{name}"\ngrams = 0\nmin = 0\nmax = 400\n'
                    for name in ("fat", "lean", "starch"))
    (tmp_path / "meal.toml").write_text(
        'title = "a meal"\nservings = 1\n[targets]\nratio = {min = 4, max = 4}\nenergy = {min = 400, max = 400}\n'
        f"protein = {{min = 6.2}}\n{lines}", encoding="utf-8")
    result = CliRunner().invoke(main, ["solve", str(tmp_path / "meal.toml"), "--exact", "--prefer", "lowest-carb",
                                       "--target", "protein<=6.2", "--format", "json",
                                       "--foods", str(tmp_path / "own.csv")])
    assert result.exit_code == 0, result.output
    serving = json.loads(result.output)["per_serving"]
    assert {name: pytest.approx(serving[name], abs=1e-6) for name in ("fat_g", "protein_g", "net_carbs_g")} == {
        "fat_g": 40.0, "protein_g": 6.2, "net_carbs_g": 3.8}
    assert serving["ratio"] == pytest.approx(4.0) and serving["energy_kcal"] == pytest.approx(400)


@pytest.mark.parametrize(("ratio", "kcal"), [("1:1", 13), ("2:1", 22), ("3:1", 31), ("4:1", 40), ("5:1", 49)])
def test_energy_of_a_dietary_unit(tmp_path: Path, ratio: str, kcal: int) -> None:
    """Energy of R g fat and 1 g protein + carbohydrate (same manual, p. E-15; 1:1 computed, 9 + 4)."""
    (tmp_path / "own.csv").write_text(
        "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g\nfat,,available,100,0,0,0\nstarch,,available,0,0,100,0\n",
        encoding="utf-8")
    (tmp_path / "unit.toml").write_text(
        'title = "unit"\nservings = 1\n[[ingredients]]\nfood = "fat"\ngrams = 0\nmin = 0\nmax = 10\n'
        '[[ingredients]]\nfood = "starch"\ngrams = 1\n', encoding="utf-8")
    result = CliRunner().invoke(main, ["solve", str(tmp_path / "unit.toml"), "--ratio", ratio, "--exact",
                                       "--format", "json", "--foods", str(tmp_path / "own.csv")])
    assert result.exit_code == 0, result.output
    assert json.loads(result.output)["per_serving"]["energy_kcal"] == pytest.approx(kcal, abs=1e-6)


@pytest.mark.parametrize(("fat", "protein", "carbs", "quotient"), [(40, 6.2, 3.8, 3.4093), (39, 6, 7, 2.6328)])
def test_ketogenic_quotient(tmp_path: Path, fat: float, protein: float, carbs: float, quotient: float) -> None:
    """(0.90 F + 0.46 P) / (C + 0.58 P + 0.10 F), Woodyatt 1921; coefficients from memory, values computed."""
    (tmp_path / "own.csv").write_text(
        "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g\n"
        f"meal,,available,{fat},{protein},{carbs},0\n", encoding="utf-8")
    (tmp_path / "meal.toml").write_text(
        'title = "meal"\nservings = 1\n[policy]\nratio_formula = "ketogenic-quotient"\n'
        '[[ingredients]]\nfood = "meal"\ngrams = 100\n', encoding="utf-8")
    result = CliRunner().invoke(main, ["check", str(tmp_path / "meal.toml"), "--format", "json",
                                       "--foods", str(tmp_path / "own.csv")])
    assert json.loads(result.output)["per_serving"]["ratio"] == pytest.approx(quotient, abs=5e-5)


@pytest.mark.parametrize(("ratio", "percent"), [(4, 90.00), (3, 87.10), (2, 81.82), (1, 69.23)])
def test_share_of_energy_from_fat(tmp_path: Path, ratio: float, percent: float) -> None:
    """Energy from fat at 9/4/4 kcal per g [computed; 90 % for 4:1 is read in the literature]."""
    from ratio_solver.foods.content import energy_by_factors
    from tests.kitchen import food, table

    foods = table(tmp_path, food("meal", fat=10 * ratio, protein=4, carbs=6), food("fat", fat=10 * ratio))
    meal, fat_alone = (energy_by_factors(one) for one in foods)
    assert 100 * float(fat_alone / meal) == pytest.approx(percent, abs=0.005)


def test_a_meal_of_a_prescription_as_clinics_reckon(tmp_path: Path) -> None:
    """4:1, 1,200 kcal in three meals: 40 g fat, 6.2 protein, 3.8 carbohydrate, 400 kcal (same manual, pp. E-15, E-16).

    That is ten dietary units of 40 kcal, 90 % from fat. Fibre and erythritol add nothing to it by 9/4/4, and do by
    Annex XIV: 2 kcal for each of 5 g of fibre.
    """
    (tmp_path / "own.csv").write_text(
        "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,polyols_g,erythritol_g,energy_kcal\n"
        "meal,,available,40,6.2,11.8,5,8,8,444\nfat,,available,100,0,0,0,,,884\n", encoding="utf-8")
    for dish, grams in (("meal", 100), ("fat", 40)):
        (tmp_path / f"{dish}.toml").write_text(
            f'title = "{dish}"\nservings = 1\n[[ingredients]]\nfood = "{dish}"\ngrams = {grams}\n', encoding="utf-8")

    def checked(dish: str, *more: str) -> Result:
        return CliRunner().invoke(main, ["check", str(tmp_path / f"{dish}.toml"), "--foods", str(tmp_path / "own.csv"),
                                         *more])

    def kcal(dish: str, by: str) -> float:
        return float(json.loads(checked(dish, "--energy", by, "--format", "json").output)["per_serving"]["energy_kcal"])

    facts = json.loads(checked("meal", "--energy", "9/4/4", "--format", "json").output)
    assert (facts["per_serving"]["ratio"], facts["per_serving"]["energy_kcal"]) == (4, 400)
    assert facts["policy"]["energy"] == "9/4/4" and kcal("fat", "9/4/4") / kcal("meal", "9/4/4") == 0.9
    assert kcal("meal", "annex-xiv") == kcal("meal", "us") == 410
    assert (kcal("meal", "table"), kcal("fat", "table")) == (444, pytest.approx(353.6))
    text = " ".join(checked("meal", "--energy", "9/4/4").output.split())
    assert "energy 400 kcal" in text and "Reckoned: " in text and "; energy = 9 fat + 4 protein + 4 net carbs" in text
    assert "; energy" not in " ".join(checked("meal").output.split())


def test_a_sweet_by_both_labels(tmp_path: Path) -> None:
    """30 g maltitol, 10 g isomalt: 2.4 kcal/g in the EU (Annex XIV); 2.1 and 2.0 in the US (label rules, read)."""
    (tmp_path / "sweet.toml").write_text(
        'title = "sweet"\nservings = 1\n[[ingredients]]\nfood = "maltitol"\ngrams = 30\n'
        '[[ingredients]]\nfood = "isomalt"\ngrams = 10\n', encoding="utf-8")
    for by, kcal in (("annex-xiv", 96), ("us", 83), ("9/4/4", 160)):
        found = CliRunner().invoke(main, ["check", str(tmp_path / "sweet.toml"), "--energy", by, "--format", "json"])
        assert json.loads(found.output)["per_serving"]["energy_kcal"] == pytest.approx(kcal), by


def test_net_carbs_of_a_serving(tmp_path: Path) -> None:
    """8.4 g total carbs with 1.3 g soluble and 1.1 g insoluble fibre are 6.0 g net (common practice, no source)."""
    (tmp_path / "own.csv").write_text(
        "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,soluble_fibre_g,insoluble_fibre_g\n"
        "serving,,by_difference,10,5,8.4,2.4,1.3,1.1\n", encoding="utf-8")
    (tmp_path / "meal.toml").write_text(
        'title = "meal"\nservings = 1\n[[ingredients]]\nfood = "serving"\ngrams = 100\n', encoding="utf-8")
    arguments = ["check", str(tmp_path / "meal.toml"), "--foods", str(tmp_path / "own.csv")]
    facts = json.loads(CliRunner().invoke(main, [*arguments, "--format", "json"]).output)["per_serving"]
    assert facts["carbs_g"] == 8.4
    assert facts["net_carbs_g"] == 6.0
    assert (facts["soluble_fibre_g"], facts["insoluble_fibre_g"]) == (1.3, 1.1)
    assert "6.00 g" in CliRunner().invoke(main, arguments).output
