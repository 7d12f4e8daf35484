"""Numbers and files beyond what is taken: a fault with its place, never a traceback, never memory without end."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ratio_solver import NotProven, load_foods, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.foods import csv_file, table
from tests.kitchen import MASH, food, table_file

DISH = f"""{MASH}[[ingredients]]
food = "parmesan, grated"
grams = 60
"""


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def dish(folder: Path, old: str = "", new: str = "") -> Path:
    assert old in DISH
    path = folder / "mash.toml"
    path.write_text(DISH.replace(old, new, 1), encoding="utf-8")
    return path


TOO_SMALL = "0.000001 is the smallest number taken"


@pytest.mark.parametrize("old, new, words", [
    ("grams = 400", "grams = 1e-300",
     f"ingredients[1].grams: got 1e-300; expected a weight in g, 0 to 1,000,000; {TOO_SMALL}"),
    ("max = 450", "max = 1e300", "ingredients[1].max: got 1e+300; expected the greatest weight in g, 0 to 1,000,000"),
    ("grams = 60", "grams = 60\nyield = 5e-324", f"ingredients[3].yield: got 5e-324; expected prepared weight / weight "
     f"before, above 0 and at most 20; {TOO_SMALL}"),
    ("grams = 60", "grams = 60\nyield = 1e-12", "ingredients[3].yield: got 1e-12"),
    ("max = 450", "max = 450\nstep = 5e-324",
     f"ingredients[1].step: got 5e-324; expected a step in g, above 0 and at most 10,000; {TOO_SMALL}"),
    ("max = 450", "max = 450\npiece = 1e-12", "ingredients[1].piece: got 1e-12"),
    ("max = 450", "max = 450\nkeep = 1e-12", "ingredients[1].keep: got 1e-12"),
    ("ratio = 2", "ratio = 1e-12", "targets.ratio: got 1e-12"),
    ("ratio = 2", "ratio = '1:9000000000'", "targets.ratio: got '1:9000000000'; expected a ratio"),
    ("ratio = 2", "ratio = {min = 1e-300, max = 2}", "targets.ratio.min: got 1e-300"),
    ("net_carbs = 11", "net_carbs = 1e308", "targets.net_carbs: got 1e+308"),
    ("net_carbs = 11", "net_carbs = 11\nenergy = {min = 5e-324}", "targets.energy.min: got 5e-324"),
    ("grams = 400", f"grams = {'9' * 5000}", "is not TOML: Exceeds the limit (4300 digits)"),
    ("grams = 400", f"grams = 0x{'f' * 5000}", "ingredients[1].grams: got too large to show; expected a weight in g"),
    ("servings = 4", f"servings{'.a' * 3000} = 4", "servings: got too large to show; expected the number of servings"),
    ("grams = 400", "grams = nan", "ingredients[1].grams: got nan"),
    ('"Mash"', f'"{"x" * 40_000}"', "title: expected a text of at most 32,767 characters; there are 40,000"),
])
def test_a_number_that_means_nothing_is_a_fault(old: str, new: str, words: str, tmp_path: Path) -> None:
    path = dish(tmp_path, old, new)
    result = run("solve", path)
    assert result.exit_code == 1, result.output
    place, _, rest = words.partition(": ")
    where = re.sub(r"^ingredients\\\[\d+\\\]\\\.", "ingredient .*, ", re.escape(place))
    assert re.search(f"{re.escape(str(path))}(:[0-9]+)?: {where}: {re.escape(rest)}", result.stderr)
    assert max(map(len, result.stderr.splitlines())) < 1000


def test_nothing_and_the_smallest_number_are_taken(tmp_path: Path) -> None:
    path = dish(tmp_path, "grams = 60", "grams = 0.000001")
    assert run("check", path, "--net-carbs", "0").exit_code == 3
    assert run("solve", path, "--ratio", "0.000001").exit_code == 0


@pytest.mark.parametrize("column, cell, words", [
    ("energy_kcal", "1e308", "expected a number, 0 to 1,000"),
    ("energy_kcal", "1001", "expected a number, 0 to 1,000"),
    ("energy_kcal", "1e-300", TOO_SMALL),
    ("sodium_mg", "100001", "expected a number, 0 to 100,000"),
    ("fat_g", "5e-324", TOO_SMALL),
    ("price_per_kg", "1e12", "expected a number, 0 to 1,000,000"),
    ("price_per_kg", "1e-9", TOO_SMALL),
    ("fat_g_high", "1e300", "expected a number, 0 to 100,000,000"),
    ("measures", "cup=1e-300", "grams from 0.000001 to 1,000,000"),
    ("measures", "cup=1e300", "grams from 0.000001 to 1,000,000"),
    ("source", "x" * 140_000, "got 140,000 characters; expected at most 32,767"),
])
def test_a_figure_that_no_food_can_have_is_a_fault(column: str, cell: str, words: str, tmp_path: Path) -> None:
    own = table_file(tmp_path, food("lard", 99), food("butter fat", 99, **{column: cell}))
    result = run("add-fat", dish(tmp_path), "--foods", own)
    assert result.exit_code == 1
    assert re.match(rf"{re.escape(str(own))}: line 3, {column}: got ", result.stderr), result.stderr
    assert words in result.stderr and len(result.stderr) < 1000


@pytest.mark.parametrize("arguments", [
    ("solve", "--target", "protein>=1e-300"), ("solve", "--net-carbs", "1e308"), ("solve", "--net-carbs", "nan"),
    ("solve", "--ratio", "0.0000000001"), ("solve", "--scale", "1e-300"), ("solve", "--scale", "inf"),
    ("solve", "--what-if", "net_carbs=" + "9" * 400), ("solve", "--scale-error", "1e-300"),
    ("add-fat", "--step", "5e-324"), ("curve", "--of", "ratio", "--to", "1e308"),
    ("curve", "--of", "ratio", "--from", "1e-300"), ("portions", "--portion-grams", "1e-300"),
    ("portions", "--portion-grams", "inf"), ("portions", "--portion-grams", "nan"),
    ("adjust", "--weighed", "butter, salted=1e-300"), ("adjust", "--weighed", "butter, salted=" + "9" * 5000),
])
def test_an_option_that_means_nothing_is_a_fault(arguments: tuple[str, ...], tmp_path: Path) -> None:
    command, *options = arguments
    result = run(command, dish(tmp_path), *options)
    assert result.exit_code == 1, result.output
    assert result.stderr.startswith("--") and len(result.stderr) < 1000


def test_files_that_are_too_large_are_refused_by_their_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = dish(tmp_path, "servings", "#" + "x" * (1 << 20) + "\nservings")
    assert run("solve", path).stderr == f"{path}: got 1.0 MB; expected a file of at most 1.0 MB\n"
    path = dish(tmp_path, "[[ingredients]]", '[[ingredients]]\nfood = "lard"\ngrams = 1\n' * 1001 + "[[ingredients]]")
    assert run("solve", path).stderr == f"{path}: ingredients: got 1,004 of them; expected at most 1,000\n"
    monkeypatch.setattr(csv_file, "TABLE_BYTES", 10_000)
    monkeypatch.setattr(table, "read_csv", lambda one: csv_file.read_csv(one))
    monkeypatch.setattr(csv_file.read_text, "__defaults__", (10_000,))
    own = table_file(tmp_path, *(food(f"food {n}", 1) for n in range(1000)))
    assert "expected a file of at most 10,000 bytes" in run("foods", "lard", "--foods", own).stderr


def test_a_stream_without_an_end_is_refused(tmp_path: Path) -> None:
    """A device that never ends is read no further than a file may be long."""
    if not Path("/dev/zero").exists():
        pytest.skip("there is no such device here")
    for arguments in (("solve", "/dev/zero"), ("solve", dish(tmp_path), "--foods", "/dev/zero"),
                      ("menu", "/dev/zero", "-o", tmp_path / "out")):
        result = run(*arguments)
        assert result.exit_code == 1 and "/dev/zero: " in result.stderr and "MB" in result.stderr


def test_a_table_of_a_thousand_columns_is_enough(tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    own.write_text("food," + ",".join(f"x{n}" for n in range(1000)) + "\n", encoding="utf-8")
    assert run("foods", "lard", "--foods", own).stderr == \
        f"{own}: line 1: got 1,001 columns; expected at most 1,000\n"


@pytest.mark.parametrize("prefer", ["cheapest", "even", "lightest", "lowest-carb", "closest"])
def test_costs_of_the_widest_range_are_solved_or_said_to_be_unproven(prefer: str, tmp_path: Path) -> None:
    """Prices, steps and weights twelve orders of magnitude apart: an answer, an impossible one or one line."""
    rows = [food(f"oil {n}", 90 + n, price_per_kg=price, energy_kcal=energy) for n, (price, energy) in enumerate(
        [(0.000001, 0.000001), (1_000_000, 1000), (3.7, 884)])]
    foods = load_foods(table_file(tmp_path, *rows, food("starch", 0, 1, 80, price_per_kg=0.5)), bundled=False)
    for low, high, keep in ((0, 1_000_000, 1000), (0.000001, 0.5, 0.001), (0, 0.000001, 1)):
        ingredients = [{"food": f"oil {n}", "grams": high, "min": low, "max": high, "keep": keep} for n in range(3)]
        ingredients.append({"food": "starch", "grams": 10})
        recipe = recipe_from({"title": "t", "servings": 3, "targets": {"ratio": 2}, "ingredients": ingredients}, foods)
        for exact in (True, False):
            with suppress(NotProven):
                assert solve(recipe, prefer, exact=exact).outcome in ("solved", "impossible")
