"""The tables of a menu as CSV text or as a workbook."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ratio_solver.errors import BadInput, Fault
from ratio_solver.output.json_csv import harmless

if TYPE_CHECKING:
    from ratio_solver.menu.results import MenuTables

TABLES = ("weights", "servings", "limits", "problems")
"""The tables of a menu, each a file of its own as CSV."""

NUMBERS = {
    "weights": ("start", "grams", "min", "max"),
    "limits": ("limit", "actual", "slack", "price"),
    "problems": ("line",),
}
"""Columns whose cells are numbers in a workbook; of the servings it is all but `TEXTS`."""

TEXTS = ("recipe", "outcome", "unit", "proven", "message", "at_least", "allergens", "warnings",
         "reckoned", "caution")

SHEET_ROWS = 1_048_576
"""Rows that a worksheet can hold."""


def header_line(columns: Sequence[str]) -> str:
    """The header of a table as CSV."""
    return csv_lines([[harmless(name)] for name in columns])


def table_text(frame: pd.DataFrame) -> str:
    """The rows of a table as CSV, without the header; text cells made harmless for spreadsheets."""
    return csv_lines([_cells(frame[name].to_numpy()) for name in frame.columns])


def csv_lines(columns: Sequence[Sequence[object]]) -> str:
    """Columns of cells as lines of CSV."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(zip(*columns, strict=True))
    return text.getvalue()


def _cells(column: np.ndarray) -> list[object]:
    """Cells of a column: blank where unknown, text that a spreadsheet would run made harmless."""
    values: list[object] = column.tolist()
    if column.dtype.kind == "f":
        return ["" if value != value else value for value in values] if np.isnan(column).any() else values
    if column.dtype.kind in "biu":
        return values
    codes, distinct = pd.factorize(column, use_na_sentinel=False)
    shown = np.empty(len(distinct), dtype=object)
    shown[:] = ["" if value != value else harmless(value) for value in distinct.tolist()]
    cells: list[object] = shown[codes].tolist()
    return cells


def rendered(tables: MenuTables) -> dict[str, bytes]:
    """Every table of a part of a menu as CSV lines, UTF-8."""
    return {name: table_text(getattr(tables, name)).encode("utf-8", "replace") for name in TABLES}


def workbook(folder: Path, path: Path) -> None:
    """Put the tables of a folder into one workbook, a sheet each.

    Raises
    ------
    BadInput
        Where the extra `xlsx` is not installed, or a table has more rows than a sheet.
    """
    openpyxl = spreadsheets()
    book = openpyxl.Workbook(write_only=True)
    for name in TABLES:
        sheet = book.create_sheet(name)
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            rows = csv.reader(file)
            header = next(rows)
            sheet.append([_text_cell(sheet, column) for column in header])
            numbers = [column in NUMBERS.get(name, ()) or (name == "servings" and column not in TEXTS)
                       for column in header]
            for number, row in enumerate(rows, 2):
                if number > SHEET_ROWS:
                    raise BadInput([Fault(str(path), name, "", f"has more than the {SHEET_ROWS:,} rows of a sheet: "
                                          f"use --format csv")])
                sheet.append([(float(cell) if cell else None) if is_number else _text_cell(sheet, cell)
                              for cell, is_number in zip(row, numbers, strict=True)])
    book.save(path)


def _text_cell(sheet: Any, text: str) -> object:
    """Text that stays text: a name like 007, nan or #N/A is no number and no error."""
    if text[:1].isalnum() and text.isprintable():
        return text
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(sheet, value="".join(sign if sign >= " " or sign in "\t\n\r" else "\ufffd" for sign in text))
    cell.data_type = "s"
    return cell


def spreadsheets() -> Any:
    """The library for workbooks."""
    try:
        import openpyxl
    except ImportError as error:
        wanted = "workbooks need the extra: pip install '.[xlsx]' in a clone of the repository"
        raise BadInput([Fault("menu", "", "", wanted)]) from error
    return openpyxl


def caution_text(lines: Iterable[str]) -> str:
    """Cautions, a paragraph each."""
    return "\n\n".join(lines) + "\n"


def closing_line(counts: Mapping[str, int]) -> str:
    """What became of a menu, in one line.

    >>> closing_line({"solved": 40, "impossible": 1, "unreadable": 0})
    '41 recipes: 40 solved, 1 impossible, 0 unreadable'
    """
    total = sum(counts.values())
    return f"{total:,} recipe{'' if total == 1 else 's'}: " + ", ".join(f"{n:,} {name}" for name, n in counts.items())
