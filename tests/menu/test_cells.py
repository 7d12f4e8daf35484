"""What the cells of the tables say of allergens, of joint cures and of names that look like numbers."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from ratio_solver import BookOptions, FoodTable, MenuOptions, run_menu, solve_menu
from ratio_solver.menu.cards import book_of_menu
from ratio_solver.menu.recipes import recipes_of_menu
from tests.kitchen import food, table
from tests.menu.drawing import framed, one_by_one

MANY = [f"allergen {number:03}" for number in range(150)]


@pytest.fixture
def own(tmp_path: Path) -> FoodTable:
    """Foods with 150 allergens, with one, with none, and with unknown ones."""
    return table(tmp_path, food("oil", 100, allergens="none"), food("cheese", 30, 20, 2, allergens="milk"),
                 food("lupin meal", 10, 40, 10, allergens=""),
                 food("mix, of all", 20, 10, 5, allergens="; ".join(MANY)))


def rows(name: str, *foods: str, oil: str = "0", ratio: str = "2") -> list[dict[str, str]]:
    head = {"recipe": name, "servings": "1", "ratio": ratio}
    return [head | {"food": "oil", "grams": oil, "min": "0", "max": "900"},
            *({"recipe": name, "food": name_, "grams": "10"} for name_ in foods)]


def test_allergens_of_a_menu(own: FoodTable, monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: every one that is there, also past the 62nd of the alphabet, and of whom they are unknown."""
    expected = {
        "soup": "milk",
        "loaf": "milk; not known for lupin meal: read the label",
        "meal": "not known for lupin meal: read the label",
        "oil": "none known",
        "all": "; ".join(MANY),
        "twice": "; ".join([*MANY, "milk", "not known for lupin meal, second: read the label"]),
    }
    second = {"recipe": "twice", "food": "lupin meal", "label": "second", "grams": "5"}
    unused = {"recipe": "soup", "food": "lupin meal", "grams": "0"}
    frame = framed([*rows("soup", "cheese"), unused, *rows("loaf", "cheese", "lupin meal"), *rows("meal", "lupin meal"),
                    *rows("oil", oil="5"), *rows("all", "mix, of all"),
                    *rows("twice", "mix, of all", "cheese", "lupin meal"), second])
    for _ in ("in arrays", "one by one"):
        found = solve_menu(frame, own, MenuOptions(exact=True)).servings.set_index("recipe")
        assert set(found["outcome"]) == {"solved"}
        assert found["allergens"].to_dict() == expected
        one_by_one(monkeypatch)


def test_no_allergens_are_stated_of_a_dish_that_is_none(own: FoodTable) -> None:
    found = solve_menu(framed(rows("hard", "cheese", ratio="900")), own).servings.iloc[0]
    assert found["outcome"] == "impossible"
    assert not found["allergens"]


def test_changes_that_cure_only_together_are_told(tmp_path: Path) -> None:
    """By hand: 20 g of oil at most are too little fat, 20 g of starch too little carbohydrate.

    No one change mends both; the two of the message, made, give a dish.
    """
    foods = table(tmp_path, food("oil", 100), food("starch", 0, 0, 100))
    frame = framed([
        {"recipe": "plate", "servings": "1", "fat_min": "50", "carbs_min": "30", "food": "oil", "grams": "10",
         "min": "0", "max": "20"},
        {"recipe": "plate", "food": "starch", "grams": "10", "min": "0", "max": "20"},
    ])
    message = solve_menu(frame, foods, MenuOptions(exact=True)).servings["message"].iloc[0]
    conflict, cure = message.split(". These together cure it: ")
    assert conflict.startswith("cannot be kept together")
    cells = {"fat >= 20 g": ("fat_min", 0, "20"), "oil max <= 50 g": ("max", 0, "50"),
             "total carbs >= 20 g": ("carbs_min", 0, "20"), "starch max <= 30 g": ("max", 1, "30")}
    changes = cure.split("; ")
    assert len(changes) == 2
    for change in changes:
        column, row, value = cells[change]
        frame.loc[row, column] = value
    assert solve_menu(frame, foods, MenuOptions(exact=True)).servings["outcome"].iloc[0] == "solved"


