"""What a strict dietitian looks for: unknown allergens, limits missed by little, cautions in tables, plain words."""

from __future__ import annotations

import csv
import io
import json
import random
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver import check, portions, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.dish.cautions import SHORT
from ratio_solver.dish.notices import allergen_words
from ratio_solver.dish.nutrition import left_out
from ratio_solver.dish.status import Weight
from ratio_solver.exact import exact
from ratio_solver.lp.certificate import TOLERANCE
from ratio_solver.output.dish_text import could_be, pieces_of, weight_now
from ratio_solver.solving.result import Objective
from ratio_solver.tools.portions.compute import SOLVED_TO
from ratio_solver.tools.solve.report import objective_line
from tests.kitchen import dish, drawn, food, table, table_file

TOLD = "not known for lupin dumpling meal: read the label"

DUMPLINGS = """
title = "Lupin dumplings"
servings = 4
{more}

[targets]
ratio = {ratio}
net_carbs = {net}

[[ingredients]]
food = "lupin dumpling meal"
grams = 200

[[ingredients]]
food = "curd"
grams = 100
min = 0
max = 300

[[ingredients]]
food = "fat"
grams = {fat}
min = 0
max = 400
"""


@pytest.fixture
def foods(tmp_path: Path) -> str:
    """The meal's allergens are unknown; so are those of the second fat."""
    return str(table_file(
        tmp_path,
        food("lupin dumpling meal", 10, 30, 10),
        food("curd", 10, 10, 4, allergens="milk"),
        food("fat", 100, allergens="none", role="fat"),
        food("nutty fat", 95, 2, 1, allergens="nuts", role="fat"),
        food("plain fat", 96, 1, 0, role="fat"),
    ))


def recipe(folder: Path, ratio: float = 1.5, net: float = 9, fat: float = 200, more: str = "") -> str:
    path = folder / "dumplings.toml"
    path.write_text(DUMPLINGS.format(ratio=ratio, net=net, fat=fat, more=more), encoding="utf-8")
    return str(path)


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, arguments)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def words(result: Result) -> str:
    return " ".join(result.stdout.split())


def rows(*arguments: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(run(*arguments, "--format", "csv").stdout)))


@pytest.mark.parametrize("command", [
    ["solve"], ["solve", "--what-if", "net_carbs=8"], ["check"], ["shopping"], ["portions"],
    ["portions", "--as-written"], ["adjust", "--added", "fat=10"], ["add-fat"],
    ["swap", "curd", "fat"], ["swap", "curd", "--try-all", "fat"],
])
def test_unknown_allergens_are_told_everywhere(command: list[str], foods: str, tmp_path: Path) -> None:
    name, *arguments = command
    asked = [name, recipe(tmp_path), *arguments, "--foods", foods]
    text = run(*asked)
    assert TOLD in words(text) and "Allergens: none known" not in text.stdout, text.output
    assert all(len(line) <= 80 for line in text.stdout.splitlines())
    data: dict[str, Any] = json.loads(run(*asked, "--format", "json").stdout)
    holders = [data, *(data.get(key, {}) for key in ("before", "after")), *data.get("what_if", [])]
    given = [one for one in holders if "allergens" in one]
    assert given and all(one["allergens_unknown"] == ["lupin dumpling meal"] for one in given)


def test_a_row_of_a_trial_tells_unknown_allergens(foods: str, tmp_path: Path) -> None:
    asked = ["swap", recipe(tmp_path), "curd", "--try-all", "fat", "--foods", foods]
    assert all(TOLD.split(":")[0].split("for ")[1] in row["allergens_unknown"] for row in rows(*asked))
    table_part = run(*asked).stdout.split("Reckoned")[0]
    assert "not known" in " ".join(table_part.split()) and "none known" not in table_part


