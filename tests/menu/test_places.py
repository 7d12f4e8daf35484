"""Where a problem is: the recipe file and its key for a menu by file, and nutrients whatever their letters."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import NotProven
from ratio_solver.cli import main
from ratio_solver.menu import solve as menus
from tests.kitchen import MASH, food, table_file

DISH = MASH


def problems(folder: Path) -> list[dict[str, str]]:
    with (folder / "out" / "problems.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def solved(folder: Path, menu: str, *more: str) -> list[dict[str, str]]:
    (folder / "menu.csv").write_text(menu, encoding="utf-8")
    result = CliRunner().invoke(main, ["menu", str(folder / "menu.csv"), "-o", str(folder / "out"), *more])
    assert result.exit_code in (0, 1, 3), result.output
    return problems(folder)


def test_a_problem_of_a_recipe_file_has_its_file_place_and_value(tmp_path: Path) -> None:
    (tmp_path / "mash.toml").write_text(DISH, encoding="utf-8")
    (tmp_path / "bad.toml").write_text(DISH.replace("grams = 40\n", 'grams = "forty"\ncolour = 3\n'), encoding="utf-8")
    (tmp_path / "worse.toml").write_text("title = [", encoding="utf-8")
    found = solved(tmp_path, "file,recipe,ratio\nmash.toml,a,2\nbad.toml,b,\nnone.toml,c,\nworse.toml,d,\n"
                             "mash.toml,e,x\n")
    assert [(row["line"], row["recipe"], row["column"], row["value"], row["file"], row["place"]) for row in found] == [
        ("3", "b", "file", "", "bad.toml", "ingredients[2].colour"),
        ("3", "b", "file", "'forty'", "bad.toml", "ingredients[2].grams"),
        ("4", "c", "file", "", "none.toml", ""),
        ("5", "d", "file", "", "worse.toml", ""),
        ("6", "e", "ratio", "x", "", ""),
    ]
    assert found[2]["message"] == "cannot be read: No such file or directory"
    assert found[3]["message"].startswith("is not TOML: ")


def test_what_is_not_proven_names_the_recipe_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def unproven(*_: object, **how: object) -> None:
        raise NotProven("the answer misses ratio by 0.1 and is not shown")

    monkeypatch.setattr(menus, "solve", unproven)
    monkeypatch.setattr(menus, "solved_together", lambda *_: [])  # none that the arrays take
    (tmp_path / "mash.toml").write_text(DISH, encoding="utf-8")
    (found,) = solved(tmp_path, "file,recipe\nmash.toml,a\n")
    assert (found["line"], found["recipe"], found["file"]) == ("2", "a", "mash.toml")
    assert found["message"] == "the answer misses ratio by 0.1 and is not shown"


@pytest.mark.parametrize("column, name", [
    ("Omega-3_g", "Omega-3"), ("Omega-3_g", "omega 3"), ("Omega-3_g", "OMEGA_3_g"), ("Omega-3_g", "Omega-3_g"),
    ("vitamin B 12_ug", "vitamin B 12"), ("vitamin B 12_ug", "vitamin_b_12"), ("ω3_g", "ω3"), ("3-MCPD_ug", "3-mcpd"),
])
def test_a_nutrient_of_the_user_s_own_is_found_whatever_its_letters(column: str, name: str, tmp_path: Path) -> None:
    """In a recipe file, on the command line, in a scenario and as a column of a menu."""
    own = table_file(tmp_path, food("root", 0.3, 1.5, 9.2, 1.8, **{column: 0.5}), food("lard", 99, **{column: 4}))
    text = DISH.replace("celeriac, raw", "root").replace("butter, salted", "lard")
    plain = tmp_path / "mash.toml"
    plain.write_text(text, encoding="utf-8")
    told = tmp_path / "told.toml"
    told.write_text(text.replace("[targets]", f'[targets]\n"{name}" = {{min = 0.01}}'), encoding="utf-8")
    foods = ["--foods", str(own)]
    shown = column.rpartition("_")[0].replace("_", " ")
    for arguments in (["solve", str(told)], ["solve", str(plain), "--target", f"{name}>=0.01"],
                      ["solve", str(plain), "--what-if", f"{name}>=0.01"]):
        result = CliRunner().invoke(main, [*arguments, *foods])
        assert result.exit_code == 0, result.output
        assert f"{shown} " in result.stdout
    rows = f"recipe,servings,ratio,net_carbs,{name}_min,food,grams,min,max\na,4,2,11,0.01,root,400,300,450\n" \
           "a,,,,,lard,40,0,200\nb,4,2,11,x,root,400,300,450\nb,,,,,lard,40,0,200\n"
    (found,) = solved(tmp_path, rows, *foods)
    assert (found["line"], found["column"], found["value"]) == ("4", f"{name}_min", "x")


def test_two_columns_that_are_one_name_are_told_apart_by_the_whole_name(tmp_path: Path) -> None:
    own = table_file(tmp_path, food("root", 0.3, 1.5, 9.2, 1.8, Zinc_mg=1, zinc_mg=2), food("lard", 99, Zinc_mg=1,
                                                                                             zinc_mg=2))
    (tmp_path / "mash.toml").write_text(DISH.replace("celeriac, raw", "root").replace("butter, salted", "lard"))
    for name, code in (("Zinc_mg", 0), ("zinc_mg", 0), ("zinc", 1), ("ZINC_MG", 1)):
        result = CliRunner().invoke(main, ["solve", str(tmp_path / "mash.toml"), "--foods", str(own), "--target",
                                           f"{name}>=0.1"])
        assert result.exit_code == code, (name, result.output)
