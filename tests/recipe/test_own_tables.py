"""Composition tables that a recipe names: below the cook's own, above the one that is always there."""

from __future__ import annotations

import csv
import json
import os
import tomllib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver import (
    BadInput,
    Impossible,
    add_fat,
    check,
    load_foods,
    read_recipe,
    recipe_from,
    recipe_text,
    shopping,
    solve,
    swap,
)
from ratio_solver.cli import main
from ratio_solver.tools.swap.try_all import try_all
from ratio_solver.tools.what_if.compute import what_if
from tests.kitchen import food, table_file

MASH = """title = "Celeriac mash"
{tables}
servings = 1
[targets]
ratio = {ratio}
[[ingredients]]
food = "celeriac, raw"
grams = 100
"""


def mash(folder: Path, tables: str = "", ratio: float = 0.01) -> Path:
    path = folder / "mash.toml"
    path.write_text(MASH.format(tables=f"foods = {tables}" if tables else "", ratio=ratio), encoding="utf-8")
    return path


def net(path: Path, *tables: str | Path) -> Fraction:
    return check(read_recipe(path, load_foods(*tables))).facts.amounts["net_carbs_g"]


def own(folder: Path, carbs: float, name: str = "own.csv", **more: object) -> Path:
    return table_file(folder, food("celeriac, raw", 2, 1, carbs, **more)).rename(folder / name)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def test_bundled_then_the_recipe_s_then_the_cook_s(tmp_path: Path) -> None:
    first = own(tmp_path, 1, "first.csv")
    own(tmp_path, 2, "second.csv")
    assert net(mash(tmp_path)) == Fraction("7.4")
    assert net(mash(tmp_path, '["europe"]')) == Fraction("4.3")
    assert net(mash(tmp_path, '["europe", "second.csv"]')) == 2
    assert net(mash(tmp_path, '["second.csv", "europe"]')) == Fraction("4.3")
    assert net(mash(tmp_path, '["second.csv"]'), first) == 1
    assert net(mash(tmp_path, '["second.csv"]'), "europe", first) == 1
    assert net(mash(tmp_path, '["second.csv"]'), "europe") == Fraction("4.3")


def test_the_command_line_wins_over_the_recipe(tmp_path: Path) -> None:
    path = str(mash(tmp_path, '["europe"]'))
    facts = json.loads(run("check", path, "--format", "json").stdout)["per_serving"]
    assert facts["net_carbs_g"] == 4.3
    facts = json.loads(run("check", path, "--foods", str(own(tmp_path, 1)), "--format", "json").stdout)["per_serving"]
    assert facts["net_carbs_g"] == 1


def test_paths_start_from_the_recipe_s_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "dishes").mkdir()
    own(tmp_path, 2)
    path = mash(tmp_path / "dishes", '["../own.csv"]')
    monkeypatch.chdir(tmp_path)
    assert net(Path("dishes") / path.name) == 2
    monkeypatch.chdir("/")
    assert net(path) == 2


def test_faults_of_a_recipe_s_tables(tmp_path: Path) -> None:
    def faults(tables: str) -> str:
        with pytest.raises(BadInput) as caught:
            read_recipe(mash(tmp_path, tables), load_foods())
        return "\n".join(map(str, caught.value.faults))

    assert "foods: got 'europa'" in faults('["europa"]') and "did you mean europe?" in faults('["europa"]')
    assert "expected a list of texts" in faults('"europe"')
    assert "expected a list of texts" in faults("[1]")
    broken = own(tmp_path, 2)
    broken.write_text(broken.read_text(encoding="utf-8").replace("by_difference", "by_guess"), encoding="utf-8")
    said = faults('["europe", "own.csv"]')
    assert "mash.toml:2: foods" in said and "own.csv: line 2, carb_basis: got 'by_guess'" in said
    assert "celeriac" not in said  # no second fault for want of the table


def test_a_food_that_only_another_table_has_is_told_of(tmp_path: Path) -> None:
    path = mash(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("celeriac, raw", "maroilles"), encoding="utf-8")
    with pytest.raises(BadInput, match=r'the table "europe" has it: foods = \["europe"\]'):
        read_recipe(path, load_foods())


def test_what_looks_for_foods_looks_in_the_recipe_s_table(tmp_path: Path) -> None:
    fat = table_file(tmp_path, food("lantern oil", 100, role="fat"), food("square root", 1, 1, 1, role="vegetable"))
    path = mash(tmp_path, f'["{fat.name}"]', ratio=2.0)
    foods = load_foods()
    recipe = read_recipe(path, foods)
    assert "lantern oil" in [candidate.foods[0].name for candidate in add_fat(recipe, foods).candidates]
    assert add_fat(recipe, foods, ["lantern oil"]).candidates
    swapped = swap(recipe, foods, [("celeriac, raw", "square root")]).after.recipe
    assert swapped.ingredients[0].food.id == "own:square root"
    assert "square root" in [trial.food.name for trial in try_all(recipe, foods, "celeriac, raw", "vegetable").trials]
    assert "lantern oil" in run("add-fat", str(path), "--most", "99", "--format", "csv").stdout
    plain = read_recipe(mash(tmp_path, ratio=2.0), foods)
    assert "lantern oil" not in [candidate.foods[0].name for candidate in add_fat(plain, foods).candidates]