def test_allergens_are_none_known_only_where_all_are_known() -> None:
    assert allergen_words((), ()) == "none known"
    assert allergen_words(("eggs", "milk"), ("meal",)) == "eggs, milk; not known for meal: read the label"


@pytest.mark.parametrize("arguments", [["curd", "--try-all", "fat"], ["curd", "fat"]])
def test_no_allergens_are_stated_where_there_are_no_weights(arguments: list[str], foods: str, tmp_path: Path) -> None:
    hard = run("swap", recipe(tmp_path, net=1), *arguments, "--foods", foods)
    assert hard.exit_code == 3 and "Reckoned" in hard.stdout and "Allergens" not in hard.stdout


def test_a_fat_that_breaks_a_limit_tells_its_allergens_too(foods: str, tmp_path: Path) -> None:
    path = recipe(tmp_path, net=1, fat=20)
    asked = ["add-fat", path, "--with", "nutty fat", "--with", "plain fat", "--foods", foods]
    set_aside = run(*asked).stdout.split("breaks no other limit")[1].split("Reckoned")[0]
    assert "nuts" in set_aside and "not known: read the label" in " ".join(set_aside.split())
    text = run(*asked, "--net-carbs", "50", "--target", "fat<=20")
    breaking = text.stdout.split("These reach it and break a limit")[1].split("Reckoned")[0]
    assert "adds nuts" in breaking and "adds not known: read the label" in " ".join(breaking.split())
    assert max(map(len, text.stdout.splitlines())) <= 80


def test_no_claim_where_no_fat_could_be_judged(tmp_path: Path) -> None:
    own = table_file(tmp_path, food("curd", 10, 10, 4, salt_mg=5), food("fat", 100, role="fat", allergens="nuts"))
    path = tmp_path / "dish.toml"
    path.write_text('title = "Curd"\nservings = 2\ntargets = {ratio = 2, salt_mg = {max = 9}}\n'
                    'ingredients = [{food = "curd", grams = 100}]\n', encoding="utf-8")
    text = run("add-fat", str(path), "--with", "fat", "--foods", str(own))
    assert text.exit_code == 3, text.output
    assert "no fat could be judged: " in text.stdout and "keep every limit" not in text.stdout
    assert "keeps every limit" not in text.stdout and "nuts" in text.stdout.split("Cannot be judged")[1]


def carbs_dish(folder: Path, grams: float, servings: int = 1, **more: Any) -> Any:
    """100 g hold 5 g net carbs and 20 g fat: the table below knows it."""
    return recipe_from(dish([{"food": "mix", "grams": grams}], servings, **more),
                       table(folder, food("mix", 20, 0, 5, allergens="none")))


def portions_text(folder: Path, grams: str, servings: int, targets: str, *options: str, row: Any = None) -> str:
    own = table_file(folder, row or food("mix", 20, 0, 5))
    path = folder / "mix.toml"
    path.write_text(f'title = "Mix"\nservings = {servings}\ntargets = {targets}\n'
                    f'ingredients = [{{food = "mix", grams = {grams}}}]\n', encoding="utf-8")
    result = run("portions", str(path), "--as-written", "--foods", str(own), *options)
    assert result.exit_code == 0, result.output
    assert max(map(len, result.stdout.splitlines())) <= 80
    return words(result)


def test_a_portion_that_misses_its_ceiling_by_little_is_seen_to(tmp_path: Path) -> None:
    """5.0004 g of net carbs never read as 5.00, and the dish is blamed, not the rounding."""
    told = portions_text(tmp_path, "100.008", 1, "{net_carbs = 5}")
    assert "As written this dish breaks: net carbs at most 5 g, is 5.0004 g." in told
    assert "net carbs 5.0004 g" in told and "net carbs 5.00 g" not in told and "rounded to the step" not in told


