"""A solved menu: its recipes as text for a terminal of 80 columns, as plain data, as rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from ratio_solver.exact import exact
from ratio_solver.menu.results import TABLE_DECIMALS, TABLE_NAMES
from ratio_solver.output.blocks import BAD, GOOD, QUIET, Block, Text, caution_lines, headline, section, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import ratio, short

if TYPE_CHECKING:
    from ratio_solver.menu.results import MenuTables


def text(found: MenuTables, most: int = 20) -> Block:
    """What became of each recipe: figures of those that are solved, why there are none for the others."""
    columns = (("recipe", "left"), ("ratio", "right"), ("net carbs", "right"), ("objective", "right"), ("", "left"))
    served = _records(found, "servings")
    figures = [
        [Text(str(row["recipe"])), ratio(row["ratio"] and exact(row["ratio"])),
         short(row["net_carbs_g"], TABLE_DECIMALS), short(row["objective"], TABLE_DECIMALS), row["unit"]]
        for row in served if row["outcome"] == "solved"]
    impossible = [Text(f"{row['recipe']}: {row['message']}") for row in served if row["outcome"] != "solved"]
    unreadable = [Text(f"line {row['line']}, {row['recipe']}: {row['column']} {row['value']} {row['message']}")
                  for row in _records(found, "problems")]
    known = [Text(f"{row['recipe']}: {told}") for row in served if (told := _notes_of(row))]
    table = [section("Solved, per serving", table_of(columns, figures[:most]), *_left(figures, most))]
    return (
        headline("Menu", menu_line(found.counts(), found.alone), GOOD if found.outcome == "solved" else BAD),
        *(table if figures else []),
        *(section(heading, *lines[:most], *_left(lines, most)) for heading, lines in (
            ("Impossible", impossible), ("Unreadable", unreadable), ("Allergens and notes", known)) if lines),
        Text(""), *caution_lines(found.cautions))


def data(found: MenuTables) -> Data:
    """The four tables, a mapping for each row."""
    return {"outcome": found.outcome, "counts": found.counts(), "alone": found.alone, "cautions": list(found.cautions),
            **{name: _records(found, name) for name in TABLE_NAMES}}


def rows(found: MenuTables) -> Rows:
    """The servings: a row for each recipe that can be read."""
    return tuple(found.tables["servings"].columns), _records(found, "servings")


def menu_line(counts: Mapping[str, int], alone: int = 0) -> str:
    """What became of a menu, in one line; and how many recipes took the per-recipe solver, which is slower.

    >>> menu_line({"solved": 40, "impossible": 1, "unreadable": 0}, 1)
    '41 recipes: 40 solved, 1 impossible, 0 unreadable; 1 one by one'
    """
    total = sum(counts.values())
    found = ", ".join(f"{n:,} {name}" for name, n in counts.items())
    return f"{total:,} recipe{'' if total == 1 else 's'}: {found}" + (f"; {alone:,} one by one" if alone else "")


def _records(found: MenuTables, table: str) -> list[dict[str, Any]]:
    """Rows of a table, None where a figure is not known."""
    return [{name: None if cell != cell else cell for name, cell in row.items()}
            for row in found.tables[table].records()]


def _notes_of(row: dict[str, Any]) -> str:
    """What a person must know who eats a dish: allergens, warnings, and of what there may be more."""
    unknown = row["at_least"] and f"at least, as figures are unknown: {row['at_least']}"
    return "; ".join(filter(None, (row["allergens"], row["warnings"], unknown)))


def _left(lines: list[Any], most: int) -> list[Block]:
    return [Text(f"and {len(lines) - most} more", QUIET)] if len(lines) > most else []
