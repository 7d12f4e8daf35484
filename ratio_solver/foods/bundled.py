"""The composition tables that come with the package: where they lie, and what they are called."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

DEFAULT_TABLE = "foods.csv"
"""The table that is always there: American figures for nearly all foods."""

BUNDLED: Mapping[str, str] = MappingProxyType({"europe": "europe.csv"})
"""Tables that are laid over it when asked for by name, and their files; the name goes before a file of that name."""

SPOKEN: Mapping[str, str] = MappingProxyType({DEFAULT_TABLE: "the American table", "europe.csv": "the European table"})


def bundled_path(file: str = DEFAULT_TABLE) -> Path:
    """Where a table that comes with the package lies, installed or in a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "data" / file
    return installed if installed.exists() else package.parent / "data" / file


def table_path(table: str | Path) -> Path:
    """The file of a composition table: of a bundled one by its name, else the path itself.

    >>> table_path("europe").name, table_path("own.csv").name, table_path("./europe").name
    ('europe.csv', 'own.csv', 'europe')
    """
    return bundled_path(BUNDLED[table]) if isinstance(table, str) and table in BUNDLED else Path(table)


def placed(table: str, folder: str | Path) -> str:
    """A table that a recipe file names: a bundled one by its name, else its path from the file's folder, absolute.

    >>> placed("europe", "dishes"), placed("own.csv", "/dishes")
    ('europe', '/dishes/own.csv')
    """
    return table if table in BUNDLED else str(Path(folder).absolute() / table)
