"""A menu as a CSV file: read in pieces of whole recipes, every row with its line.

The file is never held as a whole. It is cut where one recipe ends and the next begins, so that the pieces can be
solved apart. One pass finds these places and a piece is parsed again by who solves it: what is sent is text.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from ratio_solver.errors import BadInput, Fault, one_line
from ratio_solver.foods.csv_file import any_length, single_spaced
from ratio_solver.foods.sizes import CELL, MOST_COLUMNS, MOST_INGREDIENTS, size_words
from ratio_solver.menu.column_table import ColumnTable, table_of_rows

BLOCK = 1 << 20
"""Characters read at a time."""

LONGEST_ROW, LONGEST_PIECE = 1 << 22, 1 << 25
"""Characters that a row, and a piece, may grow to before their end is found."""

ROWS_OF_A_FILE = 16
"""A row that names a recipe file is as much to be solved as so many rows of ingredients."""

UNCLOSED = f"is not CSV: the row does not end within {size_words(LONGEST_ROW)}; is a quotation mark never closed?"

_NO_TEXT = re.compile("[\udc80-\udcff]")

CsvRow = list[str]


@dataclass(frozen=True)
class Opened:
    """A menu of which only the header has been read.

    Attributes
    ----------
    path : Path
        The file that is read.
    source : str
        What faults call it: another name where the file is a copy of a workbook's sheet.
    sheet : str
        The sheet of a workbook, empty for a CSV file.
    header : tuple of str
    delimiter : {",", ";"}
        Semicolons mean that a comma is a decimal sign.
    body, size : int
        Bytes before the first row, and in all.
    """

    path: Path
    source: str
    sheet: str
    header: tuple[str, ...]
    delimiter: str
    body: int
    size: int

    @property
    def by_file(self) -> bool:
        """Whether each row is a recipe file."""
        return "file" in self.header

    def place(self, line: int, column: int = 0) -> str:
        """Where a cell stands, columns counted from 1; 0 is the whole line."""
        if not self.sheet:
            return f"line {line}"
        from openpyxl.utils import get_column_letter

        return f"{self.sheet}, {f'{get_column_letter(column)}{line}' if column else f'row {line}'}"


@dataclass(frozen=True)
class Piece:
    """Whole recipes of a menu, not yet parsed.

    Attributes
    ----------
    menu : Opened
    first_line : int
        Line of the file on which the text begins.
    text : str
        Bytes that are no UTF-8 as surrogates; rows beyond the most ingredients of a recipe are blank.
    size : int
        Bytes of the file that it was.
    again : frozenset of str
        Of rows that are files the names that stand in a piece before: their recipes are told apart by their lines.
    """

    menu: Opened
    first_line: int
    text: str
    size: int
    again: frozenset[str] = frozenset()

    @property
    def length(self) -> int:
        """Its characters, those of rows that are recipe files for what they stand for."""
        return len(self.text) * (ROWS_OF_A_FILE if self.menu.by_file else 1)


def open_menu(path: str | Path, source: str = "", sheet: str = "") -> Opened:
    """Read the header of a menu.

    Parameters
    ----------
    path : path
    source, sheet : str
        What faults call the file where it is a copy of a sheet: the workbook and the sheet.

    Raises
    ------
    BadInput
        Where the file cannot be read or has no header.
    """
    name = source or str(path)
    first = f"{sheet}, row 1" if sheet else "line 1"
    try:
        size = Path(path).stat().st_size
        with Path(path).open("rb") as file:
            start = 3 if file.read(3) == b"\xef\xbb\xbf" else 0
            file.seek(start)
            line = file.readline(LONGEST_ROW + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput([Fault(name, "", "", f"cannot be read: {reason}")]) from error
    if len(line) > LONGEST_ROW:
        raise BadInput([Fault(name, first, f"more than {size_words(LONGEST_ROW)}",
                              "expected a header with the names of the columns")])
    try:
        text = line.decode("utf-8").rstrip("\r\n")
    except UnicodeDecodeError as error:
        raise BadInput([Fault(name, first, f"byte 0x{line[error.start]:02x}", "expected UTF-8 text")]) from error
    delimiter = ";" if not sheet and text.count(";") > text.count(",") else ","
    try:
        with any_length():
            cells = next(csv.reader([text], delimiter=delimiter, strict=True), [])
    except csv.Error as error:
        raise BadInput([Fault(name, first, "", f"is not CSV: {error}")]) from error
    header = tuple(single_spaced(cells))
    if len(header) > MOST_COLUMNS:
        raise BadInput([Fault(name, first, f"{len(header):,} columns", f"expected at most {MOST_COLUMNS:,}")])
    if "\0" in text or not any(header):
        raise BadInput([Fault(name, first, "", "expected a header with the names of the columns")])
    return Opened(Path(path), name, sheet, header, delimiter, start + len(line), size)


def pieces(menu: Opened, size: int = BLOCK) -> Iterator[Piece]:
    """Cut a menu into pieces of about `size` characters, each of whole recipes; of rows that are files of fewer.

    Raises
    ------
    BadInput
        Where a row or a recipe does not end within what a piece may hold.
    """
    try:
        yield from _pieces(menu, size // ROWS_OF_A_FILE if menu.by_file else size)
    except OSError as error:
        raise BadInput([Fault(menu.source, "", "", f"cannot be read: {error.strerror or error}")]) from error


def _pieces(menu: Opened, size: int) -> Iterator[Piece]:
    by_name = "recipe" in menu.header and not menu.by_file
    column = menu.header.index("recipe") if by_name else 0
    before, own, again = set[int](), set[int](), set[str]()
    text: list[str] = []
    begin = at = length = count = 0
    name, done = "", menu.body
    with menu.path.open("rb") as file, closing(_text_lines(file)) as read, any_length():
        file.seek(menu.body)
        for first, lines, row, problem in csv_rows(read, menu.delimiter):
            if problem and (len(lines) > 1 or problem == UNCLOSED):  # it has taken in rows that are not its own
                raise BadInput([Fault(menu.source, menu.place(2 + first), "", problem)])
            here = row[column].strip() if by_name and column < len(row) else ""
            if not by_name or (here and here != name):
                if length >= size:
                    yield Piece(menu, 2 + begin, "".join(text), file.tell() - done, frozenset(again))
                    text, begin, length, done = [], at, 0, file.tell()
                    before |= own
                    own, again = set(), set()
                name, count = here, 0
            if menu.by_file:
                called = name_of_file(dict(zip(menu.header, row, strict=False)))
                own.add(hash(called))
                again.update([called] if hash(called) in before else [])
            count += 1
            kept = lines if count <= MOST_INGREDIENTS + 1 else ["\n"] * len(lines)
            text += "\n" * (first - at), *kept
            length += first - at + sum(map(len, kept))
            at = first + len(lines)
            if length > LONGEST_PIECE:
                raise BadInput([Fault(menu.source, menu.place(2 + begin), f"more than {size_words(LONGEST_PIECE)}",
                                      "expected the rows of a recipe to end within that")])
    if text:
        yield Piece(menu, 2 + begin, "".join(text), menu.size - done, frozenset(again))


def name_of_file(row: Mapping[str, object]) -> str:
    """What a recipe is called whose row is a file: as the row says, else as the file."""
    named = row.get("recipe")
    return one_line(named if isinstance(named, str) and named.strip() else Path(str(row.get("file") or "")).stem)


def _text_lines(file: BinaryIO) -> Generator[str, None, None]:
    """Lines of a file from where it stands, however each ends; one that is too long for a row is broken there."""
    text = io.TextIOWrapper(file, "utf-8", "surrogateescape", newline="")
    try:
        while block := text.read(BLOCK):
            yield from io.StringIO(block + text.readline(LONGEST_ROW), newline="")
    finally:
        text.detach()


@dataclass
class _Given:
    """Lines on their way to the reader of CSV; blank ones between rows are left out."""

    lines: Iterable[str]
    blank: str
    read: int = 0
    row: list[str] = field(default_factory=list)
    size: int = 0
    ended: bool = False

    def __iter__(self) -> Iterator[str]:
        for line in self.lines:
            self.read += 1
            if self.row or line.strip(self.blank):
                self.size = len(line) + (self.size if self.row else 0)
                self.row.append(line)
                if self.size > LONGEST_ROW:
                    break
                yield line
        self.ended = True


def csv_rows(lines: Iterable[str], delimiter: str) -> Iterator[tuple[int, list[str], CsvRow, str]]:
    """Rows that are not blank: lines before each, its lines, its cells, and what is wrong where that is no CSV.

    A line that is wrong is read as well as it can be, and those after it are rows again. One that opens a quotation
    mark and never closes it has taken in what follows: then nothing can be guessed.
    """
    given = _Given(lines, f"{delimiter} \t\r\n")
    reader = csv.reader(given, delimiter=delimiter, strict=True)
    row: CsvRow | None = []
    while row is not None:
        given.row, problem = [], ""
        try:
            row = next(reader, None)
        except csv.Error as error:
            problem = UNCLOSED if given.ended else f"is not CSV: {error}"
            row = next(csv.reader(given.row[:1], delimiter=delimiter), [])
        if row is None and given.row:
            row, problem = [], UNCLOSED
        if row is not None:
            yield given.read - len(given.row), given.row, row, problem


def files_named(menu: Opened) -> Iterator[str]:
    """Names of the recipe files of a menu by file, as the rows have them."""
    if menu.by_file:
        for piece in pieces(menu):
            yield from (name for cell in parsed(piece)[0]["file"] if (name := cell.strip()) and "\0" not in name)


def parsed(piece: Piece) -> tuple[ColumnTable, dict[int, str]]:
    """Rows of a piece as a table by line; and by line what is wrong with a row as such.

    Blank rows are passed over; missing cells at the end of a row are empty.
    """
    width = len(piece.menu.header)
    lines: list[int] = []
    rows: list[CsvRow] = []
    odd: dict[int, str] = {}
    with any_length():
        for first, _, row, problem in csv_rows(io.StringIO(piece.text, newline=""), piece.menu.delimiter):
            whole = "".join(row)
            if not whole.strip() and not problem:
                continue
            line = piece.first_line + first
            sound = len(row) == width and len(whole) <= CELL and whole.isascii() and "\0" not in whole
            found = problem or ("" if sound else _odd(row, piece.menu.header))
            if found:
                odd[line] = found
                row = [cell[:CELL] for cell in row]
            row = row if whole.isprintable() else single_spaced(row)
            lines.append(line)
            rows.append(row if len(row) == width else (row + [""] * width)[:width])
    return table_of_rows(piece.menu.header, lines, rows), odd


def _odd(row: CsvRow, header: Sequence[str]) -> str:
    """What is wrong with a row as such, or nothing."""
    width = len(header)
    if any(cell.strip() for cell in row[width:]):
        return f"expected at most {width} cells, as in the header; there are {len(row)}"
    long = [f"{name} has {len(cell):,}" for name, cell in zip(header, row, strict=False) if len(cell) > CELL]
    if long:
        return f"expected cells of at most {CELL:,} characters; {', '.join(long)}"
    whole = "".join(row)
    if "\0" in whole:
        return "expected text without zero bytes"
    return "expected UTF-8 text" if _NO_TEXT.search(whole) else ""
