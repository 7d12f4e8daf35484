"""Choices in a menu of recipe files are made in arrays, and the answer is that of `solve`."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from ratio_solver import MenuOptions, read_recipe, solve, solve_menu
from tests.kitchen import table
from tests.menu.test_answers import MEAT, OIL, SUGAR, TALLOW

FILE = """
title = "stew"
servings = 1
[targets]
ratio = 1
[[ingredients]]
food = "meat"
grams = 40
[[ingredients]]
food = "oil"
grams = {oil}
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
[[choose]]
from = ["oil", "tallow", "sugar"]
at_most = {at_most}
"""


@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize(("oil", "at_most", "grams"), [
    ("60", 1, [40, 60, 0, 0]),  # the oil is fixed and the one: tallow and sugar are left out
    ("60", 2, [40, 60, 30, 0]),  # leaving the sugar out moves 20 g, leaving the tallow out 30 g
    ("0", 1, [40, 0, 40, 0]),
])
def test_what_a_choice_leaves_out(oil: str, at_most: int, grams: list[int], exact: bool, tmp_path: Path) -> None:
    """By hand, at 1:1 with meat of 40 g."""
    own, path = table(tmp_path, OIL, TALLOW, SUGAR, MEAT), tmp_path / "stew.toml"
    path.write_text(FILE.format(oil=oil, at_most=at_most), encoding="utf-8")
    found = solve_menu(pd.DataFrame({"file": ["stew.toml"]}), own, MenuOptions(exact=exact, folder=str(tmp_path)))
    answer = solve(read_recipe(path, own), exact=exact)
    assert found.weights["grams"].tolist() == [float(weight.grams) for weight in answer.weights] == grams
    assert found.alone == 0