def test_rounding_is_blamed_only_where_the_even_share_keeps(tmp_path: Path) -> None:
    """200 g in 3 servings hold 3.3333 g each; of 66.7 g, 3.335 g."""
    told = portions_text(tmp_path, "200", 3, "{net_carbs = 3.334}")
    assert "shares are rounded to the step: net carbs at most 3.334 g, is 3.34 g" in told and "breaks" not in told
    kept = portions_text(tmp_path, "200", 3, "{net_carbs = 3.4}")
    assert "Every serving as weighed out keeps every target." in kept and "rounded" not in kept


def test_a_portion_of_another_size_is_judged_as_such(tmp_path: Path) -> None:
    told = portions_text(tmp_path, "400", 4, "{net_carbs = 5}", "--portion-grams", "150")
    assert "Another size than the recipe's serving of 100 g" in told and "As written" not in told
    assert "A portion of 150 g breaks: net carbs at most 5 g, is 7.50 g." in told
    assert "makes 2 portions of 150 g; 100 g are left over." in told and "10.00 g" not in told
    assert "One portion" in told and "portions x g" in told
    same = portions_text(tmp_path, "400", 4, "{net_carbs = 5}", "--portion-grams", "100")
    assert "Another size" not in same and "breaks" not in same


def test_the_figures_of_a_portion_are_its_own(tmp_path: Path) -> None:
    """5 g net carbs in 100 g: 7.50 in 150 g; of 400 g two portions are made, 100 g are left."""
    told = portions_text(tmp_path, "400", 4, "{net_carbs = 9}", "--portion-grams", "150")
    assert "A batch of 400 g makes 2 portions of 150 g; 100 g are left over." in told
    assert "net carbs 7.50 g in every portion" in told and "serving of 200" not in told
    assert "mix 400 2 x 150 100" in told and "with what is left, add up to its batch weight exactly" in told
    assert "Every portion as weighed out keeps every target." in told


def test_limits_of_every_kind_that_a_dish_breaks_are_told_with_its_portions(tmp_path: Path) -> None:
    own, path = table_file(tmp_path, food("mix", 20, 0, 5)), tmp_path / "mix.toml"
    path.write_text('title = "Mix"\nservings = 4\nparts = {base = {min = 500}}\n'
                    'ingredients = [{food = "mix", grams = 400, min = 0, max = 300, part = "base"}]\n',
                    encoding="utf-8")
    told = words(run("portions", str(path), "--as-written", "--foods", str(own)))
    said = "base weight at least 500 g, is 400.00 g; mix at most 300 g, is 400.00 g"
    assert f"As written this dish breaks: {said}." in told
    assert said in words(run("card", str(path), "--as-written", "--foods", str(own)))


def test_portions_are_judged_by_the_intervals_when_asked(tmp_path: Path) -> None:
    row = food("mix", 20, 0, 5, carbs_g_high=6)
    assert "breaks" not in portions_text(tmp_path, "100", 1, "{net_carbs = 5.5}", row=row)
    told = portions_text(tmp_path, "100", 1, "{net_carbs = 5.5}", "--guaranteed", row=row)
    assert "breaks: net carbs at most 5.5 g, is 6.00 g" in told


def test_a_solved_dish_is_not_blamed_for_the_solvers_last_digit(foods: str, tmp_path: Path) -> None:
    assert SOLVED_TO == TOLERANCE
    text = run("portions", recipe(tmp_path, net=7.3, ratio=1.7), "--exact", "--foods", foods)
    assert text.exit_code == 0 and "this dish breaks" not in text.stdout


@pytest.mark.parametrize("command", [
    ["solve"], ["check"], ["add-fat"], ["curve"], ["swap", "curd", "fat"], ["swap", "curd", "--try-all", "fat"],
    ["solve", "--what-if", "net_carbs=8"], ["adjust", "--added", "fat=10"],
])
@pytest.mark.parametrize("ratio", [1.5, 3.0])
def test_tables_end_with_the_caution(command: list[str], ratio: float, foods: str, tmp_path: Path) -> None:
    name, *arguments = command
    found = rows(name, recipe(tmp_path, ratio, fat=100), *arguments, "--foods", foods)
    assert found and all(list(row)[-1] == "caution" for row in found)
    strong = ratio >= 3 or name == "curve"  # the curve's own ratios go beyond 3:1
    assert {row["caution"] for row in found} == {SHORT[strong]}


