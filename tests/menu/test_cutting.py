"""Menus that are large or odd: cut in one pass, and what is wrong in one recipe costs that recipe alone."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from ratio_solver import BadInput, load_foods, run_menu, solve_menu
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu import read as menu_csv
from ratio_solver.menu import solve as menus
from ratio_solver.menu.read import open_menu, parsed, pieces
from tests.menu.drawing import drawn_menu
from tests.oracle.recipes import random_table, write_table

HEADER = "recipe,servings,ratio,net_carbs,food,label,grams,min,max\n"


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def dish(name: str) -> str:
    return (f'{name},4,2,11,"celeriac, raw",,400,300,450\n{name},,,,"butter, salted",,40,0,200\n'
            f'{name},,,,"parmesan, grated",,60,,\n')


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "menu.csv"
    path.write_bytes((HEADER + text).encode(encoding, "surrogateescape"))
    return path


def problems(folder: Path) -> list[dict[str, str]]:
    with (folder / "out" / "problems.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def counted_lines(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many lines the reader of CSV is given from now on, in one number."""
    given, before = [0], menu_csv._Given.__iter__

    def counting(self: menu_csv._Given) -> Iterator[str]:
        for line in before(self):
            given[0] += 1
            yield line

    monkeypatch.setattr(menu_csv._Given, "__iter__", counting)
    return given


def test_the_blank_rows_of_a_sheet_are_no_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                               foods: FoodTable) -> None:
    """200,000 of them between two recipes: the reader of CSV sees the rows that say something, each twice at most."""
    path = written(tmp_path, dish("a") + ",,,,,,,,\n" * 200_000 + dish("b").replace("60", "x"))
    given = counted_lines(monkeypatch)
    assert run_menu(path, tmp_path / "out", foods) == {"solved": 1, "impossible": 0, "unreadable": 1}
    assert given[0] <= 12
    assert problems(tmp_path)[0]["line"] == "200007"


