"""Workbooks: a menu in the first sheet, copied into a CSV file within what may be held; and the tables of a menu."""

from __future__ import annotations

import csv
import re
import sys
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from xml.parsers import expat

from ratio_solver.errors import BadInput, Fault, lacks_extra, unforeseen
from ratio_solver.foods.csv_file import single_spaced
from ratio_solver.foods.sizes import BOOK_BYTES, CELL, MOST_COLUMNS, SHEET_BYTES, SHEET_COLUMNS, SHEET_ROWS, size_words
from ratio_solver.menu.read import Opened, open_menu
from ratio_solver.menu.results import TABLE_NAMES, TEXT_COLUMNS

_SHEET = re.compile(r"xl/worksheets/[^/]+\.xml")
_BLOCK = 1 << 18
PARTS_OF_A_CELL = 8
"""Most elements of XML for a cell: its value, its formula, the pieces of its text."""
CELLS = 1 << 25
"""Most cells of a sheet up to the last of each row, blank ones too."""
TEXT = 1 << 20
"""Most characters of one element; a cell that has more than it may is a fault of the cell up to here."""
_COLUMN = re.compile("[A-Z]{1,3}")


def open_sheet(path: Path, copy: Path) -> Opened:
    """The menu in the first sheet of a workbook.

    Every row of the sheet is read, whatever the workbook says of its dimensions.

    Parameters
    ----------
    path : path
    copy : path
        Where the sheet is written as CSV, its rows on lines of the same number. Faults name the workbook.

    Raises
    ------
    BadInput
        Where the extra `xlsx` is not installed, the file is no workbook, or one that is larger than may be held.
    """
    openpyxl = spreadsheets()
    source, place = str(path), ""
    try:
        with zipfile.ZipFile(path) as archive:
            _refuse_larger(source, archive)
        with _long_numbers(), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of what a menu does not use: validations, drawings
            book = openpyxl.load_workbook(path, read_only=True, data_only=True)
            sheet = book.worksheets[0]
            place = sheet.title
            sheet.reset_dimensions()
            with copy.open("w", encoding="utf-8", newline="") as file:
                writer = csv.writer(file, lineterminator="\n")
                width, length = MOST_COLUMNS, 0
                for number, row in enumerate(sheet.iter_rows(values_only=True), 1):
                    place = f"{sheet.title}, after row {number}"
                    cells = _row_cells(row, width)
                    writer.writerow(cells)
                    width = len(cells) if number == 1 else width
                    length += len(cells) + sum(map(len, cells))
                    if length > SHEET_BYTES:
                        raise BadInput([Fault(source, f"{sheet.title}, row {number}", "",
                                              f"expected rows of at most {size_words(SHEET_BYTES)} as text")])
            place = sheet.title
            book.close()
    except BadInput:
        raise
    except Exception as error:  # the library raises whatever a damaged workbook makes it raise
        raise BadInput([Fault(source, place, "", _damage(error))]) from error
    return open_menu(copy, source, place)


def _damage(error: Exception) -> str:
    """Why a workbook cannot be read."""
    if isinstance(error, OSError):
        return f"cannot be read: {error.strerror or error}"
    if isinstance(error, zipfile.BadZipFile):
        return f"cannot be read as a workbook: {error}"
    return "cannot be read as a workbook: " + unforeseen(error).removeprefix("stopped by ").partition("; this is")[0]


def _row_cells(row: Sequence[object], width: int) -> list[str]:
    """A row as text, without the empty cells at its end; of one wider than the header the cells that show it."""
    cells = single_spaced(["" if cell is None else str(cell) for cell in row])
    while cells and not cells[-1]:
        cells.pop()
    return cells if len(cells) <= width else [*cells[:width], cells[-1]]


@contextmanager
def _long_numbers() -> Iterator[None]:
    """Let numbers of as many digits as a cell may have be read: they are a fault of the cell, not of the workbook."""
    before = sys.get_int_max_str_digits()
    sys.set_int_max_str_digits(2 * CELL)
    try:
        yield
    finally:
        sys.set_int_max_str_digits(before)


