"""What is wrong with a menu is reported with its line and column, and the other recipes are solved."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from ratio_solver import BadInput, MenuOptions, load_foods, run_menu, solve_menu
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.columns import target_changes
from ratio_solver.recipe.targets import ratio_value

HEADER = ["recipe", "servings", "ratio", "ratio_max", "net_carbs", "protein_min", "protein_max", "food", "grams", "min",
          "max", "label", "yield", "keep", "step", "piece", "pieces"]

Row = dict[str, str]


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def good(name: str) -> list[Row]:
    """A dish that is possible: three rows."""
    return [
        {"recipe": name, "servings": "4", "ratio": "2", "net_carbs": "11", "food": "celeriac, raw", "grams": "400",
         "min": "300", "max": "450"},
        {"recipe": name, "food": "butter, salted", "grams": "40", "min": "0", "max": "200"},
        {"recipe": name, "food": "parmesan, grated", "grams": "60"},
    ]


def impossible(name: str) -> list[Row]:
    rows = good(name)
    rows[1]["max"] = "1"
    rows[0]["ratio"] = "4"
    return rows


def changed(place: int, **cells: str) -> Callable[[list[Row]], None]:
    def change(rows: list[Row]) -> None:
        rows[place] |= cells

    return change


WAYS: list[tuple[Callable[[list[Row]], None], int, str, str]] = [
    # what is done to the dish, the row (0 to 2) and column of the problem, a word of the message
    (changed(1, food="buter, salted"), 1, "food", "did you mean"),
    (changed(1, food=""), 1, "food", "expected a food"),
    (changed(2, grams=""), 2, "grams", "expected the weight"),
    (changed(2, grams="sixty"), 2, "grams", "weight in g"),
    (changed(2, grams="-5"), 2, "grams", "weight in g"),
    (changed(2, grams="nan"), 2, "grams", "weight in g"),
    (changed(2, grams="1e9"), 2, "grams", "1,000,000"),
    (changed(1, max=""), 1, "max", "expected with min"),
    (changed(0, min="500"), 0, "min", "at most the max"),
    (changed(0, servings=""), 0, "servings", "number of servings"),
    (changed(0, servings="2.5"), 0, "servings", "whole number"),
    (changed(0, ratio="two"), 0, "ratio", "ratio"),
    (changed(0, ratio="0"), 0, "ratio", "above 0"),
    (changed(0, ratio_max="1.5"), 0, "ratio", "at most the max"),
    (changed(0, net_carbs="6 g"), 0, "net_carbs", "amount"),
    (changed(0, protein_min="30", protein_max="20"), 0, "protein_min", "at most the max"),
    (changed(2, label="celeriac, raw"), 2, "label", "unique"),
    (changed(1, **{"yield": "0"}), 1, "yield", "above 0"),
    (changed(1, step="2", piece="50"), 1, "piece", "not both"),
    (changed(2, servings="6"), 2, "servings", "same as in the recipe's first row"),
    (changed(1, keep="0"), 1, "keep", "dear"),
    (changed(0, pieces="1.5"), 0, "pieces", "whole number"),
]


def write(path: Path, recipes: list[list[Row]], delimiter: str = ",", encoding: str = "utf-8") -> list[int]:
    """The menu as a file; the line each recipe begins on."""
    lines, line = [], 2
    with path.open("w", encoding=encoding, newline="") as file:
        writer = csv.DictWriter(file, HEADER, restval="", delimiter=delimiter, lineterminator="\n")
        writer.writeheader()
        for rows in recipes:
            lines.append(line)
            writer.writerows(rows)
            line += len(rows)
    return lines


def read(folder: Path, name: str) -> list[Row]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_tenth_impossible_a_tenth_unreadable(tmp_path: Path, foods: FoodTable) -> None:
    recipes, kinds = [], []
    for number in range(220):
        kind = {3: "impossible", 7: "unreadable"}.get(number % 10, "solved")
        rows = impossible(f"dish {number}") if kind == "impossible" else good(f"dish {number}")
        if kind == "unreadable":
            WAYS[number // 10][0](rows)
        recipes.append(rows)
        kinds.append(kind)
    lines = write(tmp_path / "menu.csv", recipes)
    counts = run_menu(tmp_path / "menu.csv", tmp_path / "out", foods, workers=1)
    assert counts == {"solved": 176, "impossible": 22, "unreadable": 22}
    servings, problems = read(tmp_path / "out", "servings"), read(tmp_path / "out", "problems")
    assert [(row["recipe"], row["outcome"]) for row in servings] == \
        [(f"dish {n}", kind) for n, kind in enumerate(kinds) if kind != "unreadable"]
    assert {row["recipe"] for row in read(tmp_path / "out", "weights")} == \
        {f"dish {n}" for n, kind in enumerate(kinds) if kind == "solved"}
    assert all("cannot be kept together" in row["message"] for row in servings if row["outcome"] == "impossible")
    assert [row["recipe"] for row in problems] == [f"dish {n}" for n, kind in enumerate(kinds) if kind == "unreadable"]
    for way, (_, place, column, word) in enumerate(WAYS):
        problem, rows = problems[way], recipes[10 * way + 7]
        assert int(problem["line"]) == lines[10 * way + 7] + place, way
        assert problem["column"] == column, way
        assert problem["value"].removeprefix("'") == (rows[place].get(column) or ""), way
        assert word in problem["message"], (way, problem["message"])


@pytest.mark.parametrize(("header", "word"), [
    ("recipe,servings,food,grams,protien_min", "protein_min"),
    ("recipe,servings,food,grams,protein", "protein_min or protein_max"),
    ("recipe,servings,food", "grams"),
    ("recipe,servings,food,grams,grams", "once"),
    ("recipe,servings,food,grams,proportions", "recipe file"),
    ("file,food,grams", "not both"),
    ("recipe,servings,food,grams,ratio,ratio_min", "one of ratio and ratio_min"),
    ("", "header"),
])
def test_a_header_that_is_none_stops_the_run(header: str, word: str, tmp_path: Path, foods: FoodTable) -> None:
    (tmp_path / "menu.csv").write_text(f"{header}\n", encoding="utf-8")
    with pytest.raises(BadInput, match=word):
        run_menu(tmp_path / "menu.csv", tmp_path / "out", foods)
    assert [path.name for path in tmp_path.iterdir()] == ["menu.csv"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("comma", [False, True])
def test_semicolons_decimal_commas_and_byte_order_marks(encoding: str, comma: bool, tmp_path: Path,
                                                        foods: FoodTable) -> None:
    rows = good("crème")
    rows[0] |= {"ratio": "2.25", "net_carbs": "11.5"}
    plain = [dict(row) for row in rows]
    write(tmp_path / "plain.csv", [plain])
    if comma:
        rows = [{key: value.replace(".", ",") if key not in ("food", "recipe") else value
                 for key, value in row.items()} for row in rows]
    write(tmp_path / "menu.csv", [rows], ";" if comma else ",", encoding)
    for name in ("plain", "menu"):
        assert run_menu(tmp_path / f"{name}.csv", tmp_path / name, foods)["solved"] == 1
    assert read(tmp_path / "plain", "weights") == read(tmp_path / "menu", "weights")
    assert read(tmp_path / "menu", "limits")[0]["limit"] == "2.25"


def test_a_number_that_may_mean_two_things_is_refused(tmp_path: Path, foods: FoodTable) -> None:
    thousand, comma = good("thousand"), good("comma")
    thousand[0]["max"] = "1.500"
    write(tmp_path / "semi.csv", [thousand, good("plain")], ";")
    comma[0]["max"] = "1,500"
    write(tmp_path / "comma.csv", [comma, good("plain")])
    for name, value in (("semi", "1.500"), ("comma", "1,500")):
        assert run_menu(tmp_path / f"{name}.csv", tmp_path / name, foods) == \
            {"solved": 1, "impossible": 0, "unreadable": 1}
        problem = read(tmp_path / name, "problems")[0]
        assert (problem["line"], problem["column"], problem["value"]) == ("2", "max", value)


def test_rows_that_are_wrong_as_such(tmp_path: Path, foods: FoodTable) -> None:
    path = tmp_path / "menu.csv"
    write(path, [good("a"), good("b"), good("c"), good("d")])
    lines = path.read_bytes().split(b"\n")
    lines[4] = lines[4].replace(b"b", b"b\xff", 1)      # not UTF-8, on line 5
    lines[8] += b",too,many"                             # line 9
    lines[11] = lines[11].replace(b"butter", b"but\0ter")  # line 12
    path.write_bytes(b"\n".join(lines))
    assert run_menu(path, tmp_path / "out", foods)["solved"] == 1
    problems = read(tmp_path / "out", "problems")
    by_line = {int(row["line"]): row["message"] for row in problems}
    assert "UTF-8" in by_line[5]
    assert "cells" in by_line[9]
    assert "zero bytes" in by_line[12]


def test_lines_are_counted_through_blank_rows_and_breaks_inside_cells(tmp_path: Path, foods: FoodTable) -> None:
    rows = good("pie")
    bad = good("tart")
    bad[2]["grams"] = "x"
    rows[0]["label"] = "celeriac,\nin two lines"
    path = tmp_path / "menu.csv"
    write(path, [rows, bad])
    text = path.read_text(encoding="utf-8").replace("\ntart,4", "\n\n,,,\ntart,4")
    path.write_text(text, encoding="utf-8")
    run_menu(path, tmp_path / "out", foods)
    line = next(n for n, row in enumerate(text.split("\n"), 1) if row.startswith("tart") and ",x," in row)
    assert read(tmp_path / "out", "problems")[0]["line"] == str(line)


def test_names(tmp_path: Path, foods: FoodTable) -> None:
    """A blank name goes on with the recipe above; one that comes again is refused; a menu begins with a name."""
    unnamed, again, blank = good(""), good("pie"), good("soup")
    blank[1]["recipe"] = blank[2]["recipe"] = ""
    lines = write(tmp_path / "menu.csv", [unnamed, good("pie"), blank, again])
    assert run_menu(tmp_path / "menu.csv", tmp_path / "out", foods) == \
        {"solved": 2, "impossible": 0, "unreadable": 2}
    problems = read(tmp_path / "out", "problems")
    assert [(int(row["line"]), row["column"]) for row in problems] == [(lines[0], "recipe"), (lines[3], "recipe")]
    assert [row["recipe"] for row in read(tmp_path / "out", "weights")] == ["pie"] * 3 + ["soup"] * 3


def test_a_name_that_comes_again_in_another_piece_is_refused(tmp_path: Path, foods: FoodTable,
                                                             monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ratio_solver.menu.run.PIECE", 600)
    lines = write(tmp_path / "menu.csv", [good(f"dish {n % 30}") for n in range(31)])
    for workers in (1, 2):
        counts = run_menu(tmp_path / "menu.csv", tmp_path / "out", foods, workers=workers)
        assert counts == {"solved": 30, "impossible": 0, "unreadable": 1}
        assert read(tmp_path / "out", "problems")[0]["line"] == str(lines[30])


def test_formulas_are_made_harmless(tmp_path: Path, foods: FoodTable) -> None:
    rows = good("=1+1")
    rows[0]["label"] = "@celeriac"
    bad = good("+dish")
    bad[0]["servings"] = "-x"
    write(tmp_path / "menu.csv", [rows, bad])
    run_menu(tmp_path / "menu.csv", tmp_path / "out", foods)
    for name in ("weights", "servings", "limits", "problems"):
        with (tmp_path / "out" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            cells = [cell for row in list(csv.reader(file))[1:] for cell in row]
        for cell in cells:
            assert cell[:1] not in ("=", "+", "@")
            assert not cell.startswith("-") or float(cell) < 0
    assert read(tmp_path / "out", "weights")[0]["recipe"] == "'=1+1"


def test_by_file(tmp_path: Path, foods: FoodTable) -> None:
    dish = 'title = "Celeriac"\nservings = 4\n[targets]\nratio = {min = 1.5, max = 1.8}\nnet_carbs = 8\n'
    spans = {"celeriac, raw": "grams = 400\nmin = 300\nmax = 450", "butter, salted": "grams = 40\nmin = 0\nmax = 200"}
    for food, span in spans.items():
        dish += f'[[ingredients]]\nfood = "{food}"\n{span}\n'
    (tmp_path / "dish.toml").write_text(dish, encoding="utf-8")
    (tmp_path / "bad.toml").write_text(dish.replace("min = 0", "min = 300"), encoding="utf-8")
    (tmp_path / "menu.csv").write_text(
        "file,ratio,ratio_max,net_carbs\ndish.toml,,,\ndish.toml,2,,\ndish.toml,,1.6,\ndish.toml,,,0\nnone.toml,,,\n"
        "bad.toml,,,\ndish.toml,x,,\n", encoding="utf-8")
    counts = run_menu(tmp_path / "menu.csv", tmp_path / "out", foods, MenuOptions(exact=True))
    assert counts == {"solved": 3, "impossible": 1, "unreadable": 3}
    servings = read(tmp_path / "out", "servings")
    assert [row["recipe"] for row in servings] == ["dish", "dish (line 3)", "dish (line 4)", "dish (line 5)"]
    limits = [(row["recipe"], row["sense"], row["limit"]) for row in read(tmp_path / "out", "limits")
              if row["name"] == "ratio"]
    assert limits == [("dish", ">=", "1.5"), ("dish", "<=", "1.8"), ("dish (line 3)", ">=", "2.0"),
                      ("dish (line 4)", ">=", "1.5"), ("dish (line 4)", "<=", "1.6")]
    assert [(row["line"], row["column"]) for row in read(tmp_path / "out", "problems")] == \
        [("6", "file"), ("7", "file"), ("8", "ratio")]


def ratio_ends(frame: pd.DataFrame, foods: FoodTable, folder: Path) -> list[tuple[str, float]]:
    changes = target_changes(foods.columns, ratio="3:1")
    limits = solve_menu(frame, foods, MenuOptions(exact=True, folder=str(folder), changed=changes)).limits
    return [(limit.sense, limit.limit) for limit in limits.itertuples() if limit.name == "ratio"]


@pytest.mark.parametrize("highest, kept", [("2.5", False), ("5:2", False), ("4", True), ("7:2", True)])
def test_a_ratio_for_the_whole_menu_keeps_a_highest_one_that_is_not_below(
    highest: str, kept: bool, tmp_path: Path, foods: FoodTable
) -> None:
    """As `solve --ratio 3:1` does with each recipe, in both forms."""
    top = ratio_value(highest)
    expected = [(">=", 3.0), ("<=", top)] if kept else [(">=", 3.0)]
    rows = good("long")
    rows[0]["ratio_max"] = highest
    assert ratio_ends(pd.DataFrame(rows), foods, tmp_path) == expected
    (tmp_path / "d.toml").write_text(
        f'title = "d"\nservings = 4\n[targets]\nratio = {{min = 1.5, max = {top}}}\n[[ingredients]]\n'
        'food = "butter, salted"\ngrams = 40\nmin = 0\nmax = 200\n'
        '[[ingredients]]\nfood = "parmesan, grated"\ngrams = 60\n', encoding="utf-8")
    assert ratio_ends(pd.DataFrame({"file": ["d.toml"]}), foods, tmp_path) == expected


@pytest.mark.parametrize("cell", ["x", "0", "-1", "1e400"])
def test_a_cell_that_is_no_ratio_is_a_fault_whatever_is_asked_for(cell: str, tmp_path: Path, foods: FoodTable) -> None:
    rows = good("long")
    rows[0]["ratio_max"] = cell
    options = MenuOptions(changed=target_changes(foods.columns, ratio="3:1"))
    assert solve_menu(pd.DataFrame(rows), foods, options).problems["column"].tolist() == ["ratio_max"]


@pytest.mark.parametrize("highest, comma, kept", [("3", False, True), ("3,5", True, True), ("2,9", True, False)])
def test_a_highest_ratio_that_is_met_stays(highest: str, comma: bool, kept: bool, foods: FoodTable) -> None:
    """Equal is not below; with decimal commas too."""
    rows = good("long")
    rows[0]["ratio_max"] = highest
    options = MenuOptions(exact=True, decimal_comma=comma, changed=target_changes(foods.columns, ratio="3:1"))
    limits = solve_menu(pd.DataFrame(rows), foods, options).limits
    ends = limits[limits["name"] == "ratio"]["sense"].tolist()
    assert ends == ([">=", "<="] if kept else [">="])


@pytest.mark.parametrize("asked, kept", [(10.0, True), (9.0, True), (8.5, False)])
@pytest.mark.parametrize("column", ["net_carbs", "net_carbs_max"])
def test_net_carbs_for_the_whole_menu_keep_a_least_that_is_not_above(
    asked: float, kept: bool, column: str, tmp_path: Path, foods: FoodTable
) -> None:
    """As `solve --net-carbs` does; in both forms, whatever the menu calls the column."""
    options = MenuOptions(exact=True, folder=str(tmp_path), changed=target_changes(foods.columns, net_carbs=asked))
    rows = good("long")
    rows[0] |= {"net_carbs": "", column: "11", "net_carbs_min": "9"}
    (tmp_path / "d.toml").write_text(
        'title = "d"\nservings = 4\n[targets]\nnet_carbs = {min = 9, max = 11}\n[[ingredients]]\n'
        'food = "celeriac, raw"\ngrams = 400\nmin = 300\nmax = 550\n', encoding="utf-8")
    for frame in (pd.DataFrame(rows), pd.DataFrame({"file": ["d.toml"], column: ["10.5"]})):
        if column != "net_carbs":
            frame = frame.drop(columns="net_carbs", errors="ignore")
        found = solve_menu(frame, foods, options)
        assert not len(found.problems)
        ends = {(limit.sense, limit.limit) for limit in found.limits.itertuples() if limit.name == "net carbs"}
        assert ends == ({(">=", 9.0), ("<=", asked)} if kept else {("<=", asked)})


def test_a_ratio_for_the_whole_menu_in_the_column_of_its_least(tmp_path: Path, foods: FoodTable) -> None:
    """The band of the file ends below what is asked for; `ratio_min` in the menu does not keep it."""
    (tmp_path / "d.toml").write_text(
        'title = "d"\nservings = 4\n[targets]\nratio = {min = 1.5, max = 2.5}\n[[ingredients]]\n'
        'food = "butter, salted"\ngrams = 40\nmin = 0\nmax = 200\n'
        '[[ingredients]]\nfood = "parmesan, grated"\ngrams = 60\n', encoding="utf-8")
    assert ratio_ends(pd.DataFrame({"file": ["d.toml"], "ratio_min": ["2"]}), foods, tmp_path) == [(">=", 3.0)]


def test_targets_for_the_whole_menu(tmp_path: Path, foods: FoodTable) -> None:
    rows = good("dish")
    rows[0]["ratio_max"] = "2.5"
    write(tmp_path / "menu.csv", [rows])
    options = MenuOptions(changed=(("ratio", "min", 3.0), ("ratio", "max", None), ("energy_kcal", "max", 900.0)))
    run_menu(tmp_path / "menu.csv", tmp_path / "out", foods, options)
    assert [(row["name"], row["sense"], row["limit"]) for row in read(tmp_path / "out", "limits")] == \
        [("ratio", ">=", "3.0"), ("net carbs", "<=", "11.0"), ("energy", "<=", "900.0")]


@pytest.mark.parametrize("workers", [1, 2])
def test_a_file_that_is_no_csv_stops_the_run(workers: int, tmp_path: Path, foods: FoodTable,
                                             monkeypatch: pytest.MonkeyPatch) -> None:
    """A quotation mark that is never closed swallows the rest: nothing is guessed, nothing written."""
    monkeypatch.setattr("ratio_solver.menu.run.PIECE", 600)
    path = tmp_path / "menu.csv"
    lines = write(path, [good(f"dish {n}") for n in range(20)])
    text = path.read_text(encoding="utf-8").split("\n")
    text[lines[15]] = text[lines[15]].replace('"butter, salted"', '"butter, salted')
    path.write_text("\n".join(text), encoding="utf-8")
    with pytest.raises(BadInput, match="is not CSV") as caught:
        run_menu(path, tmp_path / "out", foods, workers=workers)
    assert len(caught.value.faults) == 1
    assert [item.name for item in tmp_path.iterdir()] == ["menu.csv"]


def test_every_key_of_the_policy_is_a_column(tmp_path: Path, foods: FoodTable) -> None:
    """Left out and energy for one dish of three; a wrong word is told at its cell, and how figures are reckoned."""
    own = [*HEADER, "policy_energy", "mct_energy", "left_out_xylitol"]
    rows, plain, wrong = good("a"), good("b"), good("c")
    rows[0] |= {"policy_energy": "9/4/4", "mct_energy": "8.3", "left_out_xylitol": "0.5"}
    wrong[0]["policy_energy"] = "944"
    with (tmp_path / "menu.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, own, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows([*rows, *plain, *wrong])
    run_menu(tmp_path / "menu.csv", tmp_path / "out", foods)
    servings = {row["recipe"]: row for row in read(tmp_path / "out", "servings")}
    a, b = servings["a"], servings["b"]
    energy = 9 * float(a["fat_g"]) + 4 * float(a["protein_g"]) + 4 * float(a["net_carbs_g"])
    energy -= (9 - 8.3) * (float(a["caprylic_g"]) + float(a["capric_g"]))
    assert energy == pytest.approx(float(a["energy_kcal"]), abs=1e-4)
    assert a["fat_g"] == b["fat_g"] and a["energy_kcal"] != b["energy_kcal"]
    assert "50 % of xylitol" in a["reckoned"] and "9 fat + 4 protein + 4 net carbs" in a["reckoned"]
    assert b["reckoned"] == ""
    problems = read(tmp_path / "out", "problems")
    assert [(row["line"], row["column"], row["value"]) for row in problems] == [("8", "policy_energy", "944")]


def test_policy_notes_and_other_keys_of_the_recipe_file(tmp_path: Path, foods: FoodTable) -> None:
    """What arrays do not express goes to the per-recipe solver, with its own answer."""
    own = [*HEADER, "ratio_formula", "left_out_erythritol", "measure", "note"]
    rows = good("a")
    rows[0] |= {"ratio_formula": "total", "left_out_erythritol": "0.5", "note": "a note"}
    counted = good("b")
    counted[1] = {"recipe": "b", "food": "butter, salted", "measure": "3 tbsp"}
    wrong = good("c")
    wrong[0]["ratio_formula"] = "fat"
    with (tmp_path / "menu.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, own, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows([*rows, *counted, *wrong])
    run_menu(tmp_path / "menu.csv", tmp_path / "out", foods)
    servings = {row["recipe"]: row for row in read(tmp_path / "out", "servings")}
    a = servings["a"]
    assert float(a["fat_g"]) / (float(a["protein_g"]) + float(a["carbs_g"])) == pytest.approx(float(a["ratio"]), 1e-5)
    problems = read(tmp_path / "out", "problems")
    assert [(row["line"], row["column"], row["value"]) for row in problems] == [("8", "ratio_formula", "fat")]
