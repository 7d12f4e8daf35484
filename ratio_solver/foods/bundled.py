"""The composition tables that come with the package, where they lie, and which tables figures come from.

A table is told from every other by a name, a version and the hash of what stands in its file.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from types import MappingProxyType

from ratio_solver.foods.csv_file import read_text

DISTRIBUTION = "ratio-solver"

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


def bundled_rows(file: str = DEFAULT_TABLE) -> list[dict[str, str]]:
    """The rows of a table that comes with the package, as they stand in it."""
    return list(csv.DictReader(read_text(bundled_path(file)).splitlines()))


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


def table_ids(files: Iterable[Path]) -> list[dict[str, object]]:
    """The identity of each table as it stands in JSON, in the order in which they are laid over one another.

    Its ``id`` is "foods" or "europe" for those that come with the package, else the name of the file; ``version`` that
    of the package, for its own tables; ``sha256`` of the bytes of the file, empty where it can no longer be read.
    """
    own = {bundled_path(file): name for name, file in {"foods": DEFAULT_TABLE, **BUNDLED}.items()}
    return [{"id": own.get(file, file.name), "version": _package_version() if file in own else None,
             "sha256": _hash_of(file)} for file in files]


def hash_of(data: bytes) -> str:
    """The SHA-256 of a table, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


@lru_cache(maxsize=1)
def _package_version() -> str | None:
    metadata = import_module("importlib.metadata")  # with all of `email`: only JSON asks for it
    try:
        return str(metadata.version(DISTRIBUTION))
    except metadata.PackageNotFoundError:  # run from a checkout that is not installed
        return None


def _hash_of(file: Path) -> str:
    try:
        now = file.stat()
        return _hashed(file, now.st_mtime_ns, now.st_size)
    except OSError:
        return ""


@lru_cache(maxsize=64)
def _hashed(file: Path, changed: int, size: int) -> str:
    return hash_of(file.read_bytes())
