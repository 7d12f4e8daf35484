"""A solved menu in the library: what it says is what the folder of the command holds."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from ratio_solver import MenuTables, load_foods, run_menu, solve_menu
from tests.kitchen import food, table
from tests.menu.drawing import framed

ROOT = Path(__file__).resolve().parents[2]
WEEK = ROOT / "examples" / "week-menu.csv"


@pytest.fixture(scope="module")
def week() -> MenuTables:
    return solve_menu(pd.read_csv(WEEK, dtype=object))


def test_data_and_rows_are_the_tables_of_the_command(week: MenuTables, tmp_path: Path) -> None:
    run_menu(WEEK, tmp_path / "out", load_foods())
    data = json.loads(json.dumps(week.to_dict(), allow_nan=False))
    for name in ("weights", "servings", "limits", "problems"):
        with (tmp_path / "out" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            cells = list(csv.DictReader(file))
        assert [{key: "" if value is None else str(value) for key, value in row.items()} for row in data[name]] == cells
    assert week.rows() == data["servings"]
    assert data["counts"] == {"solved": 6, "impossible": 2, "unreadable": 0}
    assert "\n\n".join(data["cautions"]) + "\n" == (tmp_path / "out" / "cautions.txt").read_text(encoding="utf-8")


def test_the_report_tells_every_recipe_and_a_look_is_short(week: MenuTables) -> None:
    report, words = week.report(), " ".join(week.report().split())
    assert week.outcome == "impossible" and report.startswith("Menu  8 recipes: 6 solved, 2 impossible, 0 unreadable")
    for row in week.rows():
        assert str(row["recipe"]) in words
        assert str(row["message"]) in words and str(row["warnings"]) in words
        assert row["allergens"] is None or str(row["allergens"]) in words
    assert max(map(len, report.splitlines())) <= 80
    assert "At 3:1 and above only under a physician" in report
    assert len(repr(week).splitlines()) <= 10 and "no medical advice" in repr(week)
    assert week._repr_html_().count("<table>") == 1


def test_what_cannot_be_read_and_names_that_look_like_markup(tmp_path: Path) -> None:
    foods = table(tmp_path, food("oil", 100), food("cheese", 30, 20, 2))
    found = solve_menu(framed([
        {"recipe": "<b>dip</b> [red]", "servings": "1", "ratio": "2", "food": "oil", "grams": "0", "min": "0",
         "max": "90"},
        {"recipe": "<b>dip</b> [red]", "food": "cheese", "grams": "50"},
        {"recipe": "soup", "servings": "1", "food": "stone", "grams": "5", "min": "0", "max": "9"}]), foods)
    assert found.outcome == "unreadable"
    assert "<b>dip</b> [red]" in found.report() and "line 4, soup: food stone is not in" in found.report()
    assert "&lt;b&gt;dip" in found._repr_html_() and "<b>dip" not in found._repr_html_()
    assert "At 3:1" not in found.report() and "Caution: no medical advice" in found.report()


def test_that_the_arrays_met_a_defect_is_one_line_of_the_command(tmp_path: Path) -> None:
    """As every message, it names no place in the code."""
    code = ("import sys\nfrom ratio_solver.cli import main\nfrom ratio_solver.menu import solve\n"
            "solve._Menu.stacked = lambda *_: 1 / 0\nmain(sys.argv[1:])\n")
    run = subprocess.run([sys.executable, "-c", code, "menu", str(WEEK), "-o", str(tmp_path / "out")], cwd=ROOT,
                         capture_output=True, text=True)
    assert run.stderr.splitlines()[:-1] == [
        "recipes are solved one by one: stopped by ZeroDivisionError: division by zero; "
        "this is a defect of ratio_solver"]
    assert run.stderr.splitlines()[-1].startswith("8 recipes: 6 solved")
