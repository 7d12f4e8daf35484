"""A menu as a CSV file: read in pieces of whole recipes, every row with its line.

The file is never held as a whole. It is cut where one recipe ends and the next begins, so that the pieces can be
solved apart, and a piece is parsed only by who solves it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pandas as pd

from ratio_solver.faults import BadInput, Fault

BLOCK = 1 << 20
"""Bytes read at a time."""

LONGEST = 1 << 28
"""Bytes that a piece may grow to before a place to cut it is found."""

Row = list[str]


@dataclass(frozen=True)
class Piece:
    """Whole recipes of a menu, not yet parsed.

    Attributes
    ----------
    source : str
    first_line : int
        Line of the file on which the data begins.
    header : tuple of str
    delimiter : {",", ";"}
        Semicolons mean that a comma is a decimal sign.
    data : bytes
        UTF-8.
    """

    source: str
    first_line: int
    header: tuple[str, ...]
    delimiter: str
    data: bytes

    @property
    def decimal_comma(self) -> bool:
        """Whether a comma is a decimal sign."""
        return self.delimiter == ";"


@dataclass(frozen=True)
class Opened:
    """A menu of which only the header has been read."""

    source: str
    header: tuple[str, ...]
    delimiter: str
    first_line: int
    body: int
    size: int


def open_menu(path: str | Path) -> Opened:
    """Read the header of a menu.

    Raises
    ------
    BadInput
        Where the file cannot be read or has no header.
    """
    source = str(path)
    try:
        size = Path(path).stat().st_size
        with Path(path).open("rb") as file:
            start = 3 if file.read(3) == b"\xef\xbb\xbf" else 0
            file.seek(start)
            line = file.readline(BLOCK)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput([Fault(source, "", "", f"cannot be read: {reason}")]) from error
    try:
        text = line.decode("utf-8").rstrip("\r\n")
    except UnicodeDecodeError as error:
        raise BadInput([Fault(source, "line 1", f"byte 0x{line[error.start]:02x}", "expected UTF-8 text")]) from error
    delimiter = ";" if text.count(";") > text.count(",") else ","
    try:
        cells = next(csv.reader([text], delimiter=delimiter, strict=True), [])
    except csv.Error as error:
        raise BadInput([Fault(source, "line 1", "", f"is not CSV: {error}")]) from error
    header = tuple(cell.strip() for cell in cells)
    if "\0" in text or not any(header):
        raise BadInput([Fault(source, "line 1", "", "expected a header with the names of the columns")])
    return Opened(source, header, delimiter, 2, start + len(line), size)


def pieces(menu: Opened, size: int) -> Iterator[Piece]:
    """Cut a menu into pieces of about `size` bytes, each of whole recipes."""
    with Path(menu.source).open("rb") as file:
        file.seek(menu.body)
        yield from _cut(file, menu, size)


def files_named(menu: Opened, size: int) -> Iterator[str]:
    """Names of the recipe files of a menu by file, as the rows have them."""
    if "file" in menu.header:
        column = menu.header.index("file")
        for piece in pieces(menu, size):
            yield from (name for row in parsed(piece)[1] if (name := row[column].strip()) and "\0" not in name)


def _cut(file: BinaryIO, menu: Opened, size: int) -> Iterator[Piece]:
    kept, line = b"", menu.first_line
    while True:
        block = file.read(max(size, 1))
        kept += block
        end = len(kept) if not block else _boundary(kept, menu, size // 2)
        if end:
            yield Piece(menu.source, line, menu.header, menu.delimiter, kept[:end])
            line += kept.count(b"\n", 0, end)
            kept = kept[end:]
        if not block:
            return
        if len(kept) > LONGEST:
            raise BadInput([Fault(menu.source, f"line {line}", "",
                                  "expected recipes of a reasonable size; is a quotation mark never closed?")])


def _boundary(data: bytes, menu: Opened, least: int) -> int:
    """Where the last recipe of a block begins, as far as can be told; 0 where it cannot."""
    if "recipe" not in menu.header or "file" in menu.header:
        return _row_ends(data, len(data))
    column = menu.header.index("recipe")
    end = _row_ends(data, len(data))
    following = None
    while end > least:
        before = _row_ends(data, end - 1)
        name = _cell(data[before:end], column, menu.delimiter)
        if following and name and name != following:
            return end
        following, end = name or None, before
    return 0


def _row_ends(data: bytes, before: int) -> int:
    """The last end of a row before a place: a line end outside quotation marks; 0 where there is none."""
    end = data.rfind(b"\n", 0, before) + 1
    quotes = data.count(b'"', 0, end)
    while end and quotes % 2:
        earlier = data.rfind(b"\n", 0, end - 1) + 1
        quotes -= data.count(b'"', earlier, end)
        end = earlier
    return end


def _cell(row: bytes, column: int, delimiter: str) -> str:
    cells = next(csv.reader([row.decode("utf-8", "surrogateescape")], delimiter=delimiter), [])
    return cells[column].strip() if column < len(cells) else ""


def parsed(piece: Piece) -> tuple[list[int], list[Row], dict[int, str]]:
    """Rows of a piece with their lines; and by line what is wrong with a row as such.

    Blank rows are passed over; missing cells at the end of a row are empty.

    Raises
    ------
    BadInput
        Where the piece is not CSV.
    """
    text = piece.data.decode("utf-8", "surrogateescape")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=piece.delimiter, strict=True)
    width = len(piece.header)
    lines: list[int] = []
    rows: list[Row] = []
    odd: dict[int, str] = {}
    line = piece.first_line
    try:
        for row in reader:
            if "".join(row).strip():
                lines.append(line)
                if len(row) != width:
                    if any(cell.strip() for cell in row[width:]):
                        odd[line] = f"expected at most {width} cells, as in the header; there are {len(row)}"
                    row = (row + [""] * width)[:width]
                rows.append(row)
            line = piece.first_line + reader.line_num
    except csv.Error as error:
        raise BadInput([Fault(piece.source, f"line {line}", "", f"is not CSV: {error}")]) from error
    if not text.isascii():
        for line, row in zip(lines, rows, strict=True):
            if not "".join(row).isascii() and any("\udc80" <= sign <= "\udcff" for cell in row for sign in cell):
                odd[line] = "expected UTF-8 text"
    if "\0" in text:
        odd |= {line: "expected text without zero bytes" for line, row in zip(lines, rows, strict=True)
                if any("\0" in cell for cell in row)}
    return lines, rows, odd


def frame_of(header: Sequence[str], lines: list[int], rows: list[Row]) -> pd.DataFrame:
    """Rows as a data frame of text with the line of each as its index."""
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(header)
    data = {}
    for name, column in zip(header, columns, strict=True):
        if name:
            cells = np.empty(len(rows), dtype=object)
            cells[:] = column
            data[name] = cells
    return pd.DataFrame(data, index=pd.Index(lines, name="line"), dtype=object)