@pytest.mark.parametrize("name", ["007", "nan", "1e5", "inf", "#N/A", "True"])
def test_names_that_look_like_numbers_stay_text_in_a_workbook(name: str, tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl", reason="the extra xlsx is not installed")
    foods = table(tmp_path, food(name, 100), food("cheese", 30, 20, 2))
    lines = ["recipe,servings,ratio,food,label,grams,min,max", f"{name},1,3,{name},12,0,0,200",
             f"{name},,,cheese,,100,,", "5,1,900,cheese,,100,0,200", f"6,1,2,{name}x,,100,0,200"]
    (tmp_path / "menu.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    for form in ("csv", "xlsx"):
        run_menu(tmp_path / "menu.csv", tmp_path / form, foods, xlsx=form == "xlsx")
    book = openpyxl.load_workbook(tmp_path / "xlsx" / "menu.xlsx")
    for sheet in book:
        cells = [[cell.value for cell in row] for row in sheet.iter_rows()]
        with (tmp_path / "csv" / f"{sheet.title}.csv").open(encoding="utf-8", newline="") as file:
            text = list(csv.reader(file))
        assert len(cells) == len(text)
        assert [["" if cell is None else cell if isinstance(cell, str) else float(cell) for cell in row]
                for row in cells] == [[float(cell) if isinstance(value, int | float) else cell
                                       for cell, value in zip(line, row, strict=True)]
                                      for line, row in zip(text, cells, strict=True)]
    weights = [[cell.value for cell in row] for row in book["weights"].iter_rows(min_row=2)]
    assert weights[0][:4] == [name, "12", name, 0]
    assert [type(cell) for cell in weights[1][:3]] == [str, str, str]
    assert book["servings"].cell(2, 1).value == name
    assert isinstance(book["servings"].cell(2, 3).value, int | float)
    assert book["problems"].cell(2, 1).value == 5
    assert (book["problems"].cell(2, 2).value, book["problems"].cell(2, 4).value) == ("6", f"{name}x")


def test_signs_that_a_workbook_cannot_hold_do_not_stop_the_run(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl", reason="the extra xlsx is not installed")
    foods = table(tmp_path, food("oil", 100), food("cheese", 30, 20, 2))
    (tmp_path / "menu.csv").write_text("recipe,servings,ratio,food,grams,min,max\nso\x01up,1,2,oil,0,0,100\n"
                                       "so\x01up,,,cheese,100,,\n", encoding="utf-8")
    run_menu(tmp_path / "menu.csv", tmp_path / "out", foods, xlsx=True)
    assert openpyxl.load_workbook(tmp_path / "out" / "menu.xlsx")["weights"]["A2"].value == "so\\x01up"


def test_a_blank_name_goes_on_with_the_recipe_above_on_cards_and_lists_too(own: FoodTable, tmp_path: Path) -> None:
    """Else a card is made of the first ingredient alone, with its ratio and its allergens."""
    path = tmp_path / "menu.csv"
    path.write_text("recipe,servings,food,grams\ntart,2,oil,90\n,,cheese,40\npie,1,oil,50\n ,,cheese,10\n",
                    encoding="utf-8")
    read = recipes_of_menu(path, own)
    assert [(name, [item.label for item in recipe.ingredients]) for name, recipe in read] == [
        ("tart", ["oil", "cheese"]), ("pie", ["oil", "cheese"])]
    made = book_of_menu(path, tmp_path / "cards", own, MenuOptions(), BookOptions(as_written=True))
    assert not made.faults and [one.dish.allergens for one in made.made] == [("milk",), ("milk",)]
