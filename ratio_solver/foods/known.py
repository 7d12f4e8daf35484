"""The tables that come with the package, known by their hash: the rows are checked, and are read one by one.

`data/checked.csv` has the SHA-256 of each table and the nutrient columns that its foods have. It is written with the
tables (``python -m tools.composition``), and the tests check every row. A table that has another hash, because somebody
has changed it, is read and checked in whole like any other.
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Mapping
from functools import lru_cache, partial
from pathlib import Path

from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.csv_file import CsvFile, single_spaced
from ratio_solver.foods.food import Food
from ratio_solver.foods.rows import RowReader
from ratio_solver.foods.sequence import Foods, Unread

CHECKED = "checked.csv"
FILE, HASH, COLUMNS = "file", "sha256", "columns"
"""Headings of it; the columns are parted by spaces."""

_HEAD = re.compile(r'(?:"([^"]*)"|([^",]*)),([^",]*),')
"""Name and id, with which a row begins."""


def known_foods(path: Path) -> Foods | None:
    """The foods of a table that comes with the package, as it came; None for any other and for one that was changed."""
    if path.parent != bundled_path().parent:
        return None
    checked = _checked().get(path.name)
    if checked is None:
        return None
    data = path.read_bytes()
    if hash_of(data) != checked[HASH]:
        return None
    header, *lines = data.decode("utf-8").removesuffix("\n").split("\n")
    reader = RowReader(CsvFile(str(path), tuple(header.split(",")), (), False))
    return Foods(map(partial(_unread, reader), lines), tuple(checked[COLUMNS].split()))


def hash_of(data: bytes) -> str:
    """The SHA-256 of a table, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def _unread(reader: RowReader, line: str) -> Unread:
    head = _HEAD.match(line)
    assert head is not None, line
    return Unread(head[1] or head[2], head[3], line, partial(_read, reader, line))


def _read(reader: RowReader, line: str) -> Food:
    cells = single_spaced(next(csv.reader([line])))
    return reader.food(0, dict(zip(reader.file.header, cells, strict=True)))[0]


@lru_cache(maxsize=1)
def _checked() -> Mapping[str, Mapping[str, str]]:
    """What is recorded of each table, by its file."""
    try:
        text = bundled_path(CHECKED).read_text("utf-8")
    except OSError:
        return {}
    return {row[FILE]: row for row in csv.DictReader(text.splitlines())}