def test_every_row_of_a_large_menu_is_looked_at_once_to_cut_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However small the pieces, and however long a recipe."""
    long = "".join(f'long,4,,,"celeriac, raw",{n},10,,\n' for n in range(3000))
    path = written(tmp_path, "".join(dish(f"dish {n}") for n in range(500)) + long + dish("last"))
    for size in (1, 500, 20_000, 1 << 20):
        given = counted_lines(monkeypatch)
        found = list(pieces(open_menu(path), size))
        assert given[0] == 1500 + 3000 + 3
        monkeypatch.undo()
        assert sum(piece.size for piece in found) == path.stat().st_size - len(HEADER)
        kept = [row for piece in found for row in parsed(piece)[0].records()]
        assert len(kept) == 1500 + 1001 + 3
        starts = [parsed(piece)[0]["recipe"][0] for piece in found]
        assert len(set(starts)) == len(starts), "a recipe is in two pieces"


def test_a_recipe_of_80_000_rows_costs_itself_alone(tmp_path: Path, foods: FoodTable) -> None:
    rows = "".join(f'huge,4,,,"celeriac, raw",{n},10,,\n' for n in range(80_000))
    path = written(tmp_path, dish("a") + rows + dish("b").replace("60", "x"))
    assert run_menu(path, tmp_path / "out", foods) == {"solved": 1, "impossible": 0, "unreadable": 2}
    huge, last = problems(tmp_path)
    assert (huge["recipe"], huge["line"], huge["column"]) == ("huge", "1005", "food")
    assert huge["message"] == "expected at most 1,000 ingredients in a recipe; there are more"
    assert last["line"] == str(1 + 3 + 80_000 + 3)


@pytest.mark.parametrize("row, line, words", [
    (f"bad,4,2,11,butter,{'x' * 140_000},40,0,200\n", 5, "at most 32,767 characters; label has 140,000"),
    ('bad,4,2,11,"butter, salted" and more,,40,0,200\n', 5, "is not CSV"),
    ("bad,4,2,11,butter\udcff,,40,0,200\n", 5, "expected UTF-8 text"),
    ("bad,4,2,11,but\0ter,,40,0,200\n", 5, "expected text without zero bytes"),
    (f"bad,4,2,11,\"butter, salted\",,{'9' * 5000},0,200\n", 5, "expected a weight in g"),
    ("bad,4,2,11,\"butter, salted\",,1e-300,0,200\n", 5, "0.000001 is the smallest number taken"),
    ("bad,4,1e-12,11,\"butter, salted\",,40,0,200\n", 5, "expected a ratio"),
    ("bad,4,2,1e308,\"butter, salted\",,40,0,200\n", 5, "an amount per serving"),
])
def test_an_absurd_cell_costs_its_recipe_alone(row: str, line: int, words: str, tmp_path: Path,
                                               foods: FoodTable) -> None:
    path = written(tmp_path, dish("a") + row + dish("b"))
    assert run_menu(path, tmp_path / "out", foods) == {"solved": 2, "impossible": 0, "unreadable": 1}
    found = problems(tmp_path)
    assert {problem["recipe"] for problem in found} == {"bad"}
    assert [problem["line"] for problem in found if words in problem["message"]] == [str(line)], found
    assert max(len(problem["value"]) for problem in found) <= 300


def test_quotation_marks_inside_a_cell_are_signs(tmp_path: Path, foods: FoodTable) -> None:
    """Inches in a label neither hide a row nor join two: cut anywhere, the rows are those of the file."""
    text = "".join(dish(f'a {n}').replace('"celeriac, raw",,', f'"celeriac, raw",a 5" root {n},') for n in range(40))
    path = written(tmp_path, text)
    rows = [list(row.values()) for piece in pieces(open_menu(path), 100) for row in parsed(piece)[0].records()]
    assert len(rows) == 120 and rows[0][5] == 'a 5" root 0'
    assert run_menu(path, tmp_path / "out", foods)["solved"] == 40


@pytest.mark.parametrize("text, place", [
    (dish("a") + 'b,4,2,11,"never closed,,40\n' + ("x" * 90 + "\n") * 60_000, "line 5"),
    (dish("a") + "b," + "x" * 9_000_000, "line 5"),
])
def test_a_row_without_an_end_is_a_fault_that_names_the_size(text: str, place: str, tmp_path: Path,
                                                             foods: FoodTable) -> None:
    with pytest.raises(BadInput, match=r"does not end within 4\.0 MB; is a quotation mark never closed") as bad:
        run_menu(written(tmp_path, text), tmp_path / "out", foods)
    assert bad.value.faults[0].place == place
    assert [item.name for item in tmp_path.iterdir()] == ["menu.csv"]


def test_a_recipe_without_an_end_is_a_fault_that_names_the_size(tmp_path: Path, foods: FoodTable,
                                                                monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(menu_csv, "LONGEST_PIECE", 2000)
    with pytest.raises(BadInput, match="got more than 2,000 bytes; expected the rows of a recipe to end within that"):
        run_menu(written(tmp_path, dish("a") * 40), tmp_path / "out", foods)


def test_a_header_of_a_thousand_columns_is_enough(tmp_path: Path, foods: FoodTable) -> None:
    path = tmp_path / "menu.csv"
    path.write_text("recipe" + ",x" * 1000 + "\n", encoding="utf-8")
    with pytest.raises(BadInput, match="got 1,001 columns; expected at most 1,000"):
        run_menu(path, tmp_path / "out", foods)


def test_what_nobody_has_thought_of_costs_its_recipe_alone(tmp_path: Path, foods: FoodTable,
                                                          monkeypatch: pytest.MonkeyPatch) -> None:
    """The last resort: the kind of the error, without a traceback, and the others are solved."""
    solve = menus.solve  # type: ignore[attr-defined]

    def breaks(recipe: object, *args: object, **how: object) -> object:
        if getattr(recipe, "title", "") == "b":
            raise ZeroDivisionError("Fraction(1, 0)\nand more")
        return solve(recipe, *args, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(menus, "solve", breaks)
    monkeypatch.setattr(menus._Menu, "stacked", lambda *_: 1 / 0)
    path = written(tmp_path, dish("a") + dish("b") + dish("c"))
    with pytest.warns(RuntimeWarning, match="one by one: stopped by ZeroDivisionError"):
        assert run_menu(path, tmp_path / "out", foods) == {"solved": 2, "impossible": 0, "unreadable": 1}
    (problem,) = problems(tmp_path)
    assert (problem["line"], problem["recipe"]) == ("5", "b")
    assert problem["message"] == "stopped by ZeroDivisionError: Fraction(1, 0); this is a defect of ratio_solver"


def test_what_a_stack_cannot_do_the_per_recipe_solver_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The answers are the same; and without a defect nearly all recipes are settled by the stack."""
    rows = random_table(7, 24)
    write_table(tmp_path / "own.csv", rows)
    foods = load_foods(tmp_path / "own.csv", bundled=False)
    frame = drawn_menu(3, 40, rows, ("plain",))
    single: list[int] = []
    before = menus._Menu.solve_recipe

    def counting(menu: menus._Menu, number: int, *arguments: Any) -> None:
        single.append(number)
        before(menu, number, *arguments)

    monkeypatch.setattr(menus._Menu, "solve_recipe", counting)
    by_stack = solve_menu(frame, foods)
    assert len(single) < 30, "the stack does not do its part"
    monkeypatch.setattr(menus._Menu, "stacked", lambda *_: 1 / 0)
    with pytest.warns(RuntimeWarning, match="one by one: stopped by ZeroDivisionError"):
        alone = solve_menu(frame, foods)
    assert len(alone.servings) > 30 and alone.texts() == by_stack.texts()


def test_numbers_of_a_data_frame_may_be_absurd_too(foods: FoodTable) -> None:
    frame = pd.DataFrame({"recipe": ["a", "b"], "servings": [1, 1], "food": ["olive oil"] * 2, "grams": [10**5000, 10],
                          "min": [None, np.float64(1e-300)], "max": [None, 5]}, dtype=object)
    found = solve_menu(frame, foods).problems
    assert found["column"].tolist() == ["grams", "min"]
    assert found["value"].tolist() == ["too large to show", "1e-300"]
