"""The composition table: foods by name and id, read from CSV and checked row by row.

The tables that come with the package are known by their hash: their rows are checked, and are read one by one.
`data/checked.csv` has the SHA-256 of each and the nutrient columns that its foods have. It is written with the tables
(``python -m tools.composition``), and the tests check every row. A table that has another hash, because somebody has
changed it, is read and checked in whole like any other.
"""

from __future__ import annotations

import csv
import difflib
import os
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache, partial
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, collected, one_line
from ratio_solver.foods.bundled import BUNDLED, bundled_path, bundled_rows, hash_of, table_path
from ratio_solver.foods.csv_file import CsvFile, read_csv, single_spaced
from ratio_solver.foods.food import Food, FoodRow, Foods
from ratio_solver.foods.layers import Layer, laid_over
from ratio_solver.foods.matching import Match, Names
from ratio_solver.foods.rows import RowReader, layer_in, other_names

VARIABLE = "RATIO_SOLVER_FOODS"
"""Environment variable that names tables of one's own, for every command; --foods and a recipe's own win."""

CHECKED = "checked.csv"
"""Columns file, sha256 and columns: the nutrient columns of a table, parted by spaces."""

_HEAD = re.compile(r'(?:"([^"]*)"|([^",]*)),([^",]*),')
"""Name and id, with which a row begins."""


@dataclass(frozen=True)
class FoodTable:
    """Foods of one or more composition tables; a later table wins.

    Attributes
    ----------
    foods : sequence of Food
        In the order of the tables, names and ids unique; those of the package's own tables are read when asked for.
    layers : tuple of layer
        The tables that were loaded, the first one the lowest; none where the foods are the only one.
    named : tuple of str
        The tables of a recipe among them, as `with_tables` took them.
    files : tuple of path
        Of all these tables, in the order in which they were laid over one another.
    lowest_files : int
        How many of them make the lowest layer, over which those of a recipe go.
    """

    foods: Sequence[Food] = field(repr=False)
    layers: tuple[Layer, ...] = field(default=(), repr=False, compare=False)
    named: tuple[str, ...] = field(default=(), compare=False)
    files: tuple[Path, ...] = field(default=(), repr=False, compare=False)
    lowest_files: int = field(default=1, repr=False, compare=False)

    def with_tables(self, tables: Sequence[str | Path]) -> FoodTable:
        """This table with those that a recipe names laid over its lowest and under the rest, the cook's own.

        Parameters
        ----------
        tables : sequence of str or path
            As `load_foods` takes them; those of another recipe go.

        Raises
        ------
        BadInput
            With every fault of every table.
        """
        named = tuple(map(str, tables))
        if named == self.named:
            return self
        lowest, *own = loaded = self.layers or (self._rows,)
        before = self.files[:self.lowest_files]
        after = self.files[self.lowest_files + len(self.named):]
        files = (*before, *map(table_path, tables), *after)
        return FoodTable(laid_over((lowest, *_layers(tables), *own)), loaded, named, files, self.lowest_files)

    def under(self, table: str | Path) -> FoodTable:
        """This table with one more laid over all of it; those of a recipe are laid in again when it is read.

        Raises
        ------
        BadInput
            With every fault of that table.
        """
        layers = (*(self.layers or (self._rows,)), *_layers([table]))
        own = self.files[self.lowest_files + len(self.named):]
        files = (*self.files[:self.lowest_files], *own, table_path(table))
        return FoodTable(laid_over(layers), layers, (), files, self.lowest_files)

    @cached_property
    def _rows(self) -> Foods:
        return self.foods if isinstance(self.foods, Foods) else Foods(self.foods)

    def place(self, name: str) -> int | None:
        """Where the food of this name or id stands (capitals and outer spaces do not matter), or None."""
        return self._rows.places.get(one_line(name).lower())

    def get(self, name: str) -> Food | None:
        """The food of this name or id, or None."""
        place = self.place(name)
        return None if place is None else self.foods[place]

    def find(self, name: str) -> Food | None:
        """The food of this name or id, or the one of which a cook's words are surely another name, or None."""
        if (food := self.get(name)) is not None:
            return food
        meant = self.names.match(name, 1)
        return meant.food if meant.sure else None

    def near(self, name: str, most: int = 3) -> list[str]:
        """Names that the cook may have meant, nearest first."""
        meant = self.names.match(name, most)
        return [food.name for food in (meant.food, *meant.others) if food][:most]

    def unknown(self, name: str) -> str:
        """What to say of a name that is not in the table."""
        near = self.near(name)
        elsewhere = next((table for table in BUNDLED if bundled_table(BUNDLED[table]).get(name)), "")
        return ("is not in the composition table"
                + (f"; did you mean {' or '.join(map(repr, near))}?" if near else "")
                + (f'; the table "{elsewhere}" has it: foods = ["{elsewhere}"] in the recipe, or --foods {elsewhere}'
                   if elsewhere else ""))

    def search(self, words: str) -> list[Food]:
        """Foods whose names, id or role hold all the words; the one that the words name first."""
        return self.names.search(words)

    @cached_property
    def names(self) -> Names:
        """The names of all foods, to be looked up by a cook's words."""
        return Names(self._rows)

    def with_role(self, role: str) -> tuple[Food, ...]:
        """Foods of a role ("fat", "sweetener"), in the table's order."""
        return self._rows.with_role(role)

    @property
    def columns(self) -> tuple[str, ...]:
        """Nutrient columns that at least one food of a table has, a figure or a bound, in the tables' order."""
        return self._rows.columns

    def __iter__(self) -> Iterator[Food]:
        return iter(self.foods)

    def __len__(self) -> int:
        return len(self.foods)


