"""What a person may eat: told with figures wherever a serving holds more, as by hand; and nowhere else."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from ratio_solver import BadInput, MenuOptions, Recipe, check, load_foods, portions, recipe_from, solve_menu
from ratio_solver.cli import main
from ratio_solver.dish.most import most_warnings
from ratio_solver.exact import exact
from tests.kitchen import dish, food, table, table_file
from tests.menu.drawing import framed, one_by_one

ROWS = (
    food("liver", 4, 20, 3, retinol_ug=12000, selenium_ug=40, most_per_serving=25, allergens="none",
         most_because="vitamin A: the upper level (a source)."),
    food("butter", 80, 1, retinol_ug=700, retinol_ug_low=600, retinol_ug_high=800, selenium_ug=1, allergens="milk"),
    food("root", 0, 1, 8, 2, retinol_ug=0, selenium_ug=0, allergens="none"),
    food("oil", 100, allergens="none", role="fat"),
    food("mace", 30, 6, 20, most_per_serving=0.5, allergens="none"),
    food("herring", 9, 18, erucic_g=1.2, role="fish", allergens="fish"),
    food("mustard", 3, 4, 5, erucic_g=1.2, allergens="mustard"),
    food("raw beans", 1, 20, 60, 20, most_because="raw they are poisonous (a source)", allergens="none"),
    food("sweet", 0, 0, 100, polyols_g=100, erythritol_g=60, allergens="none"),
    food("birch sugar", 0, 0, 100, polyols_g=100, most_per_serving=20, most_because="polyols: laxative (a source)",
         allergens="none"),
    food("forbidden", 100, most_per_serving=0, most_because="an order of the house", allergens="none"),
)


def recipe(folder: Path, *ingredients: tuple[str, float], servings: int = 2, **more: float) -> Recipe:
    return recipe_from(dish([{"food": name, "grams": grams, **more} for name, grams in ingredients], servings),
                       table(folder, *ROWS))


def told(folder: Path, *ingredients: tuple[str, float], servings: int = 2, guaranteed: bool = False,
         **more: float) -> list[str]:
    found = recipe(folder, *ingredients, servings=servings, **more)
    return list(most_warnings(found, tuple(map(exact, found.starts)), guaranteed=guaranteed))


def test_a_food_is_held_to_its_own_most(tmp_path: Path) -> None:
    """25 g in each of two servings: kept at 50 g, passed at 50.1; the vitamin A of liver alone is said once."""
    assert told(tmp_path, ("liver", 50), ("oil", 10)) == []
    assert told(tmp_path, ("liver", 50.1), ("oil", 10)) == [
        "one serving holds 25.1 g of liver, where 25 g is the most because of vitamin A: the upper level (a source)"]


def test_the_yield_and_every_place_of_a_food_count(tmp_path: Path) -> None:
    """40 g prepared at 0.8 are 50 g before, 41 g 51.25; 20 and 31 g of two parts are 51 g."""
    assert told(tmp_path, ("liver", 40), **{"yield": 0.8}) == []
    assert "25.7 g of liver" in told(tmp_path, ("liver", 41), **{"yield": 0.8})[0]
    items = [{"food": "liver", "label": label, "grams": grams} for label, grams in (("filling", 20), ("dumplings", 31))]
    twice = recipe_from(dish(items, 2), table(tmp_path, *ROWS))
    assert "25.5 g of filling and dumplings, where 25 g" in most_warnings(twice, tuple(map(exact, twice.starts)))[0]


def test_a_substance_is_summed_over_the_dish(tmp_path: Path) -> None:
    """40 g of liver hold 4,800 ug, 180 g of butter 1,260: 3,030 in each of two; the oil's retinol is unknown."""
    assert told(tmp_path, ("liver", 40), ("butter", 180)) == [
        "one serving holds 3,030 ug of retinol, where 3,000 ug is the most: upper level of vitamin A for adults, a day "
        "(SCF 2002, from memory)"]
    assert told(tmp_path, ("liver", 40), ("butter", 170)) == []  # 2,995
    assert "holds at least 3,030 ug of retinol" in told(tmp_path, ("liver", 40), ("butter", 180), ("oil", 5))[0]
    both = told(tmp_path, ("liver", 60), ("butter", 10))  # 30 g of liver; 7,270 ug in two servings
    assert [line.split(", where")[0] for line in both] == ["one serving holds 30 g of liver",
                                                           "one serving holds 3,635 ug of retinol"]


def test_at_least_is_never_more_than_there_is(tmp_path: Path) -> None:
    """3,000.15 ug and something unknown are at least 3,000.1, not 3,001, and not 3,000 either."""
    assert "at least 3,000.1 ug of retinol" in told(tmp_path, ("liver", 40), ("butter", 171.47), ("oil", 5))[0]


