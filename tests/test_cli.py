"""The command line: outcomes, exit codes, streams, and that light commands stay light."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from ratio_solver import load_foods
from ratio_solver.cli import main
from ratio_solver.foods.label_rounding import LABEL_ROUNDING
from ratio_solver.foods.label_rules import LABELS
from ratio_solver.solving.formulation import PREFERENCES
from ratio_solver.tools.card.compute import LABEL_CHOICES
from ratio_solver.tools.curve.compute import OF
from ratio_solver.tools.foods.add import add
from ratio_solver.tools.swap.compute import CARRIED

ROOT = Path(__file__).resolve().parent.parent
MASH = """title = "Celeriac mash"
servings = 6
[targets]
ratio = 2.0
net_carbs = 6.0
[[ingredients]]
food = "celeriac, raw"
grams = 900
min = 300
max = 900
[[ingredients]]
food = "butter, salted"
grams = 60
min = 0
max = 300
[[ingredients]]
food = "egg, whole, raw"
grams = 100
"""


@pytest.fixture
def mash(tmp_path: Path) -> str:
    path = tmp_path / "mash.toml"
    path.write_text(MASH, encoding="utf-8")
    return str(path)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def test_solve_as_text(mash: str) -> None:
    result = run("solve", mash)
    assert result.exit_code == 0, result.output
    assert "Celeriac mash  solved" in result.stdout
    assert "2.00:1" in result.stdout and "binding" in result.stdout
    assert "Allergens: celery, eggs, milk" in result.stdout
    assert "physician and dietitian" in result.stdout
    assert "At 3:1 and above" not in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert not re.search(r"[ \t]$", result.stdout, re.MULTILINE)


def test_the_caution_is_stronger_from_three_to_one(mash: str) -> None:
    assert "At 3:1 and above" in run("solve", mash, "--ratio", "3:1").stdout
    assert "At 3:1 and above" not in run("solve", mash, "--ratio", "2.9").stdout
    assert "At 3:1 and above" in run("solve", mash, "--ratio", "80").stdout


def test_keys_of_the_json(mash: str) -> None:
    data = json.loads(run("solve", mash, "--format", "json").stdout)
    assert {"title", "servings", "outcome", "prefer", "objective", "weights", "per_serving", "limits", "diagnosis",
            "warnings", "cautions"} <= set(data)
    assert data["outcome"] == "solved" and data["diagnosis"] is None
    assert {"value", "unit", "bound", "proven"} <= set(data["objective"])
    assert {"ingredient", "food", "start", "grams", "min", "max", "at", "lowest", "highest"} <= set(data["weights"][0])
    assert {"name", "kind", "sense", "limit", "actual", "slack", "unit", "binding", "price", "holds_from",
            "holds_to"} <= set(data["limits"][0])
    assert [limit["name"] for limit in data["limits"]] == [
        "ratio", "net carbs", "celeriac, raw min", "celeriac, raw max", "butter, salted min", "butter, salted max"]
    assert [weight["at"] for weight in data["weights"]][2] == "fixed"


def test_impossible_has_no_number_that_looks_like_an_answer(mash: str) -> None:
    result = run("solve", mash, "--net-carbs", "1", "--format", "json")
    data = json.loads(result.stdout)
    assert result.exit_code == 3
    assert (data["outcome"], data["weights"]) == ("impossible", [])
    assert "net carbs" in data["diagnosis"]["conflict"]
    text = run("solve", mash, "--net-carbs", "1")
    assert text.exit_code == 3 and "impossible" in text.stdout and "net carbs" in text.stdout


def test_csv_of_the_weights(mash: str) -> None:
    rows = list(csv.DictReader(io.StringIO(run("solve", mash, "--format", "csv").stdout)))
    assert [row["ingredient"] for row in rows] == ["celeriac, raw", "butter, salted", "egg, whole, raw"]
    assert float(rows[0]["grams"]) < 900


def test_options_replace_targets(mash: str) -> None:
    data = json.loads(run("solve", mash, "--ratio", "3:1", "--net-carbs", "5", "--target", "protein>=2",
                          "--target", "protein<=9", "--servings", "8", "--format", "json").stdout)
    limits = {(limit["name"], limit["sense"]): limit["limit"] for limit in data["limits"]}
    assert limits["ratio", ">="] == 3 and limits["net carbs", "<="] == 5
    assert limits["protein", ">="] == 2 and limits["protein", "<="] == 9
    assert data["servings"] == 8


def test_scale_scales_everything(mash: str) -> None:
    one = json.loads(run("solve", mash, "--exact", "--format", "json").stdout)
    two = json.loads(run("solve", mash, "--exact", "--scale", "2", "--format", "json").stdout)
    assert two["servings"] == 12
    for small, large in zip(one["weights"], two["weights"], strict=True):
        assert large["grams"] == pytest.approx(2 * small["grams"], abs=1e-6)
    assert two["per_serving"]["net_carbs_g"] == pytest.approx(one["per_serving"]["net_carbs_g"], abs=1e-9)


@pytest.mark.parametrize(("arguments", "words"), [
    (["--ratio", "two"], "--ratio"), (["--net-carbs", "-1"], "--net-carbs"), (["--target", "protein=4"], "NAME>=X"),
    (["--target", "protien>=4"], "did you mean protein"), (["--scale", "0.7"], "whole number of servings"),
    (["--scale", "nan"], "factor"), (["--foods", "nowhere.csv"], "nowhere.csv"),
    (["-o", "no/such/folder/out.txt"], "cannot be written"),
    (["--target", "protein>=4", "--target", "protein<=3"], "at most the maximum"),
])
def test_bad_options_exit_1_and_write_nothing(mash: str, arguments: list[str], words: str) -> None:
    result = run("solve", mash, *arguments)
    assert result.exit_code == 1
    assert result.stdout == "" and words in result.stderr
    assert "Traceback" not in result.stderr


def test_usage_exits_2(mash: str) -> None:
    assert run("solve").exit_code == 2
    assert run("solve", mash, "--prefer", "tastiest").exit_code == 2


def test_a_missing_file_is_a_fault() -> None:
    result = run("solve", "nowhere.toml")
    assert result.exit_code == 1 and "nowhere.toml: cannot be read" in result.stderr


def test_output_to_a_file(mash: str, tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    result = run("solve", mash, "-o", str(target))
    assert result.exit_code == 0 and result.stdout == ""
    assert target.read_text(encoding="utf-8") == run("solve", mash).stdout


def test_a_file_that_cannot_be_replaced_leaves_nothing_beside_it(mash: str, tmp_path: Path) -> None:
    (tmp_path / "folder.txt").mkdir()
    (tmp_path / "folder.txt" / "inside").write_text("kept")
    before = sorted(path.name for path in tmp_path.iterdir())
    assert run("solve", mash, "--write", str(tmp_path / "folder.txt" / "inside" / "x.toml")).exit_code == 1
    assert run("solve", mash, "-o", str(tmp_path / "folder.txt")).exit_code == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_a_result_file_has_the_usual_permissions(mash: str, tmp_path: Path) -> None:
    (tmp_path / "plain.txt").write_text("")
    run("solve", mash, "-o", str(tmp_path / "out.txt"))
    assert (tmp_path / "out.txt").stat().st_mode == (tmp_path / "plain.txt").stat().st_mode


def test_check_tells_what_is_broken(mash: str) -> None:
    result = run("check", mash)
    assert result.exit_code == 3
    assert "breaks 2 limits" in result.stdout and "broken by" in result.stdout
    data = json.loads(run("check", mash, "--format", "json").stdout)
    assert data["broken"] == ["ratio", "net carbs"] and data["kept"] is False


def test_a_solved_dish_passes_check(mash: str, tmp_path: Path) -> None:
    weights = json.loads(run("solve", mash, "--format", "json").stdout)["weights"]
    text = MASH.replace("grams = 900", f"grams = {weights[0]['grams'] - 0.001:.3f}")
    text = text.replace("grams = 60", f"grams = {weights[1]['grams'] + 0.001:.3f}")
    (tmp_path / "solved.toml").write_text(text, encoding="utf-8")
    assert run("check", str(tmp_path / "solved.toml")).exit_code == 0


def test_foods_are_found_by_any_words() -> None:
    result = run("foods", "raw", "celeriac")
    assert result.exit_code == 0 and "celeriac, raw" in result.stdout
    assert "No food holds" in run("foods", "moonrock").stdout
    data = json.loads(run("foods", "vegetable", "celeriac", "--format", "json").stdout)
    assert any(row["food"] == "celeriac, raw" for row in data)


def test_foods_show_has_every_figure_and_its_source() -> None:
    """Butter, USDA SR28 01001: water 15.87, energy 717, protein 0.85, fat 81.11, carbohydrate 0.06, fibre 0."""
    result = run("foods", "show", "butter, salted")
    for figure in ("15.87 g", "717 kcal", "0.85 g", "81.11 g", "0.06 g", "USDA SR28, NDB 01001", "milk"):
        assert figure in result.stdout
    assert run("foods", "show", "ndb:01001").stdout == result.stdout
    missed = run("foods", "show", "buter, salted")
    assert missed.exit_code == 1 and "did you mean 'butter, salted'" in missed.stderr


@pytest.mark.parametrize("arguments", [["check", "MASH"], ["foods", "celeriac"], ["cautions"], ["--help"],
                                       ["check", "MASH", "--format", "json"], ["foods", "celeriac", "--format", "csv"],
                                       ["cautions", "--format", "json"]], ids=" ".join)
def test_light_commands_load_neither_scipy_nor_pandas(arguments: list[str], mash: str) -> None:
    """Nor the patterns of written lines; nor rich, which draws on terminals, where there is nothing to draw."""
    heavy = ["scipy", "pandas", "matplotlib", "jinja2", "ratio_solver.recipe.amounts",
             *(["rich"] if "--format" in arguments else [])]
    loads_none_of(heavy, [mash if word == "MASH" else word for word in arguments])


@pytest.mark.parametrize("options", [[], ["--exact"], ["--workers", "1"]], ids=str)
def test_a_small_menu_loads_no_pandas_and_starts_no_process(options: list[str], tmp_path: Path) -> None:
    loads_none_of(["pandas", "matplotlib", "jinja2", "rich", "multiprocessing.process", "multiprocessing.popen_fork"],
                  ["menu", "examples/week-menu.csv", "-o", str(tmp_path / "week"), *options])


def loads_none_of(heavy: list[str], words: list[str]) -> None:
    """A command in a process of its own, which loads none of these modules."""
    code = ("import sys; from ratio_solver.cli import main\n"
            "try:\n    main()\nexcept SystemExit:\n    pass\n"
            f"print([m for m in {heavy} if m in sys.modules], file=sys.stderr)")
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.stderr.strip().endswith("[]"), done.stderr


def test_choices_of_the_options_are_those_of_the_library() -> None:
    """They are written out, so that a command's help loads nothing of what it computes with."""
    def choices(command: str, option: str) -> tuple[str, ...]:
        found = main.get_command(click.Context(main), command)
        assert found is not None
        kind = next(one.type for one in found.params if one.name == option)
        assert isinstance(kind, click.Choice)
        return tuple(kind.choices)

    assert choices("solve", "prefer") == PREFERENCES
    assert choices("swap", "by") == tuple(CARRIED)
    assert choices("curve", "of") == (*OF, "both")
    assert choices("card", "label") == LABEL_CHOICES
    assert next(one.type.choices for one in add.params if one.name == "label") == tuple(LABELS) == tuple(LABEL_ROUNDING)


