"""Tables as columns: what a menu is read into and what its answers are laid out in.

A frame of pandas is made of one, or one of a frame, only where the library is given or asked for frames: loading pandas
takes longer than solving a small menu.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ratio_solver.lp.model import Ints

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class ColumnTable:
    """Rows of a menu or of one of its tables, column by column.

    Attributes
    ----------
    index : ndarray of int, shape (rows,)
        Line of each row in a menu's file; of a table with answers, the number of its recipe in the menu.
    columns : mapping of name to ndarray, shape (rows,)
        A blank cell of a frame is None.
    """

    index: Ints
    columns: Mapping[str, np.ndarray]

    def __len__(self) -> int:
        return len(self.index)

    def __getitem__(self, column: str) -> np.ndarray:
        return self.columns[column]

    def with_columns(self, **columns: np.ndarray) -> ColumnTable:
        """The same rows with other columns beside these, or in their place."""
        return replace(self, columns={**self.columns, **columns})

    def records(self, rows: slice = slice(None)) -> list[dict[str, Any]]:
        """Rows as mappings of column to cell, in plain types."""
        cells = [column[rows].tolist() for column in self.columns.values()]
        return [dict(zip(self.columns, row, strict=True)) for row in zip(*cells, strict=True)]

    def frame(self) -> pd.DataFrame:
        """The same as a frame."""
        import pandas as pd

        return pd.DataFrame(dict(self.columns), index=self.index, copy=False)


def table_of_rows(header: Sequence[str], lines: Sequence[int], rows: Sequence[Sequence[str]]) -> ColumnTable:
    """Rows of text with the line of each; columns without a name are left out."""
    cells = np.empty((len(rows), len(header)), dtype=object)
    cells[:] = rows if rows else cells
    return ColumnTable(np.array(lines, dtype=np.int64),
                       {name: column for name, column in zip(header, cells.T, strict=True) if name})


def table_of_frame(frame: pd.DataFrame) -> ColumnTable:
    """A menu that is a frame; its index, where that is called "line", has the line of each row."""
    lines = frame.index.to_numpy() if frame.index.name == "line" else np.arange(2, len(frame) + 2)
    blank = frame.isna()
    columns = {str(name): np.empty(len(frame), dtype=object) for name in frame.columns}
    for name, cells in frame.to_dict("list").items():
        columns[str(name)][:] = cells
        columns[str(name)][blank[name]] = None
    return ColumnTable(lines, columns)


def joined_tables(tables: Sequence[ColumnTable]) -> ColumnTable:
    """The rows of at least one table with the same columns, by their index; rows with the same in their order."""
    index = np.concatenate([table.index for table in tables])
    order = np.argsort(index, kind="stable")
    filled = [table for table in tables if len(table)] or tables[:1]
    columns = {name: np.concatenate([table[name] for table in filled])[order] for name in tables[0].columns}
    return ColumnTable(index[order], columns)


def first_alike(cells: Sequence[Hashable]) -> tuple[Ints, dict[Any, int]]:
    """For each cell the place of the first that is the same; and the distinct cells with these places."""
    distinct: dict[Any, int] = {}
    places = map(distinct.setdefault, cells, range(len(cells)))
    return np.fromiter(places, np.int64, len(cells)), distinct
