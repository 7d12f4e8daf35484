"""Which composition tables figures come from: a name, a version and the hash of what stands in the file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from ratio_solver.foods.bundled import BUNDLED, DEFAULT_TABLE, bundled_path
from ratio_solver.foods.known import hash_of

DISTRIBUTION = "ratio-solver"
DEFAULT_ID = "foods"


@dataclass(frozen=True)
class TableId:
    """A composition table, told from every other.

    Attributes
    ----------
    id : str
        "foods" and "europe" for those that come with the package, else the name of the file.
    version : str or None
        Of the package, for its own tables.
    sha256 : str
        Of the bytes of the file, in hexadecimal; empty where it can no longer be read.
    """

    id: str
    version: str | None
    sha256: str

    def as_dict(self) -> dict[str, object]:
        """As it stands in JSON."""
        return {"id": self.id, "version": self.version, "sha256": self.sha256}


def table_ids(files: Iterable[Path]) -> tuple[TableId, ...]:
    """The identity of each table, in the order in which they are laid over one another."""
    return tuple(map(table_id, files))


def table_id(file: Path) -> TableId:
    """The identity of the table in a file."""
    name = next((name for name, path in _own_files() if file == path), "")
    return TableId(name or file.name, _package_version() if name else None, _hash_of(file))


@lru_cache(maxsize=1)
def _own_files() -> tuple[tuple[str, Path], ...]:
    named = {DEFAULT_ID: DEFAULT_TABLE, **BUNDLED}
    return tuple((name, bundled_path(file)) for name, file in named.items())


@lru_cache(maxsize=1)
def _package_version() -> str | None:
    try:
        return version(DISTRIBUTION)
    except PackageNotFoundError:  # run from a checkout that is not installed
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
