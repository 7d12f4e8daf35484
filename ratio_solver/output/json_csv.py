"""JSON text and CSV text, harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence

from ratio_solver.errors import written_out

Data = dict[str, object]

Rows = tuple[Sequence[str], Iterable[Mapping[str, object]]]
"""Columns of a CSV, and its rows: what is not in a row is an empty cell."""

_FORMULA = re.compile(r"(^|;)(?=[\s\"]*[=+\-@\uff1d\uff0b\uff0d\uff20])")
"""Where a spreadsheet may take what follows for a formula: at the start of a cell, or after a semicolon, at which it
may part the cells of a file. The signs count at full width too."""

_NUMBER_CELL = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?")


def as_json(data: object) -> str:
    """JSON text, readable, without NaN or infinity."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def as_csv(columns: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    """CSV text with a header; cells that a spreadsheet would run are made harmless."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(map(harmless, columns))
    for row in rows:
        writer.writerow([harmless(row.get(column)) for column in columns])
    return text.getvalue()


def harmless(cell: object) -> object:
    """A cell that no spreadsheet takes for a formula, on one line; numbers stay as they are.

    >>> harmless("=1+1"), harmless("salt;=1+1"), harmless(-2.5), harmless("-2.5"), harmless(None)
    ("'=1+1", "salt;'=1+1", -2.5, '-2.5', '')
    """
    if cell is None:
        return ""
    if not isinstance(cell, str) or _NUMBER_CELL.fullmatch(cell):
        return cell
    return _FORMULA.sub(r"\1'", written_out(cell))
