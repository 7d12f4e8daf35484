"""Guaranteed limits hold for every composition within the table's intervals: drawn compositions are the judge."""

from __future__ import annotations

import itertools
import json
import random
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

import ratio_solver as rs
from ratio_solver.cli import main
from ratio_solver.dish.confidence import guaranteed_for, taken_as_exact
from ratio_solver.dish.constraints import limits_of
from ratio_solver.foods.content import content
from ratio_solver.foods.food import Food
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.substances import COLUMNS, SUBSTANCES
from ratio_solver.recipe.model import Ingredient, Recipe, Target
from tests.kitchen import food, table_file

PARTS = ("fat_g", "protein_g", "carbs_g", "fibre_g", "polyols_g", "erythritol_g", "allulose_g", "alcohol_g")


def kcal(figures: dict[str, Fraction], basis: str) -> Fraction:
    """Regulation (EU) 1169/2011, Annex XIV, with 0.4 for allulose; written anew from the published factors."""
    f = figures
    rest = f["carbs_g"] - f["polyols_g"] - f["allulose_g"] - (f["fibre_g"] if basis == "by_difference" else 0)
    return (9 * f["fat_g"] + 4 * f["protein_g"] + 4 * rest + 2 * f["fibre_g"] + 7 * f["alcohol_g"]
            + Fraction(24, 10) * (f["polyols_g"] - f["erythritol_g"]) + Fraction(4, 10) * f["allulose_g"])


def drawn_food(rng: random.Random, basis: str) -> Food:
    middle = {"fat_g": 20.0, "protein_g": 10.0, "carbs_g": 30.0, "fibre_g": 6.0, "polyols_g": 8.0, "erythritol_g": 3.0,
              "allulose_g": 2.0, "alcohol_g": 1.0}
    low = {key: value - rng.randint(0, 9) / 10 for key, value in middle.items()}
    high = {key: value + rng.randint(0, 9) / 10 for key, value in middle.items()}
    return Food("drawn", "own:drawn", basis, middle, low, high)


@pytest.mark.parametrize("basis", ["by_difference", "available"])
def test_energy_ends_enclose_every_composition_and_are_reached(basis: str) -> None:
    rng = random.Random(7)
    for _ in range(10):
        food = drawn_food(rng, basis)
        corners = [
            kcal({part: Fraction(str(round(ends[part], 1))) for part, ends in zip(PARTS, choice, strict=True)}, basis)
            for choice in itertools.product((food.low, food.high), repeat=len(PARTS))
        ]
        exact = Food("drawn", "own:drawn", basis, food.amounts,
                     {k: round(v, 1) for k, v in food.low.items()}, {k: round(v, 1) for k, v in food.high.items()})
        assert content(exact, "energy_kcal", Policy(), "low") == min(corners)
        assert content(exact, "energy_kcal", Policy(), "high") == max(corners)


def test_tabled_energy_without_an_interval_moves_with_fat() -> None:
    """By difference 2 g of fat less are 2 g of carbohydrate more: -18 + 8; 2 g more cannot make it less than 0."""
    food = Food("paste", "own:paste", "by_difference",
                {"fat_g": 50.0, "protein_g": 0.0, "carbs_g": 0.0, "fibre_g": 0.0, "energy_kcal": 460.0},
                {"fat_g": 48.0}, {"fat_g": 52.0})
    assert [content(food, "energy_kcal", Policy(), end) for end in ("", "low", "high")] == [460, 450, 478]
    own = Food("paste", "own:paste", "by_difference", food.amounts, food.low, {**food.high, "energy_kcal": 465.0})
    assert content(own, "energy_kcal", Policy(), "high") == 465


def test_parts_at_their_ends_do_not_lift_the_least_energy() -> None:
    """7 to 9 g of carbs of which 2 to 10 g may be polyols: all of 7 g polyols is 16.8 kcal, the least there is."""
    food = Food("bar", "own:bar", "available",
                {"fat_g": 0.0, "protein_g": 0.0, "carbs_g": 8.0, "fibre_g": 0.0, "polyols_g": 6.0},
                {"carbs_g": 7.0, "polyols_g": 2.0}, {"carbs_g": 9.0, "polyols_g": 10.0})
    least = content(food, "energy_kcal", Policy(), "low")
    assert least is not None and least <= 7 * Fraction(24, 10)


