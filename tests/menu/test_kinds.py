"""Of every kind of recipe that kitchens write the menu's answer is that of `solve`, to the last printed digit."""

from __future__ import annotations

import csv
import os
import tomllib
from fractions import Fraction
from pathlib import Path

import pandas as pd
import pytest

from ratio_solver import FoodTable, MenuOptions, Proposal, Recipe, load_foods, solve, solve_menu
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.menu.results import impossible_message, rows_of_answer
from tests.bench.kinds import KINDS, drawn, priced_table, write_kind
from tests.bench.menu import recipe_of
from tests.kitchen import food, table
from tests.menu.drawing import framed
from tests.oracle.second_opinion import solve_whole

FEW = int(os.environ.get("KINDS_FEW", "8"))
MANY = int(os.environ.get("KINDS_COUNT", "1000"))
SEED = int(os.environ.get("KINDS_SEED", "3"))


@pytest.fixture(scope="module")
def foods(tmp_path_factory: pytest.TempPathFactory) -> FoodTable:
    path = tmp_path_factory.mktemp("foods") / "foods.csv"
    priced_table(bundled_path(), path)
    return load_foods(path, bundled=False)


def compared(kind: str, count: int, seed: int, exact: bool, foods: FoodTable, folder: Path) -> None:
    """Every cell beside what `solve` says; where its own search did not settle the ties, the objective."""
    prefer = KINDS[kind].prefer
    written = drawn(kind, count, seed, bundled_path())
    frame = pd.read_csv(write_kind(kind, written, folder), dtype=str, keep_default_na=False)
    found = solve_menu(frame, foods, MenuOptions(prefer, exact=exact, folder=str(folder)))
    assert not len(found.problems), found.problems
    tables = {name: getattr(found, name) for name in ("weights", "servings", "limits")}
    rows = {name: {str(key): part for key, part in table.groupby("recipe")} for name, table in tables.items()}
    for one in written:
        recipe: Recipe = recipe_of(one, foods)
        answer = solve(recipe, prefer, exact=exact)
        theirs = rows_of_answer(one.name, answer, foods)
        mine = {name: [] if one.name not in rows[name] else rows[name][one.name].to_dict("records") for name in rows}
        [serving] = mine["servings"]
        assert serving["outcome"] == answer.outcome, one.name
        if answer.outcome == "impossible":
            assert serving["message"] == impossible_message(answer.diagnosis)
            continue
        if not exact and not answer.objective.settled:
            assert serving["objective"] <= float(answer.objective.value) + 1e-6
            continue
        for name, lines in theirs.items():
            assert len(lines) == len(mine[name])
            for here, there in zip(mine[name], lines, strict=True):
                for column, value in there.items():
                    if column != "proven":
                        cell = here[column]
                        blank = cell is None or cell != cell
                        assert (value is None and blank) or cell == value, (one.name, name, there, column, cell, value)


@pytest.mark.parametrize("exact", [True, False], ids=["exact", "steps"])
@pytest.mark.parametrize("kind", list(KINDS))
def test_menu_answers_as_solve_does(kind: str, exact: bool, foods: FoodTable, tmp_path: Path) -> None:
    compared(kind, FEW, SEED, exact, foods, tmp_path)


@pytest.mark.parametrize("kind", ["one ingredient in pieces", "keep on one", "mixed steps and a piece",
                                  "weights off the grid", "three more targets", "parts, by file"])
def test_weights_on_any_steps_are_what_another_solver_finds(kind: str, foods: FoodTable, tmp_path: Path) -> None:
    """SCIP on the same recipes, formulated without our code: as few grams moved, each as dear as the cook says."""
    written = drawn(kind, FEW, SEED + 2, bundled_path())
    frame = pd.read_csv(write_kind(kind, written, tmp_path), dtype=str, keep_default_na=False)
    found = solve_menu(frame, foods, MenuOptions(folder=str(tmp_path))).servings.set_index("recipe")
    rows = list(csv.DictReader(bundled_path().open(encoding="utf-8")))
    for one in written:
        other = solve_whole(tomllib.loads(one.toml()), rows)
        if found.loc[one.name, "outcome"] == "solved":
            assert found.loc[one.name, "objective"] == pytest.approx(other.objective, abs=1e-6), one.name
        else:
            assert other.objective is None


def test_the_least_largest_move_of_a_dish_whose_search_ended_too_soon(foods: FoodTable) -> None:
    """By SCIP 33 / 268, of 11 foods; with its cost scaled up a hundredfold HiGHS called 1 / 8 the least."""
    one = next(dish for dish in drawn("even", 82, 4, bundled_path()) if dish.name == "dish 81")
    other = solve_whole(tomllib.loads(one.toml()), list(csv.DictReader(bundled_path().open(encoding="utf-8"))),
                        prefer="even")
    answer = solve(recipe_of(one, foods), "even")
    assert isinstance(answer, Proposal) and other.objective == pytest.approx(33 / 268)
    assert float(answer.objective.value) == pytest.approx(other.objective, abs=1e-9)


def test_the_least_largest_moves_are_those_of_a_list_of_all_weights(tmp_path: Path) -> None:
    """2:1 of oil in 6 g and sugar in 5 g is 30 g to 15 g, 60 g to 30 g, ...; a gram of water moves by a thousandth."""
    starts = [(oil, sugar) for oil in range(6, 301, 24) for sugar in range(5, 151, 20)]
    rows: list[dict[str, str]] = []
    for number, (oil, sugar) in enumerate(starts):
        head = {"recipe": f"dish {number}", "servings": "1", "ratio_min": "2", "ratio_max": "2"}
        rows += [{**head, "food": "oil", "grams": str(oil), "min": "0", "max": "900", "step": "6"},
                 {**head, "food": "sugar", "grams": str(sugar), "min": "15", "max": "900", "step": "5"},
                 {**head, "food": "water", "grams": "1000", "min": "0", "max": "2000", "step": "1"}]
    foods = table(tmp_path, food("oil", 100), food("sugar", 0, 0, 100), food("water", 0))
    found = solve_menu(framed(rows), foods, MenuOptions("even")).servings["objective"].tolist()
    assert found == [pytest.approx(float(min(
        max(Fraction(abs(30 * n - oil), oil), Fraction(abs(15 * n - sugar), sugar)) for n in range(1, 31))), abs=1e-6)
        for oil, sugar in starts]


@pytest.mark.slow
@pytest.mark.parametrize("exact", [True, False], ids=["exact", "steps"])
@pytest.mark.parametrize("kind", list(KINDS))
def test_a_thousand_of_a_kind_are_answered_as_solve_does(kind: str, exact: bool, foods: FoodTable,
                                                         tmp_path: Path) -> None:
    compared(kind, MANY, SEED + 1, exact, foods, tmp_path)