def test_the_package_runs_as_a_module(mash: str) -> None:
    done = subprocess.run([sys.executable, "-m", "ratio_solver", "check", mash], capture_output=True, text=True,
                          cwd=ROOT, check=False, env={**os.environ, "NO_COLOR": "1"})
    assert done.returncode == 3 and "\x1b" not in done.stdout


def test_foods_are_found_with_and_without_accents() -> None:
    assert "gruyere" in run("foods", "Gruyère").stdout
    assert "creme fraiche" in run("foods", "crème").stdout
    assert run("foods", "show", "Gruyère").stdout == run("foods", "show", "gruyere").stdout
    assert "did you mean 'gruyere'" in run("foods", "show", "gruyiere").stderr


def test_a_search_that_finds_nothing_is_written_too(tmp_path: Path) -> None:
    done = run("foods", "stardust", "--format", "json", "-o", str(tmp_path / "found.json"))
    assert done.exit_code == 1 and json.loads((tmp_path / "found.json").read_text(encoding="utf-8")) == []


def test_foods_show_wants_a_name() -> None:
    done = run("foods", "show")
    assert done.exit_code == 2 and "NAME" in done.stderr


@pytest.fixture
def band(tmp_path: Path) -> str:
    path = tmp_path / "band.toml"
    path.write_text(MASH.replace("ratio = 2.0", "ratio = {min = 1.8, max = 2.0}"), encoding="utf-8")
    return str(path)