@pytest.mark.parametrize("bound", [0.5, 1.5, 10.0])
@pytest.mark.parametrize("formula, sense", list(itertools.product(("net", "ketogenic-quotient"), ("min", "max"))))
def test_a_guaranteed_ratio_is_the_worst_corner_and_no_stricter(formula: str, sense: str, bound: float) -> None:
    """One amount of fat and of protein counts above and below; the worst over all corners is exact.

    Of the quotient at 0.5 protein lifts the row, at 1.5 it lowers it, at 10 even fat does.
    """
    figures = {"fat_g": (30.0, 28.0, 32.0), "protein_g": (10.0, 9.0, 12.0), "carbs_g": (5.0, 4.0, 6.0)}
    food = Food("dish", "own:dish", "available", {"fibre_g": 0.0, **{k: v[0] for k, v in figures.items()}},
                {k: v[1] for k, v in figures.items()}, {k: v[2] for k, v in figures.items()})
    recipe = Recipe("Dish", 1, (Ingredient("dish", food, 100.0, None, None),),
                    (Target("ratio", **{f"{sense}imum": bound}),), Policy(ratio_formula=formula))
    (limit,) = limits_of(recipe, guaranteed=True)

    def margin(fat: float, protein: float, net: float) -> Fraction:
        f, p, n = (Fraction(value) for value in (fat, protein, net))
        above, below = {"net": (f, p + n), "ketogenic-quotient": (
            Fraction(9, 10) * f + Fraction(46, 100) * p, n + Fraction(58, 100) * p + Fraction(1, 10) * f)}[formula]
        return (above - Fraction(bound) * below) * (1 if sense == "min" else -1)

    assert limit.margin([Fraction(100)]) == min(
        margin(*corner) for corner in itertools.product(*(v[1:] for v in figures.values())))


@pytest.mark.parametrize(("kind", "low", "high"), [(None, 8, 8), ("mean", 7, 9), ("food", 5, 12)])
def test_each_kind_has_ends_of_its_own(kind: str | None, low: int, high: int) -> None:
    """Net carbs of 8 g, the mean from 7 to 9, the one food from 5 to 12: a least counts one end, a most the other."""
    food = Food("dish", "own:dish", "available", {"fat_g": 0.0, "protein_g": 0.0, "carbs_g": 8.0, "fibre_g": 0.0},
                {"carbs_g": 7.0}, {"carbs_g": 9.0}, {"carbs_g": 5.0}, {"carbs_g": 12.0})
    recipe = Recipe("Dish", 1, (Ingredient("dish", food, 100.0),), (Target("net_carbs_g", 1.0, 2.0),))
    assert [limit.actual([Fraction(100)]) for limit in limits_of(recipe, guaranteed=kind)] == [low, high]


def test_what_is_taken_as_exact_is_judged_by_the_columns_of_the_targets(tmp_path: Path) -> None:
    table = tmp_path / "foods.csv"
    table.write_text(
        "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,sodium_mg,fat_low,fat_high,sodium_low,sodium_high,allergens\n"
        "plain oil,own:oil,available,100,0,0,0,0,99,100,,,none\n"
        "curd,own:curd,available,10,8,4,0,300,9,11,,,none\n"
        "salted root,own:root,available,0,1,5,1,300,,,250,350,none\n", encoding="utf-8")
    dish = tmp_path / "dish.toml"
    dish.write_text('title = "D"\nservings = 1\n[targets]\nratio = 1\n' + "".join(
        f'[[ingredients]]\nfood = "{food}"\ngrams = 10\n' for food in ("plain oil", "curd", "salted root")),
        encoding="utf-8")
    found = rs.check(rs.read_recipe(dish, rs.load_foods(table, bundled=False)), guaranteed=True)
    assert [w for w in found.warnings if "taken as exact" in w] == [
        "targets are held at the ends of the intervals of the table's means: kept for every figure that has an "
        "interval, taken as exact: curd (protein, carbs), salted root"]


WIDE = ("fat_low", "fat_high", "fat_lowest", "fat_highest", "protein_low", "protein_high", "carbs_low", "carbs_high")