def _refuse_larger(source: str, archive: zipfile.ZipFile) -> None:
    """Refuse what would take too much memory or never end: by the sizes unpacked, then by rows and cells."""
    parts = [part for part in archive.infolist() if not part.filename.startswith("xl/media/")]
    sheets = [part for part in parts if _SHEET.fullmatch(part.filename)]
    rest = sum(part.file_size for part in parts if part not in sheets)
    for size, most in [(rest, BOOK_BYTES), *((sheet.file_size, SHEET_BYTES) for sheet in sheets)]:
        if size > most:
            raise BadInput([Fault(source, "", f"{size_words(size)} unpacked", f"expected at most {size_words(most)}; "
                                  "save the menu as CSV, which may be of any length")])
    for sheet in sheets:
        with archive.open(sheet) as file:
            _Counted(source, Path(sheet.filename).stem).read(file)


class _Counted:
    """Counts the rows and cells of a sheet without keeping them."""

    def __init__(self, source: str, sheet: str) -> None:
        self.source, self.sheet = source, sheet
        self.row = self.parts = self.others = self.cells = self.length = 0
        self.inside, self.last = False, ""

    def read(self, file: Any) -> None:
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.StartElementHandler, parser.EndElementHandler = self._begin, self._end
        parser.StartDoctypeDeclHandler, parser.CharacterDataHandler = self._doctype, self._text
        parser.buffer_text = True
        while block := file.read(_BLOCK):
            parser.Parse(block)
        parser.Parse(b"", True)

    def _doctype(self, *_: object) -> None:
        raise BadInput([Fault(self.source, self.sheet, "a document type", "expected a workbook without")])

    def _text(self, text: str) -> None:
        self.length += len(text)
        self._refuse(f"{self.length:,} characters in row {self.row}", self.length, TEXT, "in a cell")

    def _begin(self, name: str, attributes: dict[str, str]) -> None:
        self.length = 0
        if name.endswith(" row"):
            written = attributes.get("r", "")
            self.row = int(written) if written.isdecimal() and len(written) < 20 else self.row + 1
            self.inside, self.parts, self.last = True, 0, ""
            self._refuse(f"row {self.row:,}", self.row, SHEET_ROWS, "rows, as a sheet can have")
        elif self.inside:
            self.parts += 1
            self.last = attributes.get("r", self.last)
            self._refuse(f"{self.parts:,} parts in row {self.row}", self.parts, PARTS_OF_A_CELL * SHEET_COLUMNS,
                         f"parts, {PARTS_OF_A_CELL} for each of {SHEET_COLUMNS:,} cells")
        else:
            self.others += 1
            self._refuse(f"{self.others:,} parts beside the rows", self.others, SHEET_ROWS, "")

    def _end(self, name: str) -> None:
        if name.endswith(" row"):
            self.inside = False
            self.cells += max(self.parts, _column_number(self.last))
            self._refuse(f"{self.cells:,} cells up to row {self.row}", self.cells, CELLS, "with the blank ones")

    def _refuse(self, got: str, count: int, most: int, what: str) -> None:
        if count > most:
            raise BadInput([Fault(self.source, self.sheet, got, f"expected at most {most:,} {what}".rstrip())])


def _column_number(cell: str) -> int:
    """Number of the column of a cell such as "AB7", counted from 1; 0 where there is none."""
    from openpyxl.utils import column_index_from_string

    found = _COLUMN.match(cell)
    return column_index_from_string(found[0]) if found else 0


def write_workbook(folder: Path) -> None:
    """Put the tables of a folder into one workbook in it, a sheet each, in place of the files.

    Raises
    ------
    BadInput
        Where the extra `xlsx` is not installed, or a table has more rows than a sheet.
    """
    openpyxl = spreadsheets()
    book = openpyxl.Workbook(write_only=True)
    for name in TABLE_NAMES:
        sheet = book.create_sheet(name)
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            rows = csv.reader(file)
            header = next(rows)
            sheet.append([_text_cell(sheet, column) for column in header])
            numbers = [column not in TEXT_COLUMNS for column in header]
            for number, row in enumerate(rows, 2):
                if number > SHEET_ROWS:
                    raise BadInput([Fault(str(folder / "menu.xlsx"), name, "",
                                          f"has more than the {SHEET_ROWS:,} rows of a sheet: use --format csv")])
                sheet.append([(float(cell) if cell else None) if is_number else _text_cell(sheet, cell)
                              for cell, is_number in zip(row, numbers, strict=True)])
        (folder / f"{name}.csv").unlink()
    book.save(folder / "menu.xlsx")


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
        raise lacks_extra("menu", "workbooks", "xlsx") from error
    return openpyxl
