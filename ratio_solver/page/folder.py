"""The recipe files of one folder: those and no other are shown, and written when a cook saves."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, RatioSolverError, one_line, shown
from ratio_solver.foods.sizes import RECIPE_BYTES, refuse_larger
from ratio_solver.foods.words import folded
from ratio_solver.output.files import File, write_files

ENDING = ".toml"
BOM = b"\xef\xbb\xbf"

MOST_LOOKED_AT = 5_000
"""Files and folders that are looked at for recipes; a page that is started on a whole disk ends there."""

_NAME = re.compile(r"[^\W_][\w .,()'&+-]{0,99}", re.ASCII)
"""How a file that is written first here may be called."""


class NotThere(RatioSolverError):
    """There is no such recipe in the folder, or it lies outside of it."""


class ChangedOnDisk(RatioSolverError):
    """The file is not as it was read: another program has written it."""


@dataclass(frozen=True)
class Listed:
    """A recipe file in the list: its name from the folder, its title, and what is wrong where it cannot be read."""

    name: str
    title: str
    fault: str = ""


class Folder:
    """A folder with recipe files, its subfolders among it.

    Parameters
    ----------
    root : path
    """

    def __init__(self, root: Path) -> None:
        self.root = Path(os.path.realpath(root))

    def recipes(self) -> Iterator[Listed]:
        """Recipe files by name; other TOML files are passed over."""
        for path in sorted(self._files()):
            try:
                table = tomllib.loads(text_of(self.data_of(self._name(path)), path.name))
            except (NotThere, BadInput, ValueError, RecursionError):
                yield Listed(self._name(path), "", "cannot be read")
                continue
            if "ingredients" in table:
                yield Listed(self._name(path), one_line(str(table.get("title", ""))))

    def _files(self) -> Iterator[Path]:
        looked_at = 0
        for here, folders, files in os.walk(self.root):
            folders[:] = [name for name in folders if not name.startswith(".")]
            looked_at += 1 + len(files)
            if looked_at > MOST_LOOKED_AT:
                return
            for name in files:
                path = Path(here, name)
                if name.endswith(ENDING) and not name.startswith(".") and self._inside(path):
                    yield path

    def _name(self, path: Path) -> str:
        return path.relative_to(self.root).as_posix()

    def _inside(self, path: Path) -> bool:
        """Whether a file, wherever links lead, lies in the folder."""
        return self.holds(path) and os.path.isfile(path)

    def holds(self, path: Path) -> bool:
        """Whether a path, wherever links lead, is one within the folder."""
        try:
            return Path(os.path.realpath(path)).is_relative_to(self.root)
        except (OSError, ValueError):
            return False

    def path_of(self, name: str) -> Path:
        """The path of a recipe file by its name from the folder.

        Raises
        ------
        NotThere
            Where there is none, or it lies elsewhere, whatever the name says.
        """
        path = self.root / name
        if not name.endswith(ENDING) or not self._inside(path):
            raise NotThere(f"there is no recipe {shown(name)} in this folder")
        return path

    def data_of(self, name: str) -> bytes:
        """What stands in a recipe file.

        Raises
        ------
        NotThere
            Where it is gone.
        BadInput
            Where it is larger than a recipe file may be.
        """
        path = self.path_of(name)
        try:
            with path.open("rb") as file:
                data = file.read(RECIPE_BYTES + 1)
        except OSError as error:
            raise NotThere(f"{name} cannot be read: {error.strerror}") from error
        refuse_larger(name, len(data), RECIPE_BYTES)
        return data

    def save(self, name: str, text: str, before: bytes) -> bytes:
        """Write a recipe file that is there, and say what then stands in it.

        Parameters
        ----------
        name : str
        text : str
        before : bytes
            What stands in it as far as the cook knows.

        Raises
        ------
        ChangedOnDisk
            Where something else does; nothing is written.
        """
        if self.data_of(name) != before:
            raise ChangedOnDisk(f"{name} was changed by another program")
        data = (BOM if before.startswith(BOM) else b"") + text.encode("utf-8")
        write_files([File(str(self.path_of(name)), data, "Save")])
        return data

    def save_new(self, name: str, text: str) -> str:
        """Write a recipe file that is not there yet, and say its name from the folder.

        Raises
        ------
        BadInput
            Where the name is none for a file of this folder, or is taken.
        """
        name = name.strip().removesuffix(ENDING)
        if not _NAME.fullmatch(name):
            raise BadInput([Fault("Save", "name", shown(name), "expected a plain name, such as potato-gratin")])
        path = self.root / f"{name}{ENDING}"
        if path.exists() or path.is_symlink():
            raise BadInput([Fault("Save", "name", path.name, "is there already; expected another name")])
        write_files([File(str(path), text, "Save")])
        return path.name


def text_of(data: bytes, name: str) -> str:
    """The text of a recipe file, breaks of its lines as they are.

    Raises
    ------
    BadInput
        Where it is no UTF-8.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput([Fault(name, "", f"byte 0x{data[error.start]:02x}", "expected UTF-8 text")]) from error


def name_for(title: str) -> str:
    """What a file of a dish may be called.

    >>> name_for("Gruyère & leek tart")
    'gruyere-leek-tart'
    """
    return "-".join(re.findall(r"[a-z0-9]+", folded(title))) or "dish"
