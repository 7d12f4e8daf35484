"""Recipe files with unlike targets are solved together, and each has the rows that it has alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from ratio_solver import FoodTable, MenuOptions, Recipe, read_recipe, run_menu, solve, solve_menu
from ratio_solver.menu import solve as menus
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.by_file import solved_together
from ratio_solver.menu.read import ROWS_OF_A_FILE, open_menu, pieces
from ratio_solver.menu.results import rows_of_answer
from tests.kitchen import table
from tests.menu.test_answers import MEAT, OIL, SUGAR, TALLOW

TARGETS = {
    "ratio": "ratio = 1",
    "ratio, protein": "ratio = 1\nprotein = {min = 40}",
    "protein, fat, ratio": "protein = {min = 30}\nfat = {max = 90}\nratio = 1",
    "fat, net carbs": "fat = {min = 50, max = 80}\nnet_carbs = 10",
    "impossible": "ratio = 1\nfat = {min = 50}\nprotein = {min = 90}",
}
FILE = """
title = "stew"
servings = 1
[targets]
{targets}
[[ingredients]]
food = "meat"
grams = {meat}
min = 10
max = 60
[[ingredients]]
food = "oil"
grams = 20
min = 0
max = 30
[[ingredients]]
food = "tallow"
grams = 30
min = 0
max = 50
[[ingredients]]
food = "sugar"
grams = 20
min = 0
max = 50
"""


def write_files(folder: Path) -> tuple[FoodTable, list[str]]:
    """Two dishes with each of the targets."""
    names = []
    for number, targets in enumerate(TARGETS.values()):
        for meat in (40, 45):
            names.append(f"dish {number} {meat}.toml")
            (folder / names[-1]).write_text(FILE.format(targets=targets, meat=meat), encoding="utf-8")
    return table(folder, OIL, TALLOW, SUGAR, MEAT), names


def test_targets_in_two_orders_are_not_solved_together(tmp_path: Path) -> None:
    """Protein stands after the ratio in one and before it in the other: no order of rows is that of both."""
    own, names = write_files(tmp_path)
    recipes = {number: read_recipe(tmp_path / name, own) for number, name in enumerate(names)}
    found = solved_together(recipes)
    assert [some.members for some in found] == [[0, 1, 2, 3, 6, 7], [4, 5], [8, 9]]
    for some in found:
        for number in some.members:
            own_order = [target.nutrient for target in recipes[number].targets]
            assert [nutrient for nutrient in some.order if nutrient in own_order] == own_order


@pytest.mark.parametrize("exact", [True, False])
def test_each_has_the_rows_that_it_has_alone(exact: bool, tmp_path: Path) -> None:
    own, names = write_files(tmp_path)
    found = solve_menu(pd.DataFrame({"file": names}), own, MenuOptions(exact=exact, folder=str(tmp_path)))
    assert found.alone <= 2  # a change to the very bound of what can be kept is left to the per-recipe solver
    for name in names:
        answer = solve(read_recipe(tmp_path / name, own), exact=exact)
        for key, theirs in rows_of_answer(Path(name).stem, answer, own).items():
            mine = getattr(found, key)
            mine = mine[mine["recipe"] == Path(name).stem].to_dict("records")
            assert len(mine) == len(theirs)
            for here, there in zip(mine, theirs, strict=True):
                for column, value in there.items():
                    cell = here[column]
                    assert cell == value or (value is None and (cell is None or cell != cell)), (name, key, column)


@pytest.mark.parametrize("exact", [True, False])
def test_one_without_targets_leaves_the_others_in_arrays(exact: bool, tmp_path: Path) -> None:
    """By hand: what is asked for nothing stays as it is, on the steps 22.4 g as 22 g."""
    own, names = write_files(tmp_path)
    (tmp_path / "free.toml").write_text(FILE.format(targets="", meat="22.4"), encoding="utf-8")
    found = solve_menu(pd.DataFrame({"file": [*names[:4], "free.toml"]}), own,
                       MenuOptions(exact=exact, folder=str(tmp_path)))
    assert found.alone == 0
    free = found.weights[found.weights["recipe"] == "free"]
    assert free["grams"].tolist() == [22.4 if exact else 22, 20, 30, 20]


def test_in_small_pieces_the_tables_are_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows that are files are cut after fewer characters; a name that comes again has its line there too."""
    own, names = write_files(tmp_path)
    menu = tmp_path / "menu.csv"
    menu.write_text("\n".join(["file", *names, *names[:4], ""]), encoding="utf-8")
    assert [len(piece.text.split("\n")) - 1 for piece in pieces(open_menu(menu), 60 * ROWS_OF_A_FILE)] == [4, 4, 4, 2]
    found, solved, stacked = [], list[int](), menus.arrays_of_recipes

    def counted(named: list[tuple[str, Recipe]], *how: Any) -> MenuArrays:
        solved.append(len(named))
        return stacked(named, *how)

    monkeypatch.setattr(menus, "arrays_of_recipes", counted)
    for size in (1 << 20, 60 * ROWS_OF_A_FILE):
        monkeypatch.setattr("ratio_solver.menu.run.PIECE", size)
        counts = run_menu(menu, tmp_path / "out", own, workers=1)
        assert counts == {"solved": 12, "impossible": 2, "unreadable": 0}
        found.append({path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()})
    assert found[0] == found[1]
    assert sum(solved) == 2 * len([*names, *names[:4]])  # none twice
    assert b"dish 1 45 (line 15)" in found[0]["servings.csv"]
