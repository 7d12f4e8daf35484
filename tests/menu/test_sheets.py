"""Menus in workbooks: every row is read, faults name the workbook and the cell, nothing grows without end."""

from __future__ import annotations

import csv
import re
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver.cli import main
from ratio_solver.menu import workbook as books

openpyxl = pytest.importorskip("openpyxl", reason="the extra xlsx is not installed")

HEADER = ["recipe", "servings", "ratio", "net_carbs", "food", "grams", "min", "max"]
SHEET = "xl/worksheets/sheet1.xml"


def dish(name: str) -> list[list[Any]]:
    return [[name, 4, 2, 11, "celeriac, raw", 400, 300, 450], [name, "", "", "", "butter, salted", 40, 0, 200],
            [name, "", "", "", "parmesan, grated", 60, "", ""]]


def book(folder: Path, rows: Sequence[Sequence[Any]], *changes: tuple[str, str]) -> Path:
    """A workbook with the sheet "Week", its XML changed by patterns."""
    path = folder / "menu.xlsx"
    made = openpyxl.Workbook()
    made.active.title = "Week"
    for row in rows:
        made.active.append([None if cell == "" else cell for cell in row])
    made.save(path)
    with zipfile.ZipFile(path) as archive:
        parts = {part.filename: archive.read(part) for part in archive.infolist()}
    text = parts[SHEET].decode("utf-8")
    for pattern, by in changes:
        text, count = re.subn(pattern, by, text, count=1)
        assert count == 1, f"{pattern} is not in the sheet"
    parts[SHEET] = text.encode("utf-8")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


def solved(path: Path) -> Result:
    return CliRunner().invoke(main, ["menu", str(path), "-o", str(path.parent / "out")])


