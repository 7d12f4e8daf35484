"""The composition table: foods by name and id, read from CSV and checked row by row."""

from __future__ import annotations

import csv
import difflib
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path

from ratio_solver.errors import Fault, collected, one_line
from ratio_solver.foods.bundled import BUNDLED, bundled_path, table_path
from ratio_solver.foods.csv_file import CsvFile, read_csv, read_text
from ratio_solver.foods.food import Food
from ratio_solver.foods.layers import laid_over
from ratio_solver.foods.rows import foods_in


@dataclass(frozen=True)
class FoodTable:
    """Foods of one or more composition tables; a later table wins.

    Attributes
    ----------
    foods : tuple of Food
        In the order of the tables, names and ids unique.
    layers : tuple of tuple of Food
        The tables that were loaded, the first one the lowest; none where the foods are the only one.
    named : tuple of str
        The tables of a recipe among them, as `with_tables` took them.
    """

    foods: tuple[Food, ...] = field(repr=False)
    layers: tuple[tuple[Food, ...], ...] = field(default=(), repr=False, compare=False)
    named: tuple[str, ...] = field(default=(), compare=False)

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
        lowest, *own = loaded = self.layers or (self.foods,)
        return FoodTable(laid_over((lowest, *_layers(tables), *own)), loaded, named)

    @cached_property
    def _by_key(self) -> dict[str, Food]:
        by_id = {food.id.lower(): food for food in self.foods}
        return by_id | {food.name.lower(): food for food in self.foods}

    def get(self, name: str) -> Food | None:
        """The food of this name or id (capitals and outer spaces do not matter), or None."""
        return self._by_key.get(one_line(name).lower())

    def near(self, name: str, most: int = 3) -> list[str]:
        """Names that the cook may have meant, nearest first."""
        wanted = folded(name)
        names = [food.name for food in self.foods]
        holding = [food.name for food in self.search(wanted)]
        close = difflib.get_close_matches(wanted, names, n=most, cutoff=0.6)
        return list(dict.fromkeys([*close, *holding]))[:most]

    def unknown(self, name: str) -> str:
        """What to say of a name that is not in the table."""
        near = self.near(name)
        elsewhere = next((table for table, file in BUNDLED.items() if bundled_row(file, name)), "")
        return ("is not in the composition table"
                + (f"; did you mean {' or '.join(map(repr, near))}?" if near else "")
                + (f'; the table "{elsewhere}" has it: foods = ["{elsewhere}"] in the recipe, or --foods {elsewhere}'
                   if elsewhere else ""))

    def search(self, words: str) -> list[Food]:
        """Foods whose name, id or role hold all the words (accents do not matter), the closest names first."""
        wanted = folded(words).replace(",", " ").split()
        keys = {food.id: folded(f"{food.name} {food.id} {food.role}") for food in self.foods}
        found = [food for food in self.foods if all(word in keys[food.id] for word in wanted)]
        first = wanted[0] if wanted else ""
        return sorted(found, key=lambda food: (not keys[food.id].startswith(first), len(food.name)))

    def with_role(self, role: str) -> tuple[Food, ...]:
        """Foods of a role ("fat", "sweetener"), in the table's order."""
        return tuple(food for food in self.foods if food.role == role)

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Nutrient columns that at least one food has, a figure or a bound, in the table's order."""
        return tuple(dict.fromkeys(column for food in self.foods for column in (*food.amounts, *food.high)))

    def __iter__(self) -> Iterator[Food]:
        return iter(self.foods)

    def __len__(self) -> int:
        return len(self.foods)


def load_foods(*tables: str | Path, bundled: bool = True) -> FoodTable:
    """Read composition tables (CSV; for the columns see the README).

    Parameters
    ----------
    *tables : path or str
        "europe" for the European table that comes with the package, else the path of one of the user's own; a later
        one wins over an earlier, all win over the table that is always there.
    bundled : bool
        Whether that one is read first.

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
    layers = _layers([*([bundled_path()] if bundled else []), *tables])
    return FoodTable(laid_over(layers), layers)


def _layers(tables: Iterable[str | Path]) -> tuple[tuple[Food, ...], ...]:
    """The foods of each table, in order; a file is read again only where it has changed."""
    found, faults = [], []
    for path in map(table_path, tables):
        now = path.stat() if path.is_file() else None
        foods, wrong = _read(str(path), path.absolute(), (now.st_mtime_ns, now.st_size)) if now else \
            foods_in(read_csv(path))
        found.append(tuple(foods))
        faults.extend(wrong)
    collected(faults)
    return tuple(found)


@lru_cache(maxsize=8)
def _read(path: str, place: Path, state: tuple[int, int]) -> tuple[list[Food], list[Fault]]:
    return foods_in(read_csv(path))


def bundled_row(file: str, name: str) -> Food | None:
    """The row of this name or id in a table that comes with the package, without reading the others."""
    wanted = " ".join(name.lower().split())
    found = _bundled(file, [folded(wanted)])
    return next((food for food in found if wanted in (food.name.lower(), food.id.lower())), None)


def bundled_search(file: str, words: str) -> list[Food]:
    """What `FoodTable.search` finds in a table that comes with the package, without reading the rest."""
    return FoodTable(tuple(_bundled(file, folded(words).replace(",", " ").split()))).search(words)


def _bundled(file: str, words: Sequence[str]) -> list[Food]:
    """The foods whose lines hold all the words somewhere."""
    header, *lines = read_text(bundled_path(file)).splitlines()
    rows = csv.DictReader([header, *(line for line in lines if all(word in folded(line) for word in words))])
    cells = tuple((0, row) for row in rows)
    return foods_in(CsvFile(file, tuple(rows.fieldnames or ()), cells, False))[0]


def folded(text: str) -> str:
    """A text in small letters without accents.

    >>> folded("Gruyère"), folded("Bœuf")
    ('gruyere', 'boeuf')
    """
    if text.isascii():
        return text.lower()
    letters = text.casefold().replace("œ", "oe").replace("æ", "ae").replace("ø", "o")
    return "".join(letter for letter in unicodedata.normalize("NFKD", letters) if not unicodedata.combining(letter))


def suggestion(name: str, names: Iterable[str]) -> str:
    """A "did you mean" for a misspelt word, or nothing.

    >>> suggestion("serving", ["servings", "title"])
    '; did you mean servings?'
    """
    close = difflib.get_close_matches(str(name).lower(), list(names), n=2, cutoff=0.6)
    return f"; did you mean {' or '.join(close)}?" if close else ""