def test_an_impossible_dish_has_its_caution_in_the_table_of_cures(foods: str, tmp_path: Path) -> None:
    found = rows("solve", recipe(tmp_path, net=1), "--foods", foods)
    assert found and all(row["words"] and row["caution"] for row in found)


def test_an_impossible_bowl_prints_its_remedies_as_rows(foods: str, tmp_path: Path) -> None:
    asked = ["adjust", recipe(tmp_path, 2.5), "--weighed", "fat=100", "--foods", foods]
    data = json.loads(run(*asked, "--format", "json").stdout)
    found = rows(*asked)
    assert data["outcome"] == "impossible" and data["remedies"]
    assert [row["name"] for row in found if not row["remedy"]] == data["diagnosis"]["conflict"]
    for number, remedy in enumerate(data["remedies"], 1):
        mine = [row for row in found if row["remedy"] == str(number)]
        assert len(mine) == len(remedy["raised"]) + len(remedy["eased"]) + (remedy["servings"] is not None)
        assert all(row["words"] == remedy["words"] and float(row["ratio"]) > 0 for row in mine)


def test_a_conflict_claims_no_more_than_it_shows(foods: str, tmp_path: Path) -> None:
    text = run("solve", recipe(tmp_path, ratio=60), "--foods", foods)
    assert "without any one of them the others here can" in text.stdout and "the rest can" not in text.stdout
    assert "another conflict may remain" in words(text)


def test_a_dish_without_limits_has_no_empty_section(tmp_path: Path) -> None:
    own, path = table_file(tmp_path, food("mix", 20, 0, 5)), tmp_path / "mix.toml"
    path.write_text('title = "Mix"\nservings = 1\n'
                    'ingredients = [{food = "mix", grams = 400, min = 0, max = 500}]\n', encoding="utf-8")
    for command in (["solve"], ["check"], ["adjust", "--added", "mix=10"]):
        text = run(command[0], str(path), *command[1:], "--foods", str(own))
        assert text.exit_code == 0 and "Limits," not in text.stdout and "Per serving" in text.stdout, text.output


def test_a_conflict_of_one_limit_is_no_company(tmp_path: Path) -> None:
    """5 g of net carbs in 100 g that are fixed: at most 4 g cannot be kept, whatever else is."""
    own, path = table_file(tmp_path, food("mix", 20, 0, 5)), tmp_path / "mix.toml"
    path.write_text('title = "Mix"\nservings = 1\ntargets = {net_carbs = 4}\n'
                    'ingredients = [{food = "mix", grams = 100}]\n', encoding="utf-8")
    text = run("solve", str(path), "--foods", str(own))
    assert text.exit_code == 3 and "This cannot be kept\n" in text.stdout and "together" not in text.stdout
    assert "impossible; this cannot be kept: net carbs" in run("portions", str(path), "--foods", str(own)).stderr
    two = run("solve", str(path), "--foods", str(own), "--what-if", "net_carbs=3")
    assert "net_carbs=3: this cannot be kept: net carbs at most 3 g" in two.stdout
    (tmp_path / "menu.csv").write_text("file,recipe\nmix.toml,mix\n", encoding="utf-8")
    run("menu", str(tmp_path / "menu.csv"), "-o", str(tmp_path / "out"), "--foods", str(own))
    assert "cannot be kept: net carbs" in (tmp_path / "out" / "servings.csv").read_text(encoding="utf-8")


