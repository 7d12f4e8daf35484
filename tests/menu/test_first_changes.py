"""Of impossible recipes a menu tells the first change that cures, found in arrays, as `solve` does."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from ratio_solver import MenuOptions, load_foods, solve, solve_menu
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.menu.results import impossible_message
from tests.bench.kinds import drawn, write_kind
from tests.bench.menu import recipe_of
from tests.kitchen import table
from tests.menu.test_answers import OIL, SUGAR, tie


@pytest.mark.parametrize(("exact", "step", "ratio"), [(True, "", "3"), (False, "", "3"), (False, "4", "2.8")])
def test_the_nearest_ratio_by_hand(exact: bool, step: str, ratio: str, tmp_path: Path) -> None:
    """30 g of oil at most to 10 g of sugar make 3:1, and 28 g, as 4 g steps allow, 2.8:1; 40 g is a third more."""
    frame = tie(("oil", "20", "0", "30"), ("sugar", "10", "", ""), ratio="4")
    frame["step"] = [step, ""]
    found = solve_menu(frame, table(tmp_path, OIL, SUGAR), MenuOptions(exact=exact))
    assert found.servings["message"].tolist()[0].endswith(f"First change that cures it: ratio >= {ratio}:1")
    assert found.alone == exact  # between the steps 3:1 leaves no room for rounding: the per-recipe solver is asked


@pytest.mark.parametrize("exact", [True, False], ids=["exact", "steps"])
@pytest.mark.parametrize(("kind", "dearer"), [("30 % impossible", 1.0), ("choices, by file", 4.0)])
def test_the_first_change_is_that_of_solve(kind: str, dearer: float, exact: bool, tmp_path: Path) -> None:
    foods, written = load_foods(), drawn(kind, 24, 11, bundled_path())
    for one in written:
        one.targets["ratio"] = round(one.targets["ratio"] * dearer, 2)
    frame = pd.read_csv(write_kind(kind, written, tmp_path), dtype=str, keep_default_na=False)
    found = solve_menu(frame, foods, MenuOptions(exact=exact, folder=str(tmp_path)))
    said = dict(zip(found.servings["recipe"], found.servings["message"], strict=True))
    impossible = [one for one in written if said[one.name]]
    assert len(impossible) > 3 and found.alone <= len(impossible) // 3
    for one in impossible:
        answer = solve(recipe_of(one, foods), exact=exact)
        assert said[one.name] == impossible_message(answer.diagnosis)
