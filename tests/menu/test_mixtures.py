"""Menus in which everything comes together: every cell is that of `solve`, and the answer that of another solver."""

from __future__ import annotations

import csv
import os
import random
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from ratio_solver import (
    BadInput,
    FoodTable,
    MenuOptions,
    NotProven,
    Recipe,
    load_foods,
    read_recipe,
    recipe_from,
    run_menu,
    solve,
    solve_menu,
)
from ratio_solver.menu.results import TABLE_NAMES, rows_of_answer
from ratio_solver.output.json_csv import harmless
from ratio_solver.solving.result import Answer, Impossible
from tests.kitchen import table_file
from tests.menu.drawing import framed
from tests.menu.mixtures import (
    OVERRIDES,
    mixed_files,
    mixed_recipe,
    mixed_rows,
    mixed_table,
    overridden,
    own_rows,
)
from tests.oracle.recipes import to_toml, write_table
from tests.oracle.second_opinion import faults_of, solve_objective, solve_whole

SEED = int(os.environ.get("MIXTURES_SEED", "5"))
MENUS = int(os.environ.get("MIXTURES_MENUS", "20"))
RECIPES = int(os.environ.get("MIXTURES_RECIPES", "30"))
PREFERENCES = ("closest", "closest", "even", "cheapest", "lightest", "lowest-carb")
ENOUGH = 20.0
"""Seconds for a recipe; what they cut short has no one answer, and is passed over."""

Rows = Mapping[str, Mapping[str, list[Mapping[str, Any]]]]
"""Rows of each table of a menu, by recipe."""


def options_of(rng: random.Random, exact: bool, folder: Path) -> MenuOptions:
    """A preference, intervals and a diagnosis; now and then a confidence."""
    guaranteed, confidence = rng.choice(((None, None),) * 12 + (("mean", None), ("food", None)) * 3 + ((None, 0.9),))
    return MenuOptions(rng.choice(PREFERENCES), guaranteed, exact, folder=str(folder), confidence=confidence,
                       diagnose=rng.choice(("first", "first", "full", "none")), time_limit=ENOUGH)


def answer_of(recipe: Recipe, options: MenuOptions) -> Answer | None:
    """The answer of `solve`; None where a figure that it needs is not known, or nothing is proven."""
    try:
        return solve(recipe, options.prefer, guaranteed=options.guaranteed, exact=options.exact, ranges=False,
                     confidence=options.confidence, time_limit=options.time_limit)
    except (BadInput, NotProven):
        return None


def settled(answer: Answer, options: MenuOptions) -> bool:
    """Whether there is one answer: no time was over, and no search on the steps at its end before it is proven."""
    if isinstance(answer, Impossible):
        diagnosis = answer.diagnosis
        return not (diagnosis.undecided or diagnosis.left_out or diagnosis.left_out_also)
    return options.exact or (answer.objective.settled and answer.objective.proven)


def same(name: str, recipe: Recipe, foods: FoodTable, options: MenuOptions, found: Rows) -> str:
    """Compare every cell of a recipe; what became of it."""
    answer = answer_of(recipe, options)
    if answer is None:
        assert name in found["problems"] and name not in found["servings"], name
        return "refused"
    [serving] = found["servings"][name]
    assert serving["outcome"] == answer.outcome, name
    if not settled(answer, options):
        return "not settled"
    theirs = rows_of_answer(name, answer, foods, options.diagnose)
    for table in ("weights", "servings", "limits"):
        mine, rows = found[table].get(name, []), theirs.get(table, [])
        assert len(mine) == len(rows), (name, table)
        for here, there in zip(mine, rows, strict=True):
            told = {column: here[column] for column in there}
            assert {column: _plain(cell) for column, cell in told.items()} == \
                {column: _plain(cell) for column, cell in there.items()}, (name, table)
    return answer.outcome


def _plain(cell: object) -> object:
    """A cell of a frame or of a CSV file: nothing where blank, a number where it is one."""
    if cell is None or cell == "" or cell != cell:
        return None
    if isinstance(cell, str):
        try:
            return float(cell)
        except ValueError:
            return {"True": True, "False": False}.get(cell, harmless(cell))
    return cell


def by_recipe(tables: Mapping[str, Sequence[Mapping[str, Any]]]) -> dict[str, dict[str, list[Mapping[str, Any]]]]:
    found: dict[str, dict[str, list[Mapping[str, Any]]]] = {name: {} for name in tables}
    for name, rows in tables.items():
        for row in rows:
            found[name].setdefault(row["recipe"], []).append(row)
    return found


def drawn_table(seed: int, folder: Path) -> tuple[list[dict[str, str]], FoodTable]:
    rows = mixed_table(seed % 7)
    return rows, load_foods(table_file(folder, *rows), bundled=False)


def compared_rows(seed: int, count: int, exact: bool, folder: Path) -> Counter[str]:
    """A menu of rows: each recipe beside `solve`."""
    rng = random.Random(f"rows {seed}")
    table, foods = drawn_table(seed, folder)
    rows, recipes = mixed_rows({f"dish {number}": mixed_recipe(rng, table) for number in range(count)})
    options = options_of(rng, exact, folder)
    tables = solve_menu(framed(rows), foods, options)
    found = by_recipe({name: getattr(tables, name).to_dict("records") for name in TABLE_NAMES})
    return Counter(same(name, recipe_from(recipe, foods), foods, options, found) for name, recipe in recipes.items())


