"""The menu's answer for a recipe is that of `solve`, to the last printed digit, ties included."""

from __future__ import annotations

import csv
import pickle
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from ratio_solver import FoodTable, MenuOptions, load_foods, recipe_from, solve, solve_frame, solve_menu
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.csv_file import number
from ratio_solver.foods.ends import Kind
from ratio_solver.menu import solve as menu_module
from tests.bench.menus import dishes
from tests.kitchen import food, table
from tests.menu.drawing import TIMES, drawn_menu, framed, menu_of_dishes, one_by_one
from tests.oracle.recipes import random_table, write_table
from tests.oracle.second_opinion import solve_whole

ROWS = random_table(11, 60)


@pytest.fixture(scope="module")
def foods(tmp_path_factory: pytest.TempPathFactory) -> FoodTable:
    path = tmp_path_factory.mktemp("foods") / "foods.csv"
    write_table(path, ROWS)
    return load_foods(path, bundled=False)


@pytest.fixture
def singles(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """Names of the recipes that went to the per-recipe solver."""
    taken: list[str] = []
    alone = menu_module._Menu.solve_recipe

    def spy(menu: menu_module._Menu, number: int, name: str, *how: Any) -> None:
        taken.append(name)
        alone(menu, number, name, *how)

    monkeypatch.setattr(menu_module._Menu, "solve_recipe", spy)
    yield taken


def recipe_groups(frame: pd.DataFrame) -> Iterator[tuple[str, list[dict[str, str]]]]:
    for name, part in frame.groupby("recipe", sort=False):
        yield str(name), part.to_dict("records")


def written(name: str, rows: list[dict[str, str]], energy: str | None = None) -> dict[str, object]:
    """The recipe file that says the same, put together here and not by the menu's own reader."""
    plain = {key: number(value) for key, value in rows[0].items() if value}
    targets: dict[str, dict[str, float]] = {}
    keys = ("recipe", "servings", "food", "grams", "min", "max", "label", "part", "yield", "keep", "step", "piece")
    for key, value in rows[0].items():
        if key in keys or not value:
            continue
        stem, _, end = key.rpartition("_") if key.endswith(("_min", "_max")) else (key, "", "")
        targets.setdefault(stem, {})[end or ("min" if key == "ratio" else "max")] = float(value)
    ingredients = [
        {key: row[key] if key in ("food", "label", "part") else float(row[key]) for key in keys[2:] if row.get(key)}
        for row in rows
    ]
    return {"title": name, "servings": int(plain["servings"] or 0), "targets": targets, "ingredients": ingredients,
            "policy": {"energy": energy} if energy else {}}


def same(frame: pd.DataFrame, foods: FoodTable, options: MenuOptions) -> dict[str, int]:
    """Compare every figure of the menu with `solve`; how often each outcome came."""
    found = solve_menu(frame, foods, options)
    assert not len(found.problems)
    servings = found.servings.set_index("recipe")
    weights, limits = found.weights.groupby("recipe"), found.limits.groupby("recipe")
    counts: dict[str, int] = {"solved": 0, "impossible": 0}
    for name, rows in recipe_groups(frame):
        answer = solve(recipe_from(written(name, rows, options.energy), foods), options.prefer,
                       guaranteed=options.guaranteed, exact=options.exact)
        counts[answer.outcome] += 1
        row = servings.loc[name]
        assert row["outcome"] == answer.outcome
        if answer.outcome == "impossible":
            assert name not in weights.groups
            for limit in answer.diagnosis.conflict:
                assert limit.name in row["message"]
            continue
        if not options.exact and not answer.objective.settled:  # the recipe's own search ended at its limit of nodes
            assert row["objective"] <= float(answer.objective.value)
            continue
        mine = weights.get_group(name)
        theirs = answer.weights
        assert list(mine["ingredient"]) == [w.ingredient for w in theirs]
        assert list(mine["grams"]) == [float(round(w.grams, 6)) for w in theirs], name
        assert [at or None for at in mine["at"]] == [w.at for w in theirs]
        assert row["objective"] == float(round(answer.objective.value, 6))
        for column, value in answer.facts.amounts.items():
            assert row[column] == float(round(value, 6)), (name, column)
        assert row["weight_g"] == float(round(answer.facts.weight, 6))
        states = [s for s in answer.limits if s.limit.kind != "ingredient"]
        if states:
            table_ = limits.get_group(name)
            assert list(table_["name"]) == [s.limit.name for s in states]
            assert list(table_["binding"]) == [s.binding for s in states]
            assert list(table_["slack"]) == [float(round(s.slack, 6)) for s in states]
            assert list(table_["price"]) == [round(s.price, 6) + 0.0 for s in states]
    return counts


@pytest.mark.parametrize(("seed", "count", "options"), [
    (1, 50 * TIMES, MenuOptions(exact=True)),
    (2, 16 * TIMES, MenuOptions("cheapest", exact=True)),
    (3, 16 * TIMES, MenuOptions("lightest", exact=True)),
    (4, 16 * TIMES, MenuOptions("lowest-carb", exact=True)),
    (5, 12 * TIMES, MenuOptions("even", exact=True)),
    (6, 16 * TIMES, MenuOptions(guaranteed=True, exact=True)),
    (8, 16 * TIMES, MenuOptions(guaranteed="food", exact=True)),
    (7, 10 * TIMES, MenuOptions()),
    (8, 16 * TIMES, MenuOptions("lightest", exact=True, energy="9/4/4")),
    (9, 16 * TIMES, MenuOptions("lightest", exact=True, energy="us")),
    (10, 10 * TIMES, MenuOptions(guaranteed=True, energy="annex-xiv")),
], ids=lambda value: value.prefer if isinstance(value, MenuOptions) else str(value))
def test_menu_equals_solve(seed: int, count: int, options: MenuOptions, foods: FoodTable) -> None:
    counts = same(drawn_menu(seed, count, ROWS), foods, options)
    assert counts["solved"] > count / 3
    assert counts["impossible"] > 0


def test_weights_on_the_steps_equal_those_of_solve(singles: list[str]) -> None:
    """Whole starts and bounds, so that the arrays find nearly all of them and the per-recipe solver few."""
    frame = menu_of_dishes(list(dishes(20 * TIMES, 3, bundled_path())))
    assert same(frame, load_foods(), MenuOptions())["solved"] == 20 * TIMES
    assert len(singles) <= 2 * TIMES


@pytest.mark.parametrize("kind", ["mean", "food"])
def test_intervals_of_carbohydrate_by_difference_are_those_of_solve(kind: Kind) -> None:
    """The bundled table, whose carbohydrate is by difference, with targets that its intervals leave room for."""
    drawn = [replace(dish, ratio=round(dish.ratio * 0.4, 2), net_carbs=dish.net_carbs * 3)
             for dish in dishes(20 * TIMES, 11, bundled_path()) if dish.ratio > 0.1]
    counts = same(menu_of_dishes(drawn), load_foods(), MenuOptions(guaranteed=kind, exact=True))
    assert counts["solved"] > len(drawn) / 4


def test_weights_on_the_steps_are_what_another_solver_finds() -> None:
    """SCIP on the same dishes: as few grams moved."""
    frame = menu_of_dishes(list(dishes(20 * TIMES, 8, bundled_path())))
    found = solve_menu(frame).servings.set_index("recipe")
    rows = list(csv.DictReader(bundled_path().open(encoding="utf-8")))
    for name, part in recipe_groups(frame):
        other = solve_whole(written(name, part), rows)
        assert found.loc[name, "objective"] == pytest.approx(other.objective, abs=1e-6), name


def test_steps_finer_and_coarser_than_a_gram() -> None:
    for step, factor in (("0.5", 0.5), ("5", 5.0)):
        frame = menu_of_dishes(list(dishes(8 * TIMES, 4, bundled_path()))).assign(step=step)
        for column in ("grams", "min", "max"):
            frame[column] = [f"{round(float(cell) / factor) * factor:g}" for cell in frame[column]]
        same(frame, load_foods(), MenuOptions())


def test_most_recipes_are_solved_together(foods: FoodTable, singles: list[str]) -> None:
    frame = drawn_menu(21, 100 * TIMES, ROWS)
    found = solve_menu(frame, foods, MenuOptions(exact=True))
    impossible = set(found.servings["recipe"][found.servings["outcome"] == "impossible"])
    assert len(set(singles) - impossible) <= 2 * TIMES


def test_an_impossible_recipe_does_not_spoil_its_neighbours(foods: FoodTable) -> None:
    frame = drawn_menu(31, 40 * TIMES, ROWS)
    alone = solve_menu(frame, foods, MenuOptions(exact=True))
    good = set(alone.servings["recipe"][alone.servings["outcome"] == "solved"])
    assert 10 * TIMES < len(good) < 40 * TIMES
    without = solve_menu(frame[frame["recipe"].isin(good)], foods, MenuOptions(exact=True))
    kept = alone.weights.reset_index(drop=True)
    assert kept.astype(object).equals(without.weights.reset_index(drop=True).astype(object))


def test_of_two_like_oils_the_first_listed_moves(tmp_path: Path) -> None:
    foods = table(tmp_path, food("oil one", 100), food("oil two", 100), food("cheese", 30, 20, 2))
    for first, second in (("oil one", "oil two"), ("oil two", "oil one")):
        frame = framed([
            {"recipe": "dip", "servings": "1", "ratio": "3", "food": "cheese", "grams": "100"},
            {"recipe": "dip", "food": first, "grams": "0", "min": "0", "max": "200"},
            {"recipe": "dip", "food": second, "grams": "0", "min": "0", "max": "200"},
        ])
        for exact in (True, False):  # 3 * (20 + 2) - 30 = 36 g of fat are missing
            grams = solve_menu(frame, foods, MenuOptions(exact=exact)).weights.set_index("ingredient")["grams"]
            assert (grams[first], grams[second]) == (36.0, 0.0)


def test_numbers_and_text_are_the_same(foods: FoodTable) -> None:
    frame = drawn_menu(41, 6 * TIMES, ROWS, kinds=("plain",))
    numbers = frame.copy()
    for column in numbers.columns.difference(["recipe", "food", "label", "part"]):
        numbers[column] = [float(cell) if cell else np.nan for cell in numbers[column]]
    text, plain = solve_frame(frame, foods), solve_frame(numbers, foods)
    assert text.equals(plain)
    assert set(text["outcome"]) <= {"solved", "impossible"}


def test_solve_frame_can_be_pickled_and_mapped_over_partitions(foods: FoodTable) -> None:
    frame = drawn_menu(51, 10 * TIMES, ROWS)
    function, table_ = pickle.loads(pickle.dumps((solve_frame, foods)))
    half = frame["recipe"].isin([f"dish {number}" for number in range(5 * TIMES)])
    before = frame.copy()
    apart = pd.concat([function(frame[half], table_), function(frame[~half], table_)], ignore_index=True)
    assert apart.astype(object).equals(solve_frame(frame, foods).astype(object))
    assert frame.equals(before)


def test_an_empty_menu_has_empty_tables(foods: FoodTable) -> None:
    found = solve_menu(pd.DataFrame({"recipe": [], "servings": [], "food": [], "grams": []}), foods)
    assert [len(table_) for table_ in (found.weights, found.servings, found.limits, found.problems)] == [0, 0, 0, 0]


@pytest.mark.parametrize("options", [MenuOptions(exact=True), MenuOptions("lightest", guaranteed=True, exact=True),
                                     MenuOptions(guaranteed=True, energy="9/4/4")], ids=str)
def test_every_cell_is_that_of_the_per_recipe_solver(options: MenuOptions, monkeypatch: pytest.MonkeyPatch) -> None:
    """Warnings, allergens, cautions, unknown figures too; dishes of the bundled table, with its gaps."""
    frame = menu_of_dishes(list(dishes(16 * TIMES, 9, bundled_path())))
    frame["sodium_min"] = frame["servings"].where(frame["servings"] == "", "100")
    together = solve_menu(frame, None, options)
    assert together.servings["warnings"].astype(bool).any()
    assert together.servings["at_least"].astype(bool).any()
    one_by_one(monkeypatch)
    alone = solve_menu(frame, None, options)
    for name in ("weights", "servings", "limits", "problems"):
        mine, theirs = (getattr(tables, name).astype(object) for tables in (together, alone))
        pd.testing.assert_frame_equal(mine.where(mine.notna(), ""), theirs.where(theirs.notna(), ""),
                                      check_index_type=False)


OIL, TALLOW, SUGAR, MEAT, LEAF = (
    food("oil", fat=100), food("tallow", fat=100), food("sugar", carbs=100), food("meat", protein=100),
    food("leaf", carbs=10),
)


def tie(*lines: tuple[str, str, str, str], **targets: str) -> pd.DataFrame:
    return framed([{"recipe": "tie", "servings": "1", **targets, "food": name, "grams": grams, "min": low, "max": high}
                   for name, grams, low, high in lines])


@pytest.mark.parametrize("oils", [["oil"], ["oil", "tallow"], ["tallow", "oil"]], ids=" ".join)
@pytest.mark.parametrize("exact", [True, False])
def test_a_price_at_a_tie_that_parts_is_that_of_one_more(
    oils: list[str], exact: bool, tmp_path: Path, singles: list[str]
) -> None:
    """At 1:1 a gram of oil more and a gram of sugar less do the same; above, the sugar does more.

    By hand, with oil o, sugar s and fat / (s + 40) >= R: at R = 1 from 60 fat and 60 + 40 the deficit is 40, and
    40 g of either cures it. One more unit of ratio by sugar: s = 60 / R - 40, so moved = 100 - 60 / R, price 60.
    With two oils, they are still equally good beside the sugar; who pays the price is the same. (On the steps a
    least sum of moves that is a whole number goes to the per-recipe solver, here and below.)
    """
    own = table(tmp_path, OIL, TALLOW, SUGAR, MEAT)
    share = str(60 // len(oils))
    frame = tie(*((oil, share, "0", "500") for oil in oils), ("sugar", "60", "0", "60"), ("meat", "40", "", ""),
                ratio="1")
    found = solve_menu(frame, own, MenuOptions(exact=exact))
    assert found.limits[found.limits["name"] == "ratio"]["price"].tolist() == [60.0]
    assert not (exact and singles)
    assert same(frame, own, MenuOptions(exact=exact)) == {"solved": 1, "impossible": 0}


@pytest.mark.parametrize("exact", [True, False])
def test_a_price_of_a_maximum_at_a_tie_that_parts(exact: bool, tmp_path: Path, singles: list[str]) -> None:
    """A highest ratio, by hand: from 100 fat and 20 + 40 at most R = 1, 40 g of oil less or of sugar more.

    Above 1 the sugar spares more: s = 100 / R - 40, moved = 100 / R - 60, price -100 (by oil: 100 - 60 R, -60).
    """
    own = table(tmp_path, OIL, SUGAR, MEAT)
    frame = tie(("oil", "100", "0", "500"), ("sugar", "20", "0", "90"), ("meat", "40", "", ""), ratio_max="1")
    found = solve_menu(frame, own, MenuOptions(exact=exact))
    assert found.limits[found.limits["name"] == "ratio"]["price"].tolist() == [-100.0]
    assert not (exact and singles)
    assert same(frame, own, MenuOptions(exact=exact)) == {"solved": 1, "impossible": 0}


@pytest.mark.parametrize("exact", [True, False])
def test_a_tie_that_another_limit_holds_together_does_not_part(
    exact: bool, tmp_path: Path, singles: list[str]
) -> None:
    """Two oils equally good, and a leaf that the net carbs hold still: whatever the ratio, its share stays.

    By hand: 20 g of net carbs are 100 g of leaf less, and 2 * (20 + 30) = 100 of fat are 60 g of oil more. One more
    unit of ratio costs 50 g of oil.
    """
    own = table(tmp_path, OIL, TALLOW, LEAF, MEAT)
    frame = tie(("oil", "20", "0", "500"), ("tallow", "20", "0", "500"), ("leaf", "300", "0", "300"),
                ("meat", "30", "", ""), ratio="2", net_carbs="20")
    found = solve_menu(frame, own, MenuOptions(exact=exact))
    assert found.limits[found.limits["name"] == "ratio"]["price"].tolist() == [50.0]
    assert not (exact and singles)
    assert same(frame, own, MenuOptions(exact=exact)) == {"solved": 1, "impossible": 0}


@pytest.mark.parametrize("first", [0, 1])
def test_a_price_at_a_tie_with_a_food_whose_own_ratio_is_the_bound(first: int, tmp_path: Path,
                                                                   singles: list[str]) -> None:
    """By hand: fat / rest >= 1 and 10 g of protein more, from fish (fat 25, protein 25) or curd (50, 25, carbs 25).

    Either takes 40 g and does nothing for a ratio of 1; 50 g of fat meet 50 of meat. One more unit of ratio asks
    for oil in the size of the rest: 60 g with the fish, 70 with the curd.
    """
    own = table(tmp_path, OIL, MEAT, food("fish", fat=25, protein=25), food("curd", fat=50, protein=25, carbs=25))
    both = [("fish", "0", "0", "100"), ("curd", "0", "0", "100")]
    frame = tie(("oil", "40", "0", "500"), both[first], both[1 - first], ("meat", "50", "", ""), ratio="1",
                protein_min="60")
    limits = solve_menu(frame, own, MenuOptions(exact=True)).limits
    assert limits[limits["name"] == "ratio"]["price"].tolist() == [60.0]
    assert not singles
    assert same(frame, own, MenuOptions(exact=True)) == {"solved": 1, "impossible": 0}


def test_two_quotients_whose_ties_part_have_a_price_each(tmp_path: Path, singles: list[str]) -> None:
    """A ratio held to one value by both its ends, foods equally good there: none can be moved to one side."""
    own = table(tmp_path, OIL, SUGAR, MEAT)
    frame = tie(("oil", "60", "0", "500"), ("sugar", "60", "0", "60"), ("meat", "40", "", ""), ratio="1",
                ratio_max="1")
    assert same(frame, own, MenuOptions(exact=True)) == {"solved": 1, "impossible": 0}
    assert not singles


def test_a_limit_without_a_denominator_has_no_price(tmp_path: Path, singles: list[str]) -> None:
    """Pure oil has no ratio: nothing is known of what its limit costs, in the arrays as alone."""
    own = table(tmp_path, OIL, food("water"))
    frame = tie(("oil", "33.3", "0", "200"), ("water", "50", "", ""), ratio="2")
    assert solve_menu(frame, own, MenuOptions(exact=True)).limits["price"].isna().all()
    assert not singles


def test_the_last_point_of_a_line_that_keeps_the_rows_by_a_hair(tmp_path: Path, singles: list[str]) -> None:
    """By hand: 10.5 g of oil and 20.00000001 of sugar are 11 and 21, and 12 with 20 is short by a hundred millionth."""
    own = table(tmp_path, OIL, SUGAR)
    frame = tie(("oil", "0", "0", "50"), ("sugar", "0", "0", "50"), fat_min="10.5", net_carbs_min="20.00000001")
    found = solve_menu(frame, own)
    assert found.weights["grams"].tolist() == [11.0, 21.0]
    assert not singles
    assert same(frame, own, MenuOptions()) == {"solved": 1, "impossible": 0}


def test_a_cost_on_the_very_end_of_an_interval_is_in_the_next(tmp_path: Path, singles: list[str]) -> None:
    """By hand: net carbs are compared in hundredths of a gram; 1 g of leaf has just 0.01 g, and none has less.

    Of 0.00 to below 0.01 g only no leaf at all is; in that interval 10 g are moved, in the next it would be 9.
    """
    own = table(tmp_path, OIL, food("leaf", carbs=1))
    frame = tie(("oil", "10", "", ""), ("leaf", "10", "0", "20"), fat_min="1")
    options = MenuOptions("lowest-carb")
    assert solve_menu(frame, own, options).weights["grams"].tolist() == [10.0, 0.0]
    assert not singles
    assert same(frame, own, options) == {"solved": 1, "impossible": 0}
