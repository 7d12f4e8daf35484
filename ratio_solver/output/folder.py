"""A folder of results that appears whole or not at all, and never in place of anything but earlier results.

The files are written into a workspace beside it and moved into place when they are complete. A process killed at
any moment leaves either no result or a complete one; what it leaves beside is removed by the next run.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, collected
from ratio_solver.output.files import OWN, begin, left_behind

CAUTIONS_FILE = "cautions.txt"
"""The file that every complete run has, by which its folder is known."""

OURS = frozenset({"weights.csv", "servings.csv", "limits.csv", "problems.csv", CAUTIONS_FILE, "menu.xlsx",
                  "portions.csv", "totals.csv", "pots.csv", "day.json", "day.txt"})
"""Names of files that a run of a menu or a day makes: a folder with anything else is not replaced."""


@dataclass(frozen=True)
class FolderKind:
    """What a folder of results holds: the file that every one has, and whether another of a name may be in it."""

    marker: str
    ours: Callable[[str], bool]


def _of_a_menu(name: str) -> bool:
    stem, dot, rest = name.partition("-part")
    return name in OURS or (bool(dot) and f"{stem}.csv" in OURS and rest.removesuffix(".csv").isdigit())


SYNCED_TOGETHER = 16
"""Files; one by one several hundred take seconds."""

MENU = FolderKind(CAUTIONS_FILE, _of_a_menu)


@contextmanager
def whole_folder(target: Path, inputs: Iterable[Path] = (), kind: FolderKind = MENU) -> Iterator[Path]:
    """A folder to write into, which becomes `target` when the block ends without an exception.

    Parameters
    ----------
    target : path
        New, empty, or the folder of an earlier run, which is replaced.
    inputs : iterable of path
        What the run reads; none of it may lie inside the target.
    kind : FolderKind
        By which the folder of an earlier run is known.

    Raises
    ------
    BadInput
        Where the target holds an input, is no folder of an earlier run, or cannot be written.
    """
    target = target.resolve()
    with writing(target):
        for item in left_behind(target):  # the workspaces of runs of this machine that were killed
            if item.is_dir():
                _discard(item, target)
        refuse_inputs(target, inputs)
        _replaceable(target, kind)
        target.parent.mkdir(parents=True, exist_ok=True)
        workspace = Path(tempfile.mkdtemp(prefix=begin(target), dir=target.parent))
        OWN.add(workspace)
    try:
        with writing(target):
            (workspace / "new").mkdir()
        yield workspace / "new"
        with writing(target):
            _replaceable(target, kind)  # once more: somebody may have put a file there meanwhile
            _into_place(workspace, target)
    finally:
        with writing(target):
            _discard(workspace, target)


@contextmanager
def writing(target: Path) -> Iterator[None]:
    """Say of whatever the system refuses that it was the results that could not be written.

    Raises
    ------
    BadInput
        In place of an OSError.
    """
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise BadInput([Fault("-o", str(target), "", f"cannot be written: {reason}")]) from error


def refuse_inputs(target: Path, inputs: Iterable[Path]) -> None:
    """Refuse a folder for the results that holds a file which the run reads.

    Raises
    ------
    BadInput
        With every such file.
    """
    if target.is_dir():
        collected(Fault("-o", str(target), "", f"expected another folder: this one holds the input {path}")
                  for path in dict.fromkeys(inputs) if _inside(path, target))


def _inside(path: Path, folder: Path) -> bool:
    """Whether a file, or what a link of this name leads to, lies in a folder, however either is spelt."""
    here, there = path.parent.resolve(), path.resolve()
    return any(_one_folder(parent, folder) for parent in {here, *here.parents, *there.parents})


def _one_folder(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _replaceable(target: Path, kind: FolderKind) -> None:
    """Refuse what is neither new nor empty nor the folder of an earlier run."""
    if not target.exists():
        return
    if not target.is_dir():
        raise BadInput([Fault("-o", str(target), "", "expected the name of a folder; this is a file")])
    items = sorted(target.iterdir())
    others, lacking = [item.name for item in items
                       if not (kind.ours(item.name) and item.is_file() and not item.is_symlink())], ""
    if not others and items and not (target / kind.marker).exists():
        others, lacking = [item.name for item in items], f" and no {kind.marker}"
    if others:
        raise BadInput([Fault("-o", str(target), "", "expected a new folder, or that of an earlier run; it holds "
                              f"{', '.join(others[:3])}{', ...' if len(others) > 3 else ''}{lacking}")])


def _into_place(workspace: Path, target: Path) -> None:
    """Rename, an earlier result being moved aside first: at no moment is there a mixture.

    What is written is on the disk before; of files that wait for it together a disk writes many at a time.
    """
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(SYNCED_TOGETHER) as pool:
        list(pool.map(_sync, (workspace / "new").iterdir()))
    if target.exists():
        shutil.copymode(target, workspace / "new")
        os.rename(target, workspace / "before")
    os.rename(workspace / "new", target)


def _sync(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _discard(workspace: Path, target: Path) -> None:
    """Remove a workspace; an earlier result that nothing has replaced goes back first."""
    if (workspace / "before").is_dir() and not target.exists():
        os.rename(workspace / "before", target)
    shutil.rmtree(workspace, ignore_errors=True)
    OWN.discard(workspace)
