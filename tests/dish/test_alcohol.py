"""Alcohol that goes into the pot is told of, with every dish and in every form."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from ratio_solver import FoodTable, MenuOptions, check, recipe_from, solve_menu
from ratio_solver.cli import main
from tests.kitchen import dish, food, table, table_file
from tests.menu.drawing import framed, one_by_one

ROWS = (
    food("plums", 0, 1, 11, 1, allergens="none"),
    food("plum spirit", alcohol_g=33.4, alcohol_g_low=30, alcohol_g_high=40, allergens="none"),
    food("essence", alcohol_g=10, allergens="none"),
    food("fat", 100, allergens="none", role="fat"),
)


def warnings(folder: Path, *ingredients: tuple[str, float], servings: int = 4, guaranteed: bool = False,
             **more: float) -> list[str]:
    items = [{"food": name, "grams": grams, **more} for name, grams in ingredients]
    found = check(recipe_from(dish(items, servings), table(folder, *ROWS)), guaranteed=guaranteed)
    return [warning for warning in found.warnings if "alcohol" in warning]


@pytest.mark.parametrize(("grams", "told"), [
    (120, "10.1"),  # 120 * 0.334 / 4 = 10.02, rounded up
    (119, "10.0"),  # 9.9365
    (1.2, "0.2"),  # 0.1002
])
def test_a_serving_holds_its_share_of_what_goes_in(grams: float, told: str, tmp_path: Path) -> None:
    said = warnings(tmp_path, ("plums", 500), ("plum spirit", grams))
    assert said == [f"one serving holds up to {told} g of alcohol; cooking takes away some of it, not all"]


def test_threshold_yield_and_interval(tmp_path: Path) -> None:
    """Told of from 0.1 g in a serving; by the yield; at the high end of an interval where that is guaranteed."""
    assert warnings(tmp_path, ("plums", 500), ("essence", 4))  # 0.4 g in four servings
    assert not warnings(tmp_path, ("plums", 500), ("essence", 3.99))
    assert "10.0 g" in warnings(tmp_path, ("essence", 200), **{"yield": 0.5})[0]  # of 400 g before
    assert "12.0 g" in warnings(tmp_path, ("plum spirit", 120), guaranteed=True)[0]


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, arguments)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def test_it_is_told_in_every_form(tmp_path: Path) -> None:
    foods, path = str(table_file(tmp_path, *ROWS)), tmp_path / "dessert.toml"
    path.write_text('title = "Plums in spirit"\nservings = 4\ntargets = {ratio = 0.9, net_carbs = {max = 15}}\n'
                    'ingredients = [{food = "plums", grams = 400}, {food = "plum spirit", grams = 119},\n'
                    '  {food = "fat", grams = 0, min = 0, max = 90}]\n', encoding="utf-8")
    words = "one serving holds up to 10.0 g of alcohol"
    for command in (["solve"], ["check"], ["portions"], ["adjust", "--added", "fat=10"], ["add-fat"],
                    ["solve", "--what-if", "servings=4"], ["swap", "fat", "fat"], ["swap", "fat", "--try-all", "fat"]):
        name, *rest = command
        asked = [name, str(path), *rest, "--foods", foods]
        assert words in " ".join(run(*asked).stdout.split()), command
        assert words in json.dumps(json.loads(run(*asked, "--format", "json").stdout)), command
        if name != "portions":
            rows = csv.DictReader(io.StringIO(run(*asked, "--format", "csv").stdout))
            assert any(words in cell for row in rows for cell in row.values()), command
    assert words in run("card", str(path), "--foods", foods).stdout
    hard = run("solve", str(path), "--ratio", "90", "--foods", foods)
    assert hard.exit_code == 3 and "alcohol" not in hard.stdout, "no figure where there is no dish"


MENU = framed([
    {"recipe": "in spirit", "servings": "4", "ratio": "1", "food": "plums", "grams": "500", "yield": ""},
    {"recipe": "in spirit", "food": "plum spirit", "grams": "50", "min": "40", "max": "60", "yield": "0.7"},
    {"recipe": "in spirit", "food": "fat", "grams": "0", "min": "0", "max": "200"},
    {"recipe": "a drop", "servings": "4", "ratio": "1", "food": "plums", "grams": "500"},
    {"recipe": "a drop", "food": "essence", "grams": "3", "min": "3", "max": "4"},
    {"recipe": "a drop", "food": "fat", "grams": "0", "min": "0", "max": "200"},
    {"recipe": "without", "servings": "4", "ratio": "1", "food": "plums", "grams": "500"},
    {"recipe": "without", "food": "fat", "grams": "0", "min": "0", "max": "200"},
])


@pytest.mark.parametrize("options", [MenuOptions(), MenuOptions(exact=True), MenuOptions(guaranteed=True)], ids=str)
def test_a_menu_tells_it_as_the_per_recipe_solver_does(
    options: MenuOptions, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In spirit: 50 / 0.7 * 0.334 / 4 = 5.964 g, at 0.40 7.143 g; 3 g of essence are 0.075 g in a serving."""
    foods: FoodTable = table(tmp_path, *ROWS)
    found = solve_menu(MENU, foods, options).servings
    told = dict(zip(found["recipe"], found["warnings"], strict=True))
    assert f"up to {'7.2' if options.guaranteed else '6.0'} g of alcohol" in told["in spirit"]
    assert "alcohol" not in told["a drop"] and "alcohol" not in told["without"]
    one_by_one(monkeypatch)
    alone = solve_menu(MENU, foods, options).servings
    pd.testing.assert_frame_equal(found.astype(object).where(found.notna(), ""),
                                  alone.astype(object).where(alone.notna(), ""), check_index_type=False)


def test_a_list_to_buy_by_tells_of_the_high_end_too(tmp_path: Path) -> None:
    """40 g in 100 g at most: 120 g in four servings are 12 g each, 10.1 g as the table has it."""
    foods, path = str(table_file(tmp_path, *ROWS)), tmp_path / "dessert.toml"
    path.write_text("""title = "Dessert"
servings = 4
[[ingredients]]
food = "plum spirit"
grams = 120
""", encoding="utf-8")
    given = ("shopping", str(path), "--foods", foods, "--as-written")
    assert "10.1 g of alcohol" in run(*given).stdout
    assert "12.0 g of alcohol" in run(*given, "--guaranteed").stdout