def test_guaranteed_takes_the_high_end(tmp_path: Path) -> None:
    """2,400 and 75 g at 800 ug: 3,000 ug in a serving; at 800.8 g more."""
    assert told(tmp_path, ("liver", 40), ("butter", 150), guaranteed=True) == []
    assert "3,004 ug" in told(tmp_path, ("liver", 40), ("butter", 151), guaranteed=True)[0]


def test_the_22_1_of_fish_is_not_called_erucic_acid(tmp_path: Path) -> None:
    """100 g of 1.2 % 22:1 in a serving are 1.2 g: of mustard erucic acid, where 7 mg for 70 kg are 0.49 g."""
    assert told(tmp_path, ("herring", 200)) == []
    assert "1.20 g of erucic acid, where 0.49 g is the most" in told(tmp_path, ("mustard", 200))[0]


def test_polyols_add_up_and_erythritol_apart(tmp_path: Path) -> None:
    """By hand: 15 g birch sugar and 12.6 g sweet (40 % others) are 20.04 g; 60 g sweet hold 36 g erythritol."""
    assert told(tmp_path, ("birch sugar", 15), ("sweet", 12.5), servings=1) == []
    assert "20.1 g of polyols other than erythritol, where 20 g" in told(
        tmp_path, ("birch sugar", 15), ("sweet", 12.6), servings=1)[0]
    assert "36 g of erythritol, where 35 g" in told(tmp_path, ("sweet", 60), servings=1)[1]
    alone = told(tmp_path, ("birch sugar", 21), servings=1)
    assert len(alone) == 1 and "21 g of birch sugar" in alone[0]


def test_no_reason_a_most_of_nothing_and_what_is_always_told(tmp_path: Path) -> None:
    assert told(tmp_path, ("mace", 2)) == ["one serving holds 1 g of mace, where 0.5 g is the most"]
    assert told(tmp_path, ("forbidden", 0)) == []
    assert "0.1 g of forbidden, where 0 g is the most" in told(tmp_path, ("forbidden", 0.01))[0]
    assert told(tmp_path, ("raw beans", 1)) == ["raw beans: raw they are poisonous (a source)"]
    assert told(tmp_path, ("raw beans", 0), ("root", 10)) == []


def test_cells_that_say_no_most_are_faults(tmp_path: Path) -> None:
    for cell in ("much", "-1", "1e999"):
        with pytest.raises(BadInput, match="most_per_serving"):
            table(tmp_path, food("liver", most_per_serving=cell))
    with pytest.raises(BadInput, match="expected none or unknown, not both"):
        table(tmp_path, food("liver", allergens="none; unknown"))


def test_a_later_table_takes_no_warning_away(tmp_path: Path) -> None:
    """Brazil nuts with a price have the bundled table's most, and their own where they say one."""
    nuts = food("brazil nuts", 67, 14, 12, 7, price_per_kg=20) | {"id": "ndb:12078"}
    bundled = load_foods().get("brazil nuts")
    priced = load_foods(table_file(tmp_path, nuts)).get("brazil nuts")
    assert bundled and priced and priced.price == 20
    assert (priced.most, priced.most_because) == (bundled.most, bundled.most_because) and bundled.most == 13
    own = load_foods(table_file(tmp_path, nuts | {"most_per_serving": "10"})).get("brazil nuts")
    assert own and (own.most, own.most_because) == (10, "")


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, arguments)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


PLATE = """
title = "A plate that is too much"
servings = 2
targets = {ratio = 0.5}
ingredients = [
  {food = "veal liver, raw", label = "calf's liver", grams = 400}, {food = "brazil nuts", grams = 60},
  {food = "nutmeg, ground", grams = 40}, {food = "MCT oil", grams = 80}, {food = "butter, unsalted", grams = 100},
  {food = "olive oil", grams = 0, min = 0, max = 300}]
"""