def test_one_piece_is_a_piece(foods: str, tmp_path: Path) -> None:
    assert "1 piece each" in run("check", recipe(tmp_path, more="pieces = 1"), "--foods", foods).stdout
    assert "2 pieces each" in run("check", recipe(tmp_path, more="pieces = 2"), "--foods", foods).stdout
    one = Weight("egg", "egg", Fraction(50), Fraction(50), None, None, None, step=Fraction(50), piece=True)
    assert pieces_of(one) == "1 piece"


@pytest.mark.parametrize("prefer", ["closest", "even", "lightest", "lowest-carb"])
def test_limits_stay_in_their_lines_for_every_preference(prefer: str, foods: str, tmp_path: Path) -> None:
    text = run("solve", recipe(tmp_path, net=7, fat=100), "--prefer", prefer, "--exact", "--foods", foods).stdout
    limits = text.split("Limits, from binding to loose")[1].split("Reckoned")[0].splitlines()
    assert "saves" in limits[1] and all(line[:3].strip() for line in limits[3:] if line.strip())
    assert not any(line.split()[-1] in ("0.00", "kcal", "serving") for line in limits[3:] if line.strip())
    assert "points moved" not in text and "smallest largest" not in text


@pytest.mark.parametrize(("unit", "value", "line"), [
    ("price of the batch", Fraction("1.82"), "price of the batch 1.82, proven the least to within 0.01"),
    ("share moved", Fraction(1), "largest change 100 % of a start, proven the least to within 1 %"),
    ("g moved", Fraction(5), "5.00 g moved, proven the least to within 0.01 g"),
    ("kcal per serving", Fraction(412), "412.00 kcal per serving, proven the least to within 0.01 kcal"),
    ("g net carbs per serving", Fraction(6), "6.00 g net carbs per serving, proven the least to within 0.01 g"),
])
def test_what_was_minimised_is_a_sentence(unit: str, value: Fraction, line: str) -> None:
    assert objective_line(Objective(value, unit, value, proven=True, resolution=Fraction(1, 100))) == line


def test_where_not_all_equally_good_weights_were_gone_through_it_is_said() -> None:
    """Of many weights, and of narrow bands, they may not be although there is time."""
    assert objective_line(Objective(Fraction(5), "g moved", Fraction(5), proven=True, settled=False)) == (
        "5.00 g moved, proven the least; other weights may be as good: not all were gone through")


def test_energy_under_the_scales_error_is_whole(foods: str, tmp_path: Path) -> None:
    path = Path(recipe(tmp_path))
    text = path.read_text(encoding="utf-8").replace("net_carbs = 9", "net_carbs = 9\nenergy_kcal = {max = 900}")
    path.write_text(text, encoding="utf-8")
    text = run("check", str(path), "--scale-error", "1", "--foods", foods).stdout
    line = next(line for line in text.split("With the scale's error")[1].splitlines() if "kcal" in line)
    assert "." not in line, line


def test_a_swap_leaves_one_line_before_its_notes(foods: str, tmp_path: Path) -> None:
    text = run("swap", recipe(tmp_path), "fat", "plain fat", "--foods", foods).stdout
    assert "\n\n\n" not in text and "Reckoned" in text


def test_what_the_answer_does_not_use_is_left_out(foods: str, tmp_path: Path) -> None:
    text = run("solve", recipe(tmp_path, fat=100), "--prefer", "lowest-carb", "--foods", foods).stdout
    curd = next(line for line in text.splitlines() if line.strip().startswith("curd"))
    assert "left out" in curd and "at its min" not in curd