def match(table: FoodTable, words: str, most: int = 3) -> Match:
    """The food that a cook's words mean.

    Parameters
    ----------
    table : FoodTable
    words : str
        Without amount and unit: "large eggs", "tinned chopped tomatoes, drained", "Schlagsahne".
    most : int
        Foods named at most, the one meant and the others together.

    Returns
    -------
    Match
        The food, how sure that is, and what else it may be.

    Examples
    --------
    >>> from ratio_solver import load_foods, match
    >>> found = match(load_foods(), "tinned chopped tomatoes, drained")
    >>> found.food.name, found.grade
    ('tomatoes, canned', 'other name')
    """
    return table.names.match(words, most)


def load_foods(*tables: str | Path, bundled: bool = True) -> FoodTable:
    """Read composition tables (CSV; for the columns see the README).

    Parameters
    ----------
    *tables : path or str
        "europe" for the European table that comes with the package, else the path of one of the user's own; a later
        one wins over an earlier, all win over the table that is always there.
    bundled : bool
        Whether that one is read first, and over it those that the environment variable RATIO_SOLVER_FOODS names.

    Returns
    -------
    FoodTable

    Raises
    ------
    BadInput
        With every fault of every table.

    Examples
    --------
    >>> from ratio_solver import load_foods
    >>> load_foods().get("celeriac, raw").amounts["fat_g"]
    0.3
    """
    lowest: list[str | Path] = [bundled_path(), *kept_tables()] if bundled else []
    layers = _layers([*lowest, *tables])
    if len(lowest) > 1:  # tables of a recipe go over those that are kept, and under the rest
        layers = (laid_over(layers[:len(lowest)]), *layers[len(lowest):])
    files = tuple(map(table_path, [*lowest, *tables]))
    return FoodTable(laid_over(layers), layers, (), files, max(1, len(lowest)))


def kept_tables() -> tuple[str, ...]:
    """Tables that the environment variable names, parted as paths are (":", on Windows ";")."""
    return tuple(filter(None, os.environ.get(VARIABLE, "").split(os.pathsep)))


def _layers(tables: Iterable[str | Path]) -> tuple[Layer, ...]:
    """The rows of each table, in order; a file is read again only where it has changed."""
    found, faults = [], []
    for path in map(table_path, tables):
        now = path.stat() if path.is_file() else None
        foods, wrong = _read_layer(str(path), path.absolute(), (now.st_mtime_ns, now.st_size)) if now else \
            layer_in(read_csv(path))
        found.append(foods)
        faults.extend(wrong)
    collected(faults)
    return tuple(found)


@lru_cache(maxsize=8)
def _read_layer(path: str, place: Path, state: tuple[int, int]) -> tuple[Layer, list[Fault]]:
    known = known_foods(place)
    return layer_in(read_csv(path)) if known is None else (known, [])


def known_foods(path: Path) -> Foods | None:
    """The foods of a table that comes with the package, as it came; None for any other and for one that was changed."""
    checked = _recorded().get(path.name) if path.parent == bundled_path().parent else None
    if checked is None:
        return None
    data = path.read_bytes()
    if hash_of(data) != checked["sha256"]:
        return None
    header, *lines = data.decode("utf-8").removesuffix("\n").split("\n")
    reader = RowReader(CsvFile(str(path), tuple(header.split(",")), (), False))
    return Foods(map(partial(_row_on, reader), lines), tuple(checked["columns"].split()))


def _row_on(reader: RowReader, line: str) -> FoodRow:
    head = _HEAD.match(line)
    assert head is not None, line
    return FoodRow(head[1] or head[2], head[3], line, lambda: reader.food(_cells_on(reader, line)),
                   lambda: _names_on(_cells_on(reader, line)))


def _cells_on(reader: RowReader, line: str) -> dict[str, str]:
    return dict(zip(reader.file.header, single_spaced(next(csv.reader([line]))), strict=True))


def _names_on(cells: Mapping[str, str]) -> Food:
    return Food(cells["food"], cells["id"], "", {"fat_g": float(cells["fat_g"])}, role=cells["role"],
                also=other_names(cells["also"]))


@lru_cache(maxsize=1)
def _recorded() -> Mapping[str, Mapping[str, str]]:
    """What is recorded of each table, by its file; nothing where there is no record."""
    try:
        return {row["file"]: row for row in bundled_rows(CHECKED)}
    except BadInput:
        return {}


def bundled_table(file: str) -> FoodTable:
    """A table that comes with the package, alone."""
    return load_foods(bundled_path(file), bundled=False)


def suggestion(name: str, names: Iterable[str]) -> str:
    """A "did you mean" for a misspelt word, or nothing.

    >>> suggestion("serving", ["servings", "title"])
    '; did you mean servings?'
    """
    close = difflib.get_close_matches(str(name).lower(), list(names), n=2, cutoff=0.6)
    return f"; did you mean {' or '.join(close)}?" if close else ""
