"""Names of what is not finished: beside what it will become, with the process that works on it, so that what a killed
one has left can be told from what another is at work on."""

from __future__ import annotations

import os
import platform
from collections.abc import Iterator
from hashlib import blake2b
from pathlib import Path

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