def test_the_carbohydrate_of_a_card_adds_up(tmp_path: Path) -> None:
    """20 g carbohydrate less 3 fibre, 11.1 erythritol and half of 2 g other polyols is 4.9 net."""
    own = table_file(tmp_path, food("sweet cream", 30, 3, 20, 3, polyols_g=13.1, erythritol_g=11.1))
    path = tmp_path / "cream.toml"
    path.write_text('title = "Cream"\nservings = 1\npolicy = {left_out = {erythritol = 1, polyols = 0.5}}\n'
                    'ingredients = [{food = "sweet cream", grams = 100}]\n', encoding="utf-8")
    page = run("card", str(path), "--as-written", "--label", "us", "--foods", str(own)).stdout
    plain = " ".join(page.replace("<", " <").split())
    for name, value in (("left out: erythritol", "11.10 g"), ("left out: other polyols", "1.00 g"),
                        ("net carbs", "4.90 g")):
        assert f'{name} </th> <td>{value}' in plain, name
    assert page.index("left out: erythritol") < page.index(">net carbs<")
    assert "remember" not in page and "by 21 CFR 101.9, from memory" in " ".join(page.split())


def test_no_more_is_left_out_than_there_is(tmp_path: Path) -> None:
    """10.25 g erythritol and 8.2 g allulose of 18 g (each rounded): net is none, and the card adds up all the same."""
    own = table(tmp_path, food("odd", 1, 1, 20, 2, polyols_g=10.25, erythritol_g=10.25, allulose_g=8.2))
    mine = recipe_from(dish([{"food": "odd", "grams": 100}]), own)
    weights = (Fraction(100),)
    assert left_out(mine, weights) == {"erythritol": 10, "allulose": 8}
    amounts = check(mine).facts.amounts
    assert amounts["carbs_g"] - amounts["fibre_g"] - 18 == amounts["net_carbs_g"] == 0


def test_what_is_left_out_is_told_by_the_keys_of_the_policy(tmp_path: Path) -> None:
    """A named kind by its name; unnamed kinds together as other polyols; glycerol and IMO only where named."""
    own = table(tmp_path, food("sweet", 0, 0, 90, 10, polyols_g=50, xylitol_g=20, maltitol_g=15, glycerol_g=5, imo_g=8))
    for policy, told in (
        ({"polyols": 0.5}, {"other polyols": Fraction("22.5")}),  # xylitol, maltitol and 10 g untold
        ({"polyols": 0.5, "xylitol": 1.0}, {"xylitol": 20, "other polyols": Fraction("12.5")}),
        ({"maltitol": 0.2, "glycerol": 1.0, "imo": 0.25},
         {"maltitol": 3, "glycerol": 5, "isomalto-oligosaccharides": 2}),
        ({}, {}),
    ):
        mine = recipe_from(dish([{"food": "sweet", "grams": 100}], policy={"left_out": policy}), own)
        assert left_out(mine, (Fraction(100),)) == told, policy
        assert check(mine).facts.amounts["net_carbs_g"] == 80 - sum(told.values()), policy


@pytest.mark.parametrize("seed", range(40))
def test_carbohydrate_adds_up_by_any_policy(seed: int, tmp_path: Path) -> None:
    """total - fibre - what is told to be left out = net, of drawn dishes and policies."""
    _, _, recipe = drawn(seed, tmp_path)
    facts = check(recipe).facts.amounts
    told = left_out(recipe, tuple(exact(item.start) for item in recipe.ingredients))
    assert facts["carbs_g"] - facts["fibre_g"] - sum(told.values()) == facts["net_carbs_g"]


def test_portions_in_the_library_hold_the_states(tmp_path: Path) -> None:
    mine = carbs_dish(tmp_path, 300, 2, targets={"net_carbs": 5})
    found = portions(mine, (Fraction(300),))
    assert [s.actual for s in found.broken] == [Fraction("7.5")] == [s.actual for s in found.own_broken]
    assert not found.kept and solve(mine).outcome == "impossible"