def test_a_cure_is_looked_for_in_the_recipe_s_table(tmp_path: Path) -> None:
    """A fat that alone brings what a target asks for."""
    table_file(tmp_path, food("celeriac, raw", 2, 1, 2, lycopene_mg=0),
               food("lantern oil", 100, role="fat", lycopene_mg=9))
    path = mash(tmp_path, '["own.csv"]', ratio=2.0)
    path.write_text(path.read_text(encoding="utf-8").replace("[targets]", "[targets]\nlycopene = {min = 0.1}"),
                    encoding="utf-8")
    foods = load_foods()
    answer = solve(read_recipe(path, foods), foods=foods)
    assert isinstance(answer, Impossible)
    assert [cure.food.name for cure in answer.diagnosis.fats or ()] == ["lantern oil"]


def test_a_nutrient_of_the_recipe_s_table_can_be_a_target(tmp_path: Path) -> None:
    own(tmp_path, 2, lycopene_mg=3)
    path = mash(tmp_path, '["own.csv"]')
    foods = load_foods()
    assert run("check", str(path), "--target", "lycopene>=4").exit_code == 3
    assert run("check", str(path), "--target", "lycopene>=2").exit_code == 0
    assert what_if(read_recipe(path, foods), foods, ["lycopene>=4"]).scenarios


def test_a_cooked_food_is_bought_raw_in_either_table(tmp_path: Path) -> None:
    """kohlrabi, boiled, which both tables have: the yield is the American pair's."""
    bought = {}
    for tables in ("", '["europe"]'):
        path = mash(tmp_path, tables)
        path.write_text(path.read_text(encoding="utf-8").replace("celeriac, raw", "kohlrabi, boiled"), encoding="utf-8")
        recipe, foods = read_recipe(path, load_foods()), load_foods()
        bought[tables] = shopping(recipe, (Fraction(100),), foods=foods).purchases[0]
    american, european = bought.values()
    assert american.raw == european.raw and american.food == european.food == "kohlrabi, raw"


def test_a_recipe_is_written_with_its_tables(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    own(tmp_path, 2)
    path = mash(tmp_path, '["europe", "own.csv"]', ratio=0.001)
    recipe = read_recipe(path, load_foods())
    assert tomllib.loads(recipe_text(recipe))["foods"] == ["europe", str(tmp_path / "own.csv")]
    assert tomllib.loads(recipe_text(recipe, tmp_path / "other"))["foods"] == ["europe", "../own.csv"]
    again = recipe_from(tomllib.loads(recipe_text(recipe, tmp_path / "other")), load_foods(), recipe.source,
                        tmp_path / "other")
    assert replace(again, tables=()) == replace(recipe, tables=())
    assert [os.path.realpath(table) for table in again.tables[1:]] == [os.path.realpath(tmp_path / "own.csv")]
    target = tmp_path / "other" / "fixed.toml"
    assert run("solve", str(path), "--write", str(target)).exit_code == 0
    assert net(target) == net(path) == 2


def test_no_output_overwrites_a_table_that_the_recipe_names(tmp_path: Path) -> None:
    table = own(tmp_path, 2)
    path, before = mash(tmp_path, '["own.csv"]'), table.read_bytes()
    for option in ("-o", "--write"):
        result = run("solve", str(path), option, str(table))
        assert result.exit_code == 1 and "would overwrite it" in result.stderr
    assert table.read_bytes() == before


def test_a_file_called_europe_may_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = mash(tmp_path)
    monkeypatch.chdir(tmp_path)
    assert run("check", str(path), "--foods", "europe", "-o", "europe").exit_code == 0


@pytest.fixture
def menu(tmp_path: Path) -> Path:
    own(tmp_path, 2)
    for name, tables in (("plain", ""), ("french", '["europe"]'), ("home", '["own.csv"]'), ("lost", '["gone.csv"]')):
        mash(tmp_path, tables).rename(tmp_path / f"{name}.toml")
    path = tmp_path / "menu.csv"
    path.write_text("file\nplain.toml\nfrench.toml\nhome.toml\nlost.toml\n", encoding="utf-8")
    return path


def test_a_menu_by_file_goes_by_each_file_s_tables(menu: Path, tmp_path: Path) -> None:
    def rows(name: str) -> dict[str, dict[str, Any]]:
        with (tmp_path / "out" / name).open(encoding="utf-8", newline="") as file:
            return {row["recipe"]: row for row in csv.DictReader(file)}

    assert run("menu", str(menu), "-o", str(tmp_path / "out"), "--workers", "2").exit_code == 1
    found = {recipe: float(row["net_carbs_g"]) for recipe, row in rows("servings.csv").items()}
    assert found == {"plain": 7.4, "french": 4.3, "home": 2.0}
    assert "gone.csv" in str(rows("problems.csv")["lost"])
    run("menu", str(menu), "-o", str(tmp_path / "out"), "--foods", "europe")
    found = {recipe: float(row["net_carbs_g"]) for recipe, row in rows("servings.csv").items()}
    assert found == {"plain": 4.3, "french": 4.3, "home": 4.3}
