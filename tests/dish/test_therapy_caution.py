"""From 3:1 up a ratio is that of prescribed therapy, by whichever published formula the recipe states it."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ratio_solver.cli import main
from ratio_solver.dish.cautions import BY_GRAMS, SHORT, STRONG_CAUTION, WHOLE
from tests.kitchen import food, table_file

DISH = """
title = "Seed bake"
servings = 1

[targets]
ratio = {{min = {ratio}}}

[policy]
ratio_formula = "{formula}"

[[ingredients]]
food = "seed meal"
grams = {meal}

[[ingredients]]
food = "syrup"
grams = {syrup}

[[ingredients]]
food = "fat"
grams = {fat}
min = 0
max = {most}
"""


@pytest.fixture
def foods(tmp_path: Path) -> str:
    """100 g of meal: 10 g protein, 20 g carbs of which 15 g fibre; 100 g of syrup: 100 g carbs."""
    return str(table_file(
        tmp_path,
        food("seed meal", 0, 10, 20, 15, allergens="none"),
        food("syrup", 0, 0, 100, allergens="none"),
        food("egg white", 0, 10, 0, allergens="eggs"),
        food("fat", 100, allergens="none", role="fat"),
    ))


def recipe(folder: Path, formula: str, fat: float, *, meal: float = 0, syrup: float = 0, ratio: float = 1,
           most: float = 200) -> str:
    path = folder / "bake.toml"
    path.write_text(DISH.format(formula=formula, fat=fat, meal=meal, syrup=syrup, ratio=ratio, most=most),
                    encoding="utf-8")
    return str(path)


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, arguments)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def told(*arguments: str) -> list[str]:
    return list(json.loads(run(*arguments, "--format", "json").stdout)["cautions"])


@pytest.mark.parametrize(("formula", "dish", "stated"), [
    ("total", {"meal": 100, "fat": 60}, "2.00:1 (fat : protein + total carbs)"),  # 60 : 10 + 20, and 60 : 10 + 5
    ("ketogenic-quotient", {"syrup": 15, "fat": 45}, "2.07:1 (ketogenic quotient)"),  # 40.5 : 15 + 4.5, and 45 : 15
])
def test_the_stronger_caution_looks_at_grams_whatever_the_formula(
    formula: str, dish: dict[str, float], stated: str, foods: str, tmp_path: Path
) -> None:
    path = recipe(tmp_path, formula, **dish)
    for command in (["check"], ["solve"], ["portions", "--as-written"], ["swap", "syrup", "seed meal"]):
        text = run(command[0], path, *command[1:], "--foods", foods)
        assert "\nCaution: At 3:1 and above " in text.stdout, text.output
        assert max(map(len, text.stdout.splitlines())) <= 80
    assert "\nCaution: At 3:1 and above by grams of net carbs: only if a physician ordered it.\n" in \
        run("check", path, "--foods", foods).stdout
    assert f"ratio  {stated}" in run("check", path, "--foods", foods).stdout
    assert f"ratio {stated}" in run("portions", path, "--as-written", "--foods", foods).stdout
    assert told("check", path, "--foods", foods) == [*WHOLE, BY_GRAMS]
    for command in ("check", "solve"):
        assert SHORT[1] in run(command, path, "--foods", foods, "--format", "csv").stdout
    page = run("card", path, "--as-written", "--foods", foods).stdout
    assert BY_GRAMS in page and f"ratio<span class=\"food\"> ({stated.partition(' (')[2]}</span>" in page


@pytest.mark.parametrize(("formula", "dish"), [
    ("total", {"meal": 100, "fat": 44.99}),  # 45 : 15 would be 3:1
    ("ketogenic-quotient", {"syrup": 15, "fat": 44.99}),
    ("net", {"meal": 100, "fat": 44.99}),
])
def test_it_does_not_come_below_3_to_1(formula: str, dish: dict[str, float], foods: str, tmp_path: Path) -> None:
    assert told("check", recipe(tmp_path, formula, **dish), "--foods", foods) == [*WHOLE]


def test_a_formula_that_reaches_3_is_enough(foods: str, tmp_path: Path) -> None:
    """45 : 15 exactly; and of 10 g protein with 25 g fat, 2.5:1, the quotient is 27.1 : 8.3, 3.26."""
    plain = recipe(tmp_path, "net", 45, meal=100)
    assert told("check", plain, "--foods", foods) == [*WHOLE, STRONG_CAUTION]
    assert "ratio  3.00:1\n" in run("check", plain, "--foods", foods).stdout
    lean = Path(recipe(tmp_path, "ketogenic-quotient", 25, syrup=100))
    lean.write_text(lean.read_text(encoding="utf-8").replace("syrup", "egg white"), encoding="utf-8")
    assert told("check", str(lean), "--foods", foods) == [*WHOLE, STRONG_CAUTION]
    wanted = recipe(tmp_path, "total", 0, meal=100, ratio=3)
    assert told("check", wanted, "--foods", foods) == [*WHOLE, STRONG_CAUTION]


def test_fat_that_lifts_a_dish_so_far_and_its_curve_tell_too(foods: str, tmp_path: Path) -> None:
    """To reach 2:1 by total carbs 60 g of fat are added: 4:1 by net carbs. The curve goes up to 4:1 as well."""
    path = recipe(tmp_path, "total", 0, meal=100, ratio=2, most=60)
    assert told("add-fat", path, "--with", "fat", "--foods", foods) == [*WHOLE, BY_GRAMS]
    assert SHORT[1] in run("add-fat", path, "--with", "fat", "--foods", foods, "--format", "csv").stdout
    assert told("curve", path, "--foods", foods) == [*WHOLE, BY_GRAMS]
    modest = recipe(tmp_path, "total", 0, meal=100, ratio=1, most=40)
    assert told("add-fat", modest, "--with", "fat", "--foods", foods) == [*WHOLE]
    assert told("curve", modest, "--foods", foods) == [*WHOLE]


def test_a_menu_of_recipe_files_tells_it(foods: str, tmp_path: Path) -> None:
    recipe(tmp_path, "total", 60, meal=100)
    (tmp_path / "menu.csv").write_text("file,recipe\nbake.toml,bake\n", encoding="utf-8")
    run("menu", str(tmp_path / "menu.csv"), "-o", str(tmp_path / "out"), "--foods", foods)
    row = next(csv.DictReader((tmp_path / "out" / "servings.csv").open(encoding="utf-8")))
    assert float(row["ratio"]) == 2 and "3:1 and above" in row["caution"]