def test_net_carbs_add_up_in_the_report_of_the_terminal(tmp_path: Path) -> None:
    """By hand, per serving of 2: 60 g flour (50 carbs, 20 fibre per 100 g) and 20 g of a sweetener, all erythritol.

    30 - 12 of fibre are 18 g; the sweetener's 20 g of carbohydrate are left out: 50 - 12 - 20 = 18.
    """
    sweet = food("sweet", 0, 0, 100, 0, polyols_g=100, erythritol_g=100)
    foods = table_file(tmp_path, food("flour", 10, 10, 50, 20), sweet)
    recipe = tmp_path / "r.toml"
    recipe.write_text('title = "Sweet"\nservings = 2\n[targets]\nnet_carbs = 20\n[[ingredients]]\nfood = "flour"\n'
                      'grams = 120\n[[ingredients]]\nfood = "sweet"\ngrams = 40\n', encoding="utf-8")
    said = CliRunner().invoke(main, ["check", str(recipe), "--foods", str(foods)]).stdout
    assert [line.split() for line in said.split("\n") if "carbs  " in line or "left out:" in line][:2] == [
        ["total", "carbs", "50.00", "g", "fibre", "12.00", "g", "net", "carbs", "18.00", "g"],
        ["left", "out:", "erythritol", "20.00", "g"],
    ]


def test_both_ends_of_a_band_see_the_same_ratio(tmp_path: Path) -> None:
    """By hand: 2 * (10 + 13) = 46 of fat, 46 / 0.83 g of butter: no whole number of 1e-9 g, yet 2:1 at either end."""
    foods = table(tmp_path, food("meal", 0, 10, 13), food("butter", 83))
    written = dish([{"food": "meal", "grams": 100}, {"food": "butter", "grams": 30, "min": 0, "max": 90}],
                   targets={"ratio": {"min": 2, "max": 2.3}})
    states = solve(recipe_from(written, foods), exact=True).limits
    low, high = (next(s for s in states if (s.limit.name, s.limit.sense) == ("ratio", sense)) for sense in (">=", "<="))
    assert low.binding and low.actual == high.actual == 2
    assert high.slack == Fraction(3, 10) and not high.binding


@pytest.mark.parametrize("step", [None, Fraction(1, 8), Fraction(1)])
def test_what_a_weight_could_be_holds_what_it_is(step: Fraction | None) -> None:
    rng = random.Random(11)
    for _ in range(300):
        ends = sorted(Fraction(rng.randint(0, 20_000), rng.choice((1, 7, 10, 1000))) for _ in range(2))
        grams = rng.choice((*ends, ends[0] + (ends[1] - ends[0]) * Fraction(rng.randint(0, 8), 8)))
        if step is not None:
            grams = round(grams / step) * step
        low, high = min(ends[0], grams), max(ends[1], grams)
        told = could_be(Weight("oil", "oil", grams, grams, Fraction(0), Fraction(30_000), None, low, high, step=step))
        if told == "no other":
            assert high - low < Fraction(1, 100)
            continue
        first, last = map(Fraction, told.split(" to "))
        now = Fraction(weight_now(Weight("oil", "oil", grams, grams, None, None, None, step=step)))
        assert first <= now <= last, (told, grams)
        # Rounded inwards, but for the weight itself.
        assert (first >= low or first == now) and (last <= high or last == now), (told, low, high)


@pytest.mark.parametrize("exactly, told", [(True, "0 to 6.70"), (False, "0 to 6")])
def test_a_weight_at_a_maximum_between_two_grams_could_be_that(exactly: bool, told: str, tmp_path: Path) -> None:
    recipe = recipe_from(dish([{"food": "curd", "grams": 100}, {"food": "fat", "grams": 6.7, "min": 0, "max": 6.7}],
                              targets={"protein": {"min": 5}}),
                         table(tmp_path, food("curd", 0, 10, 5), food("fat", 100, 0, 0)))
    answer = solve(recipe, exact=exactly)
    assert answer.outcome == "solved"
    [fat] = [weight for weight in answer.weights if weight.ingredient == "fat"]
    assert weight_now(fat) == told.removeprefix("0 to ") and could_be(fat) == told