def problems(path: Path) -> list[dict[str, str]]:
    with (path.parent / "out" / "problems.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("dimension", ["A1:H4", "A1", "A1:B2", "C3:D4", "A1:XFD1048576"])
def test_every_row_is_read_whatever_the_dimensions_say(dimension: str, tmp_path: Path) -> None:
    path = book(tmp_path, [HEADER, *dish("A"), *dish("B"), *dish("C")],
                (r'<dimension ref="[^"]*"', f'<dimension ref="{dimension}"'))
    result = solved(path)
    assert "3 recipes: 3 solved" in result.stderr, result.stderr


@pytest.mark.parametrize("change, size", [
    ((r'<row r="4"', '<row r="2000000000"'), "row 2,000,000,000"),
    ((r'<row r="4"', '<row r="1048577"'), "row 1,048,577"),
])
def test_a_row_beyond_the_last_of_a_sheet_is_a_fault(change: tuple[str, str], size: str, tmp_path: Path) -> None:
    path = book(tmp_path, [HEADER, *dish("A")], change)
    result = solved(path)
    assert result.exit_code == 1
    assert result.stderr.startswith(f"{path}: sheet1: got {size}; expected at most 1,048,576 rows")
    assert sorted(item.name for item in tmp_path.iterdir()) == ["menu.xlsx"]


def test_sheets_that_never_end_are_refused_by_their_sizes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = book(tmp_path, [HEADER, *dish("A")], (r"</row>", "<c/>" * 200_000 + "</row>"))
    result = solved(path)
    assert result.exit_code == 1
    assert "sheet1: got 131,073 parts in row 1; expected at most 131,072 parts" in result.stderr
    monkeypatch.setattr(books, "SHEET_BYTES", 500_000)
    assert "got 0.8 MB unpacked; expected at most 0.5 MB" in solved(path).stderr
    monkeypatch.setattr(books, "SHEET_BYTES", 10**9)
    monkeypatch.setattr(books, "BOOK_BYTES", 5_000)
    assert "unpacked; expected at most 5,000 bytes" in solved(path).stderr


def test_a_document_type_is_refused(tmp_path: Path) -> None:
    """Entities can stand for more than any memory holds."""
    bomb = '<!DOCTYPE w [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><worksheet '
    path = book(tmp_path, [HEADER, *dish("A")], (r"<worksheet ", bomb))
    assert "got a document type" in solved(path).stderr


def test_far_cells_and_blank_rows_take_no_room(tmp_path: Path) -> None:
    rows = [HEADER, *dish("A"), *([[""] * 900 + ["x"]]), *dish("B")]
    path = book(tmp_path, rows, (r'<row r="8"', '<row r="900000"'))
    result = solved(path)
    assert result.exit_code == 1 and "2 recipes: 1 solved, 0 impossible, 1 unreadable" in result.stderr
    assert [row["message"] for row in problems(path)] == ["expected at most 8 cells, as in the header; there are 9"]


@pytest.mark.parametrize("digits, place, words", [
    (5_000, "Week, H2", "expected the greatest weight in g"),
    (60_000, "Week, row 2", "expected cells of at most 32,767 characters; max has 60,000"),
])
def test_a_number_of_thousands_of_digits_costs_its_recipe_alone(digits: int, place: str, words: str,
                                                                tmp_path: Path) -> None:
    path = book(tmp_path, [HEADER, *dish("A"), *dish("B")], ("<v>450</v>", f"<v>{'9' * digits}</v>"))
    result = solved(path)
    assert result.exit_code == 1 and "2 recipes: 1 solved, 0 impossible, 1 unreadable" in result.stderr
    (problem,) = problems(path)[:1]
    assert (problem["line"], problem["recipe"], problem["place"]) == ("2", "A", place)
    assert words in problem["message"] and len(problem["value"]) <= 300


def test_faults_name_the_workbook_and_the_cell(tmp_path: Path) -> None:
    wrong = dish("A")
    wrong[2][5] = "sixty"
    path = book(tmp_path, [HEADER, *wrong, [""] * 8, *dish("B")])
    solved(path)
    assert [(row["line"], row["column"], row["value"], row["place"]) for row in problems(path)] == \
        [("4", "grams", "sixty", "Week, F4")]
    path = book(tmp_path, [[*HEADER, "colour"], *dish("A")])
    assert solved(path).stderr.startswith(f"{path}: Week, I1: got 'colour'; is no column of a menu")
    path = book(tmp_path, [["x"]])
    assert f"{path}: Week, row 1: expected the columns" in solved(path).stderr


@pytest.mark.parametrize("damage, words", [
    (lambda data: data[: len(data) // 2], "cannot be read as a workbook"),
    (lambda data: b"recipe,servings\n", "cannot be read as a workbook"),
    (lambda data: data.replace(b"xl/workbook.xml", b"xl/workbxxk.xml"), "cannot be read as a workbook"),
])
def test_a_damaged_workbook_is_a_fault_of_that_workbook(damage: Any, words: str, tmp_path: Path) -> None:
    path = book(tmp_path, [HEADER, *dish("A")])
    path.write_bytes(damage(path.read_bytes()))
    result = solved(path)
    assert result.exit_code == 1 and words in result.stderr
    assert result.stderr.startswith(f"{path}: ") and len(result.stderr.splitlines()) == 1


def test_a_cell_that_is_no_number_names_the_row_before(tmp_path: Path) -> None:
    path = book(tmp_path, [HEADER, *dish("A"), *dish("B")], ("<v>450</v>", "<v>many</v>"))
    result = solved(path)
    assert result.exit_code == 1
    assert result.stderr.startswith(f"{path}: Week, after row 1: cannot be read as a workbook: ValueError")


def test_a_date_is_no_weight(tmp_path: Path) -> None:
    """A spreadsheet takes 1/2 for a day: its number is no weight in grams."""
    import datetime

    rows = dish("A")
    rows[1][5] = datetime.date(2024, 2, 1)
    path = book(tmp_path, [HEADER, *rows])
    solved(path)
    assert [(row["column"], row["value"]) for row in problems(path)] == [("grams", "2024-02-01 00:00:00")]