def write_menu(path: Path, lines: Sequence[tuple[str, Mapping[str, float]]], delimiter: str) -> None:
    """A menu by file; with semicolons the comma is the decimal sign."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter)
        writer.writerow(["file", *OVERRIDES])
        for name, cells in lines:
            writer.writerow([name, *(f"{cells.get(column, '')}".replace(".", "," if delimiter == ";" else ".")
                                     for column in OVERRIDES)])


def compared_files(seed: int, count: int, exact: bool, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """A menu of files, named several times with targets of its own: each row beside `solve`, and what is at fault."""
    rng = random.Random(f"files {seed}")
    table, foods = drawn_table(seed, folder)
    write_table(folder / "own.csv", [row for row in table if row["food"] in {
        own["food"] for own in own_rows(rng, table)}])
    files = mixed_files(rng, table, count)
    for name, recipe in files.items():
        (folder / name).write_text(to_toml(recipe), encoding="utf-8")
    (folder / "no toml.toml").write_text("title = \n", encoding="utf-8")
    lines: list[tuple[str, dict[str, float]]] = [(name, {}) for name in files]
    lines += [(rng.choice(list(files)), {column: rng.choice(values) for column, values in OVERRIDES.items()
                                         if rng.random() < 0.3}) for _ in range(count)]
    lines += [("no toml.toml", {}), ("not there.toml", {})]
    rng.shuffle(lines)
    write_menu(folder / "menu.csv", lines, rng.choice(",;"))
    options = replace(options_of(rng, exact, folder), folder="")
    monkeypatch.setattr("ratio_solver.menu.run.PIECE", rng.choice((1 << 20, 3000)))
    run_menu(folder / "menu.csv", folder / "out", foods, options, workers=rng.choice((1, 1, 2)))
    found = by_recipe({name: list(csv.DictReader((folder / "out" / f"{name}.csv").open(encoding="utf-8")))
                       for name in TABLE_NAMES})
    became, seen = Counter[str](), set[str]()
    for line, (name, cells) in enumerate(lines, 2):
        called = Path(name).stem
        called = f"{called} (line {line})" if called in seen else called
        seen.add(Path(name).stem)
        try:
            (folder / "one.toml").write_text(to_toml(overridden(files[name], cells)), encoding="utf-8")
            recipe = read_recipe(folder / "one.toml", foods)
        except (KeyError, BadInput):
            assert called in found["problems"] and called not in found["servings"], called
            became["at fault"] += 1
        else:
            became[same(called, recipe, foods, options, found)] += 1
    return became


@pytest.mark.parametrize(("exact", "seed", "count"), [(True, 2, 20), (False, 3, 10)], ids=["exact", "steps"])
def test_rows_are_answered_as_solve_does(exact: bool, seed: int, count: int, tmp_path: Path) -> None:
    became = compared_rows(seed, count, exact, tmp_path)
    assert min(became["solved"], became["impossible"]) > 1 >= became["not settled"], became


@pytest.mark.parametrize(("exact", "seed", "count"), [(True, 2, 12), (False, 3, 6)], ids=["exact", "steps"])
def test_files_are_answered_as_solve_does(exact: bool, seed: int, count: int, tmp_path: Path,
                                          monkeypatch: pytest.MonkeyPatch) -> None:
    became = compared_files(seed, count, exact, tmp_path, monkeypatch)
    assert min(became["solved"], became["impossible"], became["at fault"]) > 1 >= became["not settled"], became


def compared_with_another_solver(seed: int, count: int, exact: bool, folder: Path) -> int:
    """Objectives of GLOP, on the steps of SCIP, of recipes of which that formulation knows all; how many there are."""
    rng = random.Random(f"other {seed}")
    table, foods = drawn_table(seed, folder)
    recipes = {f"dish {number}": mixed_recipe(rng, table) for number in range(count)}
    for name, recipe in recipes.items():
        (folder / f"{name}.toml").write_text(to_toml(recipe), encoding="utf-8")
    options = MenuOptions(rng.choice(PREFERENCES) if exact else "closest", exact=exact, folder=str(folder))
    menu = solve_menu(pd.DataFrame({"file": [f"{name}.toml" for name in recipes]}, dtype=object), foods, options)
    servings, compared = menu.servings.set_index("recipe"), 0
    for name in servings.index:
        recipe = recipes[name]
        try:
            other = solve_objective(recipe, table, options.prefer) if exact else solve_whole(recipe, table, seconds=60)
        except (ValueError, RuntimeError):  # a figure is unknown, or the solver gives up
            continue
        compared += 1
        assert (servings.loc[name, "outcome"] == "solved") == (other.status == "optimal"), name
        if other.status == "optimal" and servings.loc[name, "proven"]:
            assert servings.loc[name, "objective"] == pytest.approx(other.objective, rel=1e-5, abs=1e-5), name
            weights = menu.weights[menu.weights["recipe"] == name].set_index("ingredient")["grams"].to_dict()
            assert not faults_of(recipe, table, weights, 1e-3), name
    return compared


@pytest.mark.parametrize("exact", [True, False], ids=["exact", "steps"])
def test_files_are_answered_as_another_solver_does(exact: bool, tmp_path: Path) -> None:
    assert compared_with_another_solver(1, 20 if exact else 10, exact, tmp_path) > 5


@pytest.mark.slow
@pytest.mark.parametrize("exact", [True, False], ids=["exact", "steps"])
@pytest.mark.parametrize("seed", range(SEED, SEED + MENUS))
def test_many_menus_are_answered_as_solve_and_another_solver_do(
    seed: int, exact: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("rows", "files", "other"):
        (tmp_path / name).mkdir()
    became = compared_rows(seed, RECIPES, exact, tmp_path / "rows")
    became += compared_files(seed, RECIPES // 2, exact, tmp_path / "files", monkeypatch)
    others = compared_with_another_solver(seed, RECIPES // 2, exact, tmp_path / "other")
    print(f"{dict(became)}; {others} beside another solver")
    assert others and became["solved"] and became["impossible"]