def test_it_is_told_in_every_form(tmp_path: Path) -> None:
    """Two servings: 200 g of calf's liver, 30 g of Brazil nuts, 20 g of nutmeg and 40 g of MCT oil in each.

    Retinol (USDA SR28): 2 * 11,705 of liver and 0.5 * 671 of butter; selenium 0.3 * 1,917 and more of the others.
    """
    path = tmp_path / "plate.toml"
    path.write_text(PLATE, encoding="utf-8")
    expected = ("one serving holds 200 g of calf's liver, where 25 g is the most",
                "one serving holds 30 g of brazil nuts, where 13 g is the most",
                "one serving holds 20 g of nutmeg, ground, where 0.5 g is the most",
                "one serving holds 40 g of MCT oil, where 30 g is the most",
                "one serving holds at least 23,745 ug of retinol, where 3,000 ug is the most")
    for command in (["solve"], ["check"], ["portions"], ["adjust", "--added", "olive oil=10"], ["add-fat"],
                    ["shopping"], ["solve", "--what-if", "servings=2"], ["swap", "olive oil", "lard"],
                    ["swap", "olive oil", "--try-all", "fat"]):
        name, *rest = command
        asked = [name, str(path), *rest]
        text, data = " ".join(run(*asked).stdout.split()), run(*asked, "--format", "json").stdout
        for words in expected:
            assert words in text, (command, words)
            assert words in json.dumps(json.loads(data), ensure_ascii=False), (command, words)
        if name not in ("portions", "shopping"):
            rows = list(csv.DictReader(io.StringIO(run(*asked, "--format", "csv").stdout)))
            assert all(any(words in cell for row in rows for cell in row.values()) for words in expected), command
    page = run("card", str(path)).stdout
    caution = page.split('id="cautions"')[1].split("</section>")[0]
    assert all(words.replace("'", "&#39;") in caution for words in expected)
    assert "is the most" not in page.split('id="reckoned"')[1]
    hard = run("solve", str(path), "--ratio", "900")
    assert hard.exit_code == 3 and "is the most" not in hard.stdout, "no figure where there is no dish"


def test_a_portion_is_held_to_what_a_person_may_eat_by_its_own_size(tmp_path: Path) -> None:
    """100 g of liver in 1,000 g: four servings hold 25 g each, portions of 260 g 26 g."""
    found = recipe(tmp_path, ("liver", 100), ("root", 900), servings=4)
    weights = tuple(map(exact, found.starts))
    assert not [line for line in portions(found, weights).warnings if "the most" in line]
    larger = [line for line in portions(found, weights, portion_grams=260).warnings if "the most" in line]
    assert [line.split(", where")[0] for line in larger] == ["one serving holds 26 g of liver"]


MENU = framed([
    {"recipe": "plenty", "servings": "2", "ratio": "1", "food": "root", "grams": "300", "yield": ""},
    {"recipe": "plenty", "food": "liver", "grams": "45", "min": "45", "max": "60", "yield": "0.8"},
    {"recipe": "plenty", "food": "butter", "grams": "100", "min": "0", "max": "300"},
    {"recipe": "at the edge", "servings": "2", "ratio": "1", "food": "root", "grams": "300"},
    {"recipe": "at the edge", "food": "liver", "grams": "50"},
    {"recipe": "at the edge", "food": "oil", "grams": "0", "min": "0", "max": "200"},
    {"recipe": "two of a kind", "servings": "2", "ratio": "1", "food": "root", "grams": "300"},
    {"recipe": "two of a kind", "food": "mace", "label": "mace, inside", "grams": "0.6"},
    {"recipe": "two of a kind", "food": "mace", "label": "mace, outside", "grams": "0.6"},
    {"recipe": "two of a kind", "food": "oil", "grams": "0", "min": "0", "max": "200"},
    {"recipe": "beans", "servings": "2", "ratio": "0.1", "food": "raw beans", "grams": "30"},
    {"recipe": "beans", "food": "oil", "grams": "0", "min": "0", "max": "200"},
    {"recipe": "without", "servings": "2", "ratio": "1", "food": "root", "grams": "300"},
    {"recipe": "without", "food": "oil", "grams": "0", "min": "0", "max": "200"},
])


@pytest.mark.parametrize("options", [MenuOptions(), MenuOptions(exact=True), MenuOptions(guaranteed=True)], ids=str)
def test_a_menu_tells_it_as_the_per_recipe_solver_does(
    options: MenuOptions, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Plenty: 45 / 0.8 / 2 = 28.125 g of liver; the edge is 25 g; two of a kind 0.6 g of mace."""
    foods = table(tmp_path, *ROWS)
    found = solve_menu(MENU, foods, options).servings
    told_of = {name: [w for w in said.split("; ") if "the most" in w or "poisonous" in w]
               for name, said in zip(found["recipe"], found["warnings"], strict=True)}
    assert "one serving holds 28.2 g of liver" in told_of["plenty"][0] and "retinol" in told_of["plenty"][1]
    assert told_of["at the edge"] == [] and told_of["without"] == []
    assert told_of["two of a kind"] == [
        "one serving holds 0.6 g of mace, inside and mace, outside, where 0.5 g is the most"]
    assert told_of["beans"] == ["raw beans: raw they are poisonous (a source)"]
    one_by_one(monkeypatch)
    alone = solve_menu(MENU, foods, options).servings
    pd.testing.assert_frame_equal(found.astype(object).where(found.notna(), ""),
                                  alone.astype(object).where(alone.notna(), ""), check_index_type=False)


def test_what_is_checked_is_what_is_told(tmp_path: Path) -> None:
    """The library's answers have the warnings too, once each."""
    found = check(recipe(tmp_path, ("liver", 60), ("butter", 10))).warnings
    assert len([line for line in found if "the most" in line]) == 2
