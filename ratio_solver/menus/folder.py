"""A folder of results that appears whole or not at all.

The files are written into a folder beside it, and that is renamed when it is complete. A process killed at any
moment leaves either no result or a complete one; what it leaves beside is removed by the next run.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ratio_solver.faults import BadInput, Fault

OURS = frozenset({"weights.csv", "servings.csv", "limits.csv", "problems.csv", "cautions.txt", "menu.xlsx"})
"""Names of files that a run makes: a folder with anything else is not replaced."""


@contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """A folder to write into, which becomes `target` when the block ends without an exception.

    Raises
    ------
    BadInput
        Where the target is no folder of an earlier run, or cannot be written.
    """
    _replaceable(target)
    place = target.parent / f".{target.name}.unfinished-{os.getpid()}"
    try:
        _tidy(target)
        place.mkdir(parents=True)
    except OSError as error:
        raise BadInput([Fault("-o", str(target), "", f"cannot be written: {error.strerror}")]) from error
    try:
        yield place
        _into_place(place, target)
    except OSError as error:
        raise BadInput([Fault("-o", str(target), "", f"cannot be written: {error.strerror}")]) from error
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _replaceable(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise BadInput([Fault("-o", str(target), "", "expected the name of a folder; this is a file")])
    others = sorted(item.name for item in target.iterdir() if not _is_ours(item.name))
    if others:
        raise BadInput([Fault("-o", str(target), "", "expected a new folder, or that of an earlier run; it holds "
                              f"{', '.join(others[:3])}{', ...' if len(others) > 3 else ''}")])


def _is_ours(name: str) -> bool:
    stem, dot, rest = name.partition("-part")
    return name in OURS or (bool(dot) and f"{stem}.csv" in OURS and rest.removesuffix(".csv").isdigit())


def _into_place(place: Path, target: Path) -> None:
    """Rename, an earlier result being moved aside first: at no moment is there a mixture."""
    for item in place.iterdir():
        with item.open("rb") as file:
            os.fsync(file.fileno())
    if target.exists():
        aside = target.parent / f".{target.name}.before-{os.getpid()}"
        os.rename(target, aside)
        os.rename(place, target)
        shutil.rmtree(aside, ignore_errors=True)
    else:
        os.rename(place, target)


def _tidy(target: Path) -> None:
    """Remove what killed runs have left beside the target."""
    for item in target.parent.glob(f".{target.name}.*-*"):
        kind, _, number = item.name.removeprefix(f".{target.name}.").partition("-")
        if kind in ("unfinished", "before") and number.isdigit() and not _alive(int(number)):
            shutil.rmtree(item, ignore_errors=True)


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