PASSED = "the recipe's highest ratio, 2:1, is below 2.5:1 and no longer holds"


def ratio_limits(done: Result) -> dict[str, float]:
    limits = json.loads(done.stdout)["limits"]
    return {limit["sense"]: limit["limit"] for limit in limits if limit["name"] == "ratio"}


def test_another_least_ratio_keeps_the_most_of_a_band(band: str) -> None:
    done = run("solve", band, "--ratio", "1.9", "--format", "json")
    assert done.stderr == "" and ratio_limits(done) == {">=": 1.9, "<=": 2.0}


def test_a_most_that_is_passed_is_dropped_and_that_is_said(band: str) -> None:
    done = run("solve", band, "--ratio", "2.5", "--net-carbs", "20", "--format", "json")
    assert ratio_limits(done) == {">=": 2.5}
    assert json.loads(done.stdout)["warnings"][0] == PASSED and done.stderr == f"Note: {PASSED}\n"
    assert len(done.stderr) <= 80


def test_a_most_that_is_passed_is_told_wherever_the_answer_is(band: str, tmp_path: Path) -> None:
    """On a terminal once, in the report; in a file too; where the form has no notes, beside it."""
    shown = run("solve", band, "--ratio", "2.5", "--net-carbs", "20")
    assert f"Note: {PASSED}." in shown.stdout and shown.stderr == ""
    file = tmp_path / "dish.txt"
    kept = run("solve", band, "--ratio", "2.5", "--net-carbs", "20", "-o", str(file))
    assert f"Note: {PASSED}." in file.read_text(encoding="utf-8") and kept.stderr == f"Note: {PASSED}\n"
    for command in (["solve", band, "--format", "csv"], ["shopping", band]):
        assert run(*command, "--ratio", "2.5", "--net-carbs", "20").stderr == f"Note: {PASSED}\n"
    assert PASSED not in run("solve", band, "--ratio", "1.9").stdout