def served(folder: Path, *names: str) -> list[str]:
    """A dish of these foods and the table that has them, as arguments: fat 20 (19 to 21; one food 15 to 25)."""
    ends = dict(zip(WIDE, (19, 21, 15, 25, 5, 6, 4, 5), strict=True))
    rows = [*(food(name, 20, 5, 5, 0, "available", allergens="none", **ends) for name in ("cream", "curd")),
            food("salt", allergens="none"), food("lean", 0, 10, 0, 0, allergens="none")]
    own = table_file(folder, *rows)
    path = folder / "dish.toml"
    path.write_text('title = "D"\nservings = 1\n[targets]\nratio = 1.2\n' + "".join(
        f'[[ingredients]]\nfood = "{name}"\ngrams = 100\n' for name in names) + "min = 100\nmax = 101\n",
        encoding="utf-8")
    return [str(path), "--foods", str(own)]


@pytest.mark.parametrize(("words", "ratio"), [
    (["--guaranteed"], "1.72"), (["--guaranteed", "mean"], "1.72"), (["--guaranteed=mean"], "1.72"),
    (["--guaranteed", "food"], "1.36"), (["--guaranteed=food"], "1.36"),
])
@pytest.mark.parametrize("command", ["solve", "check"])
def test_which_intervals_may_be_said_and_no_argument_is_swallowed(
    command: str, words: list[str], ratio: str, tmp_path: Path
) -> None:
    """19 : (6 + 5) and 15 : (6 + 5), whichever way it is written and wherever it stands."""
    dish = served(tmp_path, "cream", "curd")
    for arguments in ([*words, *dish], [*dish, *words], [dish[0], *words, *dish[1:]]):
        result = CliRunner().invoke(main, [command, *arguments])
        assert result.exit_code == 0, result.output
        assert f"(guaranteed {ratio}:1)" in result.output


@pytest.mark.parametrize("words", [["--guaranteed=most"], ["--guaranteed", "most"]])
def test_other_intervals_are_a_usage_error(words: list[str], tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["check", *words, *served(tmp_path, "cream")])
    assert result.exit_code == 2 and "Traceback" not in result.output


@pytest.mark.parametrize("command", [
    ["solve"], ["check"], ["solve", "--format", "csv"], ["card", "--as-written"], ["portions", "--as-written"],
    ["add-fat", "--with", "lean"], ["adjust", "--weighed", "curd=101"], ["swap", "curd", "lean"], ["curve"],
])
def test_guaranteed_is_said_of_a_dish_whose_every_figure_has_an_interval(command: list[str], tmp_path: Path) -> None:
    name, *options = command
    told = {}
    for dish in (("cream", "curd", "salt"), ("cream", "curd", "lean")):
        path, *tables = served(tmp_path, *dish)
        result = CliRunner().invoke(main, [name, path, *options, *tables, "--guaranteed"])
        assert (result.exit_code in (0, 3) and result.exception is None) or isinstance(result.exception, SystemExit)
        told[dish[-1]] = " ".join(result.output.split())
    assert "guaranteed" not in told["lean"]
    assert "kept for every figure that has an interval" in told["lean"]
    assert "taken as exact" in told["lean"]
    if name in ("solve", "check", "card"):
        assert "guaranteed" in told["salt"] and "taken as exact" not in told["salt"]


def test_json_says_for_which_intervals_and_what_is_exact(tmp_path: Path) -> None:
    for dish, expected in ((("cream", "salt"), ("food", "food", [])), (("cream", "lean"), (False, "food", ["lean"]))):
        result = CliRunner().invoke(main, ["check", *served(tmp_path, *dish), "--format", "json", "--guaranteed=food"])
        policy = json.loads(result.stdout)["policy"]
        assert (policy["guaranteed"], policy["intervals"], policy["taken_as_exact"]) == expected


def test_an_unused_ingredient_is_not_taken_as_anything(tmp_path: Path) -> None:
    path, *tables = served(tmp_path, "cream")
    with open(path, "a", encoding="utf-8") as file:
        file.write('[[ingredients]]\nfood = "lean"\ngrams = 0\nmin = 0\nmax = 50\n')
    assert "(guaranteed" in CliRunner().invoke(main, ["solve", path, *tables, "--guaranteed"]).output


EVERY = ("fat_g", "protein_g", "carbs_g", "fibre_g", "alcohol_g", "soluble_fibre_g", "insoluble_fibre_g", "mct_g",
         "energy_kcal", *COLUMNS)


