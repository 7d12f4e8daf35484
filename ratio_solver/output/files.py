"""Files that commands write: all of them whole or none, never over what was read.

What is not finished has a name beside what it will become, with the process that works on it, so that what a killed one
has left can be told from what another is at work on.
"""

from __future__ import annotations

import os
import platform
import re
import stat
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import Any

from ratio_solver.errors import BadInput, Fault, collected
from ratio_solver.foods.bundled import BUNDLED, DEFAULT_TABLE, bundled_path, table_path

LONGEST_NAME = 100
"""Bytes of a name beyond which a short sum stands for it: a file system takes 255."""

OWN: set[Path] = set()
"""What this process is at work on: a dead process may have had the same number."""


def begin(target: Path) -> str:
    """How the name of everything unfinished begins that this process puts beside a target."""
    return f"{_before(target)}{platform.node()}-{os.getpid()}-"


def _before(target: Path) -> str:
    name = os.fsencode(target.name)
    told = target.name if len(name) <= LONGEST_NAME else blake2b(name, digest_size=16).hexdigest()
    return f".{told}.unfinished-"


def left_behind(target: Path) -> Iterator[Path]:
    """What killed processes of this machine have left beside a target."""
    try:
        beside = list(target.parent.iterdir())
    except OSError:  # there is no such folder yet, or it may not be looked into
        return
    for item in beside:
        if item.name.startswith(_before(target)) and not item.is_symlink() and _dead(item, target):
            yield item


def _dead(item: Path, target: Path) -> bool:
    """Whether the process that worked on something has surely ended; of other machines that is not known."""
    machine, _, number = item.name.removeprefix(_before(target)).rpartition("-")[0].rpartition("-")
    if machine != platform.node() or not number.isdigit() or item in OWN:
        return False
    return int(number) == os.getpid() or not _alive(int(number))


def _alive(process: int) -> bool:
    if os.name != "posix":  # elsewhere the question itself would end the process
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


READ = {"recipe": "the recipe", "menu": "the menu", "record": "the record"}
WRITTEN = {"output": "-o", "write": "--write", "plot": "--plot", "table": "--to", "record_to": "--record"}
_STREAM = re.compile(r"/dev/(?:(stdout)|(stderr)|fd/([0-9]+))|/proc/self/fd/([0-9]+)")


@dataclass(frozen=True)
class File:
    """A file to write.

    Attributes
    ----------
    path : str
    content : str or bytes
        Text is written as UTF-8.
    option : str
        Which option asked for it.
    """

    path: str
    content: str | bytes
    option: str = "-o"

    @property
    def data(self) -> bytes:
        """What stands in the file."""
        return self.content.encode("utf-8") if isinstance(self.content, str) else self.content


def check_paths(arguments: Mapping[str, Any]) -> None:
    """Every path says something, and no output of a command is one of its inputs or another output.

    Parameters
    ----------
    arguments : mapping
        Of the command, by name: those of `READ` and the tables are read, those of `WRITTEN` written.

    Raises
    ------
    BadInput
        With every output that would destroy something.
    """
    tables, written = arguments.get("tables") or (), [(option, arguments.get(key)) for key, option in WRITTEN.items()]
    named = [*((key.upper(), arguments.get(key)) for key in READ), *(("--foods", path) for path in tables), *written]
    faults = [Fault(option, "", "''", "expected the path of a file") for option, path in named if path == ""]
    taken = [(arguments[key], what) for key, what in READ.items() if arguments.get(key)]
    taken += [(str(table_path(path)), "a table of --foods") for path in tables if path]
    taken += [(str(bundled_path(file)), "a table that comes with the package")
              for file in (DEFAULT_TABLE, *BUNDLED.values())]
    for option, path in written:
        if path:
            same = next((what for other, what in taken if _same_file(path, other)), None)
            if same:
                expected = f"is {same} too, and would overwrite it; expected another file"
                faults.append(Fault(option, path, "", expected))
            taken.append((path, f"the file of {option}"))
    collected(faults)


def refuse_tables(arguments: Mapping[str, Any], tables: Sequence[str]) -> None:
    """Refuse an output of a command that is a composition table which the recipe names.

    Raises
    ------
    BadInput
        With every such output.
    """
    collected(Fault(option, path, "", f"is the recipe's table {table}, and would overwrite it; expected another file")
              for key, option in WRITTEN.items() if (path := arguments.get(key))
              for table in tables if _same_file(path, str(table_path(table))))


def _same_file(path: str, other: str) -> bool:
    """Whether two paths are one file; a device takes whatever comes."""
    if os.path.exists(path) and not os.path.isfile(path):
        return False
    if os.path.realpath(path) == os.path.realpath(other):
        return True
    with suppress(OSError):
        return os.path.samefile(path, other)
    return False


def write_files(files: Sequence[File]) -> None:
    """Write all the files, or none of them where one cannot be written.

    Raises
    ------
    BadInput
        With the file that cannot be written; the old ones are as they were.
    """
    staged: list[tuple[File, Path, str]] = []
    try:
        for file in files:
            with _faults_of(file):
                if not _is_stream(file.path):
                    target = Path(os.path.realpath(file.path))
                    staged.append((file, target, _staged_beside(target, file.data)))
        for file in files:
            if _is_stream(file.path):
                with _faults_of(file):
                    _into_stream(file)
        while staged:
            file, target, temporary = staged[0]
            with _faults_of(file):
                os.replace(temporary, target)
            OWN.discard(Path(temporary))
            staged.pop(0)
    finally:
        _removed(temporary for _, _, temporary in staged)


@contextmanager
def _faults_of(file: File) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise BadInput([Fault(file.option, file.path, "", f"cannot be written: {error.strerror}")]) from error


def _staged_beside(target: Path, data: bytes) -> str:
    """A temporary file with the data beside the one that it will replace, with the same permissions."""
    mode = stat.S_IMODE(target.stat().st_mode) if target.exists() else usual_mode()
    if target.exists() and not os.access(target, os.W_OK):
        raise PermissionError(0, "it may not be written to")
    for left in left_behind(target):
        if left.is_file():
            _removed([str(left)])
    descriptor, name = tempfile.mkstemp(prefix=begin(target), dir=target.parent)
    OWN.add(Path(name))
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
        os.chmod(name, mode)
    except BaseException:
        _removed([name])
        raise
    return name


def _removed(names: Iterable[str]) -> None:
    for name in names:
        OWN.discard(Path(name))
        with suppress(OSError):
            os.unlink(name)


def _is_stream(path: str) -> bool:
    """Whether a path is a device, a pipe or an open stream: written to, never replaced."""
    return bool(_STREAM.fullmatch(path)) or (os.path.exists(path) and not os.path.isfile(path))


def _into_stream(file: File) -> None:
    named = _STREAM.fullmatch(file.path)
    if named:
        number = 1 if named[1] else 2 if named[2] else int(named[3] or named[4])
        if sys.stdout is not None:
            sys.stdout.flush()
        with os.fdopen(os.dup(number), "wb") as stream:
            stream.write(file.data)
    else:
        with open(file.path, "wb") as stream:
            stream.write(file.data)


def usual_mode() -> int:
    """Permissions that a new file gets here; a temporary one is for its owner alone."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
