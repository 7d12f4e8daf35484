"""One list for several dishes, a menu or a day: what the lists of its dishes come to."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import FoodTable, load_foods, read_days, read_recipe, shopping, solve, solve_day
from ratio_solver.cli import main
from ratio_solver.day.result import Days
from ratio_solver.day.shopping.compute import shopping_of_days
from ratio_solver.menu.recipes import recipes_of_menu
from ratio_solver.tools.shopping.compute import ToCook, shopping_for

EXAMPLES = Path(__file__).resolve().parent.parent.parent / "examples"
NAMES = ("celeriac-gratin", "moussaka", "salmon-soup", "butter-chicken", "lamb-pie", "onion-tart")


def menu(folder: Path) -> Path:
    rows = "".join(f"{EXAMPLES}/{name}.toml\n" for name in NAMES)
    (folder / "menu.csv").write_text(f"file\n{rows}", encoding="utf-8")
    return folder / "menu.csv"


def test_the_list_of_a_menu_is_the_sum_of_its_dishes(tmp_path: Path) -> None:
    """To the gram, before anything is rounded up to whole pieces."""
    foods = load_foods()
    dishes = recipes_of_menu(menu(tmp_path), foods)
    assert [name for name, _ in dishes] == list(NAMES)
    solved = {name: solve(recipe) for name, recipe in dishes}
    together = shopping_for([ToCook(name, dish.recipe, dish.grams_of_each) for name, dish in solved.items()], 1,
                            foods=foods)
    alone: dict[str, dict[str, Fraction]] = {}
    for name, dish in solved.items():
        for bought in shopping(dish.recipe, dish.grams_of_each, foods=foods).purchases:
            alone.setdefault(bought.food, {})[name] = bought.bought
    assert {item.food: dict(item.dishes) for item in together.purchases} == alone
    for item in together.purchases:
        assert item.bought == sum(alone[item.food].values())
    assert any(len(item.dishes) > 2 for item in together.purchases)


def test_the_command_lists_several_recipes_a_menu_and_a_day(tmp_path: Path) -> None:
    paths = [str(EXAMPLES / f"{name}.toml") for name in NAMES]
    several = CliRunner().invoke(main, ["shopping", *paths, "--format", "json"])
    assert several.exit_code == 0, several.stderr
    of_menu = CliRunner().invoke(main, ["shopping", str(menu(tmp_path)), "--format", "json"])
    grams = [{item["food"]: item["bought_g"] for item in json.loads(ran.output)["purchases"]}
             for ran in (several, of_menu)]
    assert grams[0] == grams[1]
    of_day = CliRunner().invoke(main, ["shopping", str(EXAMPLES / "day" / "tuesday.toml")])
    assert of_day.exit_code == 0 and "beside" in of_day.output
    broken = CliRunner().invoke(main, ["shopping", str(EXAMPLES / "week-menu.csv")])
    assert broken.exit_code == 3 and "impossible" in broken.stderr and not broken.stdout
    over = CliRunner().invoke(main, ["shopping", *paths, "-o", paths[1]])
    assert over.exit_code == 1 and "would overwrite it" in over.stderr


def test_an_option_that_would_change_nothing_is_refused(tmp_path: Path) -> None:
    """Else the list of a day at the recipes' own ratio would be taken for one at the ratio that was asked for."""
    recipe, day, of_menu = EXAMPLES / "celeriac-gratin.toml", EXAMPLES / "day" / "tuesday.toml", menu(tmp_path)
    for source, options in ((day, ["--ratio", "3", "--servings", "20"]), (day, ["--guaranteed", "mean"]),
                            (day, ["--as-written"]), (day, ["--prefer", "closest"]), (of_menu, ["--ratio", "3"]),
                            (of_menu, ["--target", "protein<=9"]), (of_menu, ["--together"]), (recipe, ["--together"]),
                            (recipe, ["--people", str(EXAMPLES / "day" / "guests.toml")])):
        ran = CliRunner().invoke(main, ["shopping", str(source), *options])
        assert ran.exit_code == 2 and not ran.stdout, (options, ran.output)
        assert all(option in ran.stderr for option in options if option.startswith("--")), ran.stderr
        assert "expected without a " in ran.stderr
    ran = CliRunner().invoke(main, ["shopping", str(of_menu), "--servings", "8", "--as-written"])
    assert ran.exit_code == 0 and "48 servings" in ran.output, ran.output


def test_a_day_is_bought_with_whole_batches_and_what_is_beside() -> None:
    foods = load_foods()
    [day] = read_days(EXAMPLES / "day" / "tuesday.toml", foods)
    answer = solve_day(day)
    bought = {item.food: item for item in shopping_of_days(Days((answer,)), foods=foods).purchases}
    oil = sum(had.grams for had in answer.had if had.name == "olive oil")
    [moussaka] = [pot for pot in answer.pots if pot.pot.recipe.title.startswith("Moussaka")]
    own = next(weight for item, weight in zip(moussaka.pot.recipe.ingredients, moussaka.weights, strict=True)
               if item.food.name == "olive oil")
    assert bought["olive oil"].bought == oil + moussaka.batches * own


def test_packs_of_a_table_of_ones_own(tmp_path: Path) -> None:
    """497 g of mascarpone in tubs of 250 g: two; the price is that of whole tubs."""
    (tmp_path / "packs.csv").write_text("food,pack_grams,price_per_kg\nmascarpone,250,8\n", encoding="utf-8")
    foods: FoodTable = load_foods(tmp_path / "packs.csv")
    recipe = read_recipe(EXAMPLES / "mascarpone-slice.toml", foods)
    [item] = [one for one in shopping(recipe, solve(recipe).grams_of_each, foods=foods).purchases
              if one.food == "mascarpone"]
    assert (item.bought, item.packs, item.pack, item.buy, item.price) == (497, 2, 250, 500, 4)
    ran = CliRunner().invoke(main, ["shopping", str(EXAMPLES / "mascarpone-slice.toml"), "--foods",
                                    str(tmp_path / "packs.csv")])
    assert "2 x 250 g" in ran.output
    (tmp_path / "packs.csv").write_text("food,pack_grams\nmascarpone,0\n", encoding="utf-8")
    ran = CliRunner().invoke(main, ["shopping", str(EXAMPLES / "mascarpone-slice.toml"), "--foods",
                                    str(tmp_path / "packs.csv")])
    assert ran.exit_code == 1 and "pack_grams: got '0'" in ran.stderr


@pytest.mark.parametrize(("source", "given"), [
    ("week-by-file.csv", ["--ratio", "3"]), ("week-by-file.csv", ["--energy", "us"]),
    ("day/tuesday.toml", ["--ratio", "3"]), ("day/tuesday.toml", ["--target", "protein>=40"]),
    ("day/tuesday.toml", ["--servings", "9"]), ("day/tuesday.toml", ["--prefer", "cheapest"]),
    ("day/tuesday.toml", ["--guaranteed=mean"]), ("day/tuesday.toml", ["--as-written"])])
def test_what_would_change_nothing_is_refused(source: str, given: list[str]) -> None:
    """Whoever asks for 3:1 must not be given the list of another ratio."""
    ran = CliRunner().invoke(main, ["shopping", str(EXAMPLES / source), *given])
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert f"{given[0].partition('=')[0]}: expected without a" in ran.stderr