def bar(exact_figure: str, basis: str = "available") -> Food:
    """A bar of which every figure but one has an interval, its energy by factors unless that has a figure."""
    amounts = {"fat_g": 20.0, "protein_g": 5.0, "carbs_g": 50.0, "fibre_g": 6.0, "alcohol_g": 1.0,
               "soluble_fibre_g": 2.0, "insoluble_fibre_g": 4.0, "mct_g": 3.0, **dict.fromkeys(COLUMNS, 2.0),
               "polyols_g": 18.0}
    wide = [column for column in amounts if column != exact_figure]
    return Food("bar", "own:bar", basis, amounts, {column: amounts[column] - 0.5 for column in wide},
                {column: amounts[column] + 0.5 for column in wide})


POLICIES = (Policy(), Policy(energy="us"), Policy(energy="9/4/4"), Policy(energy="annex-xiv", mct_energy=8.3),
            Policy(left_out={"polyols": 1.0}), *(Policy(left_out={substance.key: 0.5}) for substance in SUBSTANCES))


@pytest.mark.parametrize("policy", POLICIES, ids=range(len(POLICIES)))
@pytest.mark.parametrize("basis", ["by_difference", "available"])
@pytest.mark.parametrize("target", ["net_carbs_g", "carbs_g", "energy_kcal", "polyols_g"])
def test_whatever_moves_a_target_and_has_no_interval_is_named(target: str, basis: str, policy: Policy) -> None:
    """A figure is moved by hand: where that moves the target, no dish with it as an exact one is called guaranteed."""
    for figure in (column for column in bar("").amounts if column in EVERY):
        item = bar(figure, basis)
        moved = Food(item.name, item.id, basis, {**item.amounts, figure: item.amounts[figure] + 1.0})
        plain = Food(item.name, item.id, basis, item.amounts)
        recipe = Recipe("Dish", 1, (Ingredient("bar", item, 100.0, None, None),),
                        (Target(target, maximum=900.0),), policy)
        if content(moved, target, policy) != content(plain, target, policy):
            assert taken_as_exact(recipe, [Fraction(100)], "mean"), figure
            assert guaranteed_for(recipe, [Fraction(100)], "mean") is None


def test_a_sweetener_without_an_interval_is_not_called_guaranteed(tmp_path: Path) -> None:
    """20 : (5 + 40 - 30 tagatose) = 1.33; 29 g of it would make 1.25, so nothing is guaranteed."""
    row = {"food": "bar", "id": "own:bar", "carb_basis": "available", "fat_g": 20, "protein_g": 5, "carbs_g": 40,
           "fibre_g": 0, "tagatose_g": 30, "fat_low": 19, "fat_high": 21, "protein_low": 4, "protein_high": 6,
           "carbs_low": 38, "carbs_high": 42, "allergens": "none"}
    own = tmp_path / "own.csv"
    own.write_text(",".join(row) + "\n" + ",".join(map(str, row.values())) + "\n", encoding="utf-8")
    dish = tmp_path / "dish.toml"
    dish.write_text('title = "D"\nservings = 1\n[targets]\nratio = 0.9\n[policy]\nleft_out = {tagatose = 1.0}\n'
                    '[[ingredients]]\nfood = "bar"\ngrams = 100\n', encoding="utf-8")
    told = " ".join(CliRunner().invoke(main, ["check", str(dish), "--foods", str(own), "--guaranteed"]).output.split())
    assert "ratio 1.33:1" in told and "guaranteed" not in told and "taken as exact: bar (tagatose)" in told


def test_an_interval_of_the_table_s_energy_says_nothing_of_that_by_factors() -> None:
    amounts = {"fat_g": 20.0, "protein_g": 5.0, "carbs_g": 10.0, "fibre_g": 1.0, "energy_kcal": 242.0}
    item = Food("paste", "own:paste", "available", amounts, {"energy_kcal": 240.0}, {"energy_kcal": 244.0})
    for energy, exact_ones in (("table", ()), ("annex-xiv", ("paste",))):
        recipe = Recipe("Dish", 1, (Ingredient("paste", item, 100.0, None, None),),
                        (Target("energy_kcal", maximum=900.0),), Policy(energy=energy))
        assert taken_as_exact(recipe, [Fraction(100)], "mean") == exact_ones
