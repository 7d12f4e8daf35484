"""CSV files as spreadsheets write them: with or without a byte-order mark, with commas or semicolons.

What is no text of ours is told by its first bytes (signatures from memory).
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, one_line, shown
from ratio_solver.foods.sizes import CELL, MOST_COLUMNS, MOST_FAULTS, MOST_ROWS, TABLE_BYTES, refuse_larger

WEB_PAGE = "a web page: ratio-solver draft reads it"

SIGNATURES = (
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"), (b"\xff\xd8\xff", "a JPEG picture"), (b"GIF8", "a GIF picture"),
    (b"%PDF-", "a PDF: copy its text into a file"), (b"{\\rtf", "a document in RTF: save it as plain text, UTF-8"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a document or a spreadsheet of an old office program: save it as CSV UTF-8"),
    (b"\x1f\x8b", "a compressed file: unpack it first"),
    (b"\xff\xfe", "text in UTF-16: save it as UTF-8"), (b"\xfe\xff", "text in UTF-16: save it as UTF-8"),
)
"""First bytes and what a file is that has them."""

_PAGE = re.compile(rb"\s*(?:<\?xml[^>]*>\s*)?(?:<!--.*?-->\s*)*<(?:!doctype\s+html|html|head|body)\b", re.I | re.S)

_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(\.[0-9]{3})+(,[0-9]*)?$")
"""A number with a point for thousands, as tables with a decimal comma may have it."""


@dataclass(frozen=True)
class CsvFile:
    """Rows of a CSV file, each with the number of the line it starts on.

    Attributes
    ----------
    source : str
        The file's name as given.
    header : tuple of str
    rows : tuple of (int, dict of str to str)
        Cells have single spaces; a cell that the row lacks is empty.
    decimal_comma : bool
        True where fields are parted by semicolons, so that a comma is a decimal sign.
    """

    source: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]
    decimal_comma: bool


def read_text(path: str | Path, most: int = TABLE_BYTES, *, page: bool = False) -> str:
    """Text of a UTF-8 file, with or without a byte-order mark; anything else is a fault, as are over `most` bytes.

    A web page is one too, unless it is what is wanted (`page`).
    """
    try:
        with Path(path).open("rb") as file:
            data = file.read(most + 1)
            size = max(len(data), os.fstat(file.fileno()).st_size)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput([Fault(str(path), "", "", f"cannot be read: {reason}")]) from error
    refuse_larger(str(path), size, most)
    if (kind := file_kind_of(data)) and not (page and kind == WEB_PAGE):
        raise BadInput([Fault(str(path), "", "", f"this is {kind}")])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        fault = Fault(str(path), f"line {line}", f"byte 0x{data[error.start]:02x}", "expected UTF-8 text")
        raise BadInput([fault]) from error


def read_csv(path: str | Path) -> CsvFile:
    """Read a CSV file; the fields are parted by commas, or by semicolons where the header is.

    Raises
    ------
    BadInput
        Where the file cannot be read, has no header, repeats a column, or a row has too many cells.
    """
    source = str(path)
    text = read_text(path)
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise BadInput([Fault(source, f"line {line}", "a zero byte", "expected a text file")])
    first = text.split("\n", 1)[0]
    semicolons = first.count(";") > first.count(",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=";" if semicolons else ",", strict=True)
    faults: list[Fault] = []
    rows: list[tuple[int, dict[str, str]]] = []
    header: tuple[str, ...] = ()
    line = 1
    try:
        with any_length():
            for cells in reader:
                stripped = single_spaced(cells)
                if not header:
                    header = tuple(stripped)
                    faults.extend(_header_faults(source, header))
                elif any(stripped):
                    faults.extend(_row_faults(source, line, header, stripped))
                    padded = stripped + [""] * (len(header) - len(stripped))
                    rows.append((line, dict(zip(header, padded, strict=False))))
                if len(rows) > MOST_ROWS:
                    raise BadInput([Fault(source, f"line {line}", "", f"expected at most {MOST_ROWS:,} rows")])
                if len(faults) >= MOST_FAULTS:
                    break
                line = reader.line_num + 1
    except csv.Error as error:
        faults.append(Fault(source, f"line {line}", "", f"is not CSV: {error}"))
    if not any(header):
        faults.append(Fault(source, "line 1", "", "expected a header with the names of the columns"))
    if faults:
        raise BadInput(faults)
    return CsvFile(source, header, tuple(rows), semicolons)


@contextmanager
def any_length() -> Iterator[None]:
    """Let the library read cells of any length: our limit is a fault of the cell, its own one of the whole file."""
    before = csv.field_size_limit(min(sys.maxsize, 2**31 - 1))
    try:
        yield
    finally:
        csv.field_size_limit(before)


def single_spaced(cells: list[str]) -> list[str]:
    """Cells without outer blanks, each on one line and with nothing unseen.

    >>> single_spaced([" butter ", "two\\nlines"])
    ['butter', 'two lines']
    """
    if "".join(cells).isprintable():
        return [cell.strip() for cell in cells]
    return [cell.strip() if cell.isprintable() else one_line(cell) for cell in cells]


def _row_faults(source: str, line: int, header: tuple[str, ...], cells: list[str]) -> list[Fault]:
    found = [Fault(source, f"line {line}, {name}", f"{len(cell):,} characters", f"expected at most {CELL:,}")
             for name, cell in zip(header, cells, strict=False) if len(cell) > CELL]
    if len(cells) > len(header) and any(cells[len(header):]):
        found.append(Fault(source, f"line {line}", f"{len(cells)} cells",
                           f"expected at most {len(header)}, as in the header"))
    return found


def _header_faults(source: str, header: tuple[str, ...]) -> list[Fault]:
    named = [name for name in header if name]
    if len(header) > MOST_COLUMNS:
        return [Fault(source, "line 1", f"{len(header):,} columns", f"expected at most {MOST_COLUMNS:,}")]
    return [
        Fault(source, "line 1", shown(name), "expected each column once")
        for name in dict.fromkeys(named)
        if named.count(name) > 1
    ]


def number(text: str, decimal_comma: bool = False) -> float | None:
    """A finite decimal number, or None where the text is none.

    With a decimal comma a point before three digits is refused: where it groups thousands, 1.200 is not 1.2.

    >>> number("1.5"), number("1,5"), number("1,5", decimal_comma=True), number("nan")
    (1.5, None, 1.5, None)
    >>> number("1.200", decimal_comma=True), number("1.200")
    (None, 1.2)
    """
    if decimal_comma and _GROUPED.match(text.strip()):
        return None
    plain = text.replace(",", ".", 1) if decimal_comma else text
    try:
        value = float(plain)
    except ValueError:
        return None
    return value if math.isfinite(value) and plain.isascii() and "_" not in plain else None


def file_kind_of(data: bytes) -> str:
    """What a file is that is neither a table nor a recipe, or nothing.

    >>> file_kind_of(b"%PDF-1.7"), file_kind_of(b"title = 'soup'"), file_kind_of(b"<!DOCTYPE html><html>")
    ('a PDF: copy its text into a file', '', 'a web page: ratio-solver draft reads it')
    """
    if data.startswith(b"PK\x03\x04"):
        inside = data[:4000]
        return ("a spreadsheet: save it as CSV UTF-8" if b"xl/" in data or b"opendocument.spreadsheet" in inside else
                "a document: save it as plain text, UTF-8" if b"word/" in data or b"opendocument.text" in inside else
                "a packed file: unpack it first")
    if _PAGE.match(data.removeprefix(b"\xef\xbb\xbf")[:2000]):
        return WEB_PAGE
    return next((kind for begin, kind in SIGNATURES if data.startswith(begin)), "")