def test_a_scenario_that_passes_the_recipes_most_says_so(band: str) -> None:
    scenario = ["solve", band, "--what-if", "ratio=2.5,net_carbs=20", "--what-if", "ratio=1.9"]
    text = run(*scenario).stdout
    assert text.count(f"Note: {PASSED}.") == 1
    data = json.loads(run(*scenario, "--format", "json").stdout)
    passed, within = data["what_if"]
    assert PASSED in passed["warnings"] and PASSED not in within["warnings"] and PASSED not in data["warnings"]


def test_a_least_of_net_carbs_that_is_passed_is_told(tmp_path: Path) -> None:
    path = tmp_path / "least.toml"
    path.write_text(MASH.replace("net_carbs = ", "net_carbs = {min = 9, max = 20} # "), encoding="utf-8")
    done = run("check", str(path), "--net-carbs", "4")
    assert "Note: the recipe's least net carbs, 9 g, are above 4 g and no longer hold." in done.stdout


def test_a_curve_tells_that_it_keeps_the_recipes_own_most(band: str, mash: str) -> None:
    assert "the recipe's own most of the ratio, 2:1" in run("curve", band, "--format", "json").stdout
    assert "own most" not in run("curve", mash, "--format", "json").stdout


def test_scale_and_servings_together(mash: str) -> None:
    done = run("solve", mash, "--scale", "0.25", "--servings", "2", "--format", "json")
    data = json.loads(done.stdout)
    assert data["servings"] == 2 and data["weights"][0]["start"] == 225
    alone = run("solve", mash, "--scale", "0.25")
    assert alone.exit_code == 1 and "or say how many with --servings" in alone.stderr


def test_where_prices_come_from_is_said(mash: str) -> None:
    assert not any(food.price for food in load_foods()), "the help says that the bundled table has none"
    told = run("solve", mash, "--prefer", "cheapest")
    assert told.exit_code == 1 and "(--foods)" in told.stderr and "price_per_kg" in told.stderr
    assert "price_per_kg" in run("solve", "--help").stdout and "price_per_kg" in run("menu", "--help").stdout


def test_cheapest_asks_no_price_of_what_cannot_be_used(tmp_path: Path) -> None:
    table = tmp_path / "own.csv"
    table.write_text("food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,price_per_kg\n"
                     "root,own:1,available,0,1,5,,2\nlard,own:2,available,100,0,0,,4\n"
                     "rare oil,own:3,available,100,0,0,,\n", encoding="utf-8")
    recipe = tmp_path / "r.toml"
    recipe.write_text("""title = "x"
servings = 1
targets = {ratio = 2}
ingredients = [{food = "root", grams = 100}, {food = "lard", grams = 0, min = 0, max = 50},
  {food = "rare oil", grams = 0, min = 0, max = 0}]
""", encoding="utf-8")
    done = run("solve", str(recipe), "--foods", str(table), "--prefer", "cheapest", "--format", "json")
    assert done.exit_code == 0 and json.loads(done.stdout)["objective"]["value"] == pytest.approx(0.2 + 0.048)


# --- a process of its own ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("chosen", "used"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "2"}, "2"),
                                              ({"OMP_NUM_THREADS": "2"}, "None")])
def test_linear_algebra_has_one_thread_unless_the_user_chose(chosen: dict[str, str], used: str) -> None:
    """What numpy meets when it is loaded by the command; a process that only imports the library is left alone."""
    told = "import os; print(os.environ.get('OPENBLAS_NUM_THREADS'), 'numpy' in sys.modules)"
    commanded = "import sys; from ratio_solver.__main__ import run; import click\n" \
                f"try: run()\nexcept SystemExit: {told}"
    imported = f"import sys; import ratio_solver, ratio_solver.cli; ratio_solver.load_foods(); {told}"
    kept = {name: value for name, value in os.environ.items() if not name.endswith("NUM_THREADS")}
    for code, expected in ((commanded, used), (imported, chosen.get("OPENBLAS_NUM_THREADS"))):
        done = subprocess.run([sys.executable, "-c", code, "--help"], capture_output=True, text=True, cwd=ROOT,
                              env=kept | chosen, check=True)
        assert done.stdout.splitlines()[-1] == f"{expected} False"
