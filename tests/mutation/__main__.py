"""Write one deliberate fault after the other into a copy of the project, and see whether the tests notice.

    python -m tests.mutation [WORD ...]

Of the faults in `tests.mutation.faults` all, or those whose name or file has one of the words. The project itself is
left as it is: a copy in a temporary folder is changed, tested and put right again. First the tests that are to notice
pass without a fault, else nothing can be said. Prints a line a fault and the score; exit code 1 where one is not
noticed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.mutation.faults import FAULTS, Fault

ROOT = Path(__file__).resolve().parents[2]
LEFT_OUT = shutil.ignore_patterns(".git", ".venv*", "__pycache__", ".*_cache", ".hypothesis", "build", "*.egg-info")
SECONDS = 600
"""What takes longer has been noticed: it does not come to an end."""


def main(words: Sequence[str]) -> int:
    """Exit code: 0 where every fault is noticed."""
    chosen = [fault for fault in FAULTS if not words or any(word in f"{fault.file} {fault.name}" for word in words)]
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "project"
        shutil.copytree(ROOT, copy, ignore=LEFT_OUT)
        tests = sorted({test for fault in chosen for test in fault.tests})
        if not passes(copy, tests):
            print("the tests do not pass as it is:", *tests, file=sys.stderr)
            return 2
        missed = [fault for fault in chosen if not noticed(copy, fault)]
    print(f"{len(chosen) - len(missed)} of {len(chosen)} faults noticed")
    for fault in missed:
        print(f"not noticed: {fault.file}: {fault.name}")
    return 1 if missed else 0


def noticed(copy: Path, fault: Fault) -> bool:
    """Whether a test fails with the fault in the copy, which is put right again."""
    path, begin = copy / "ratio_solver" / fault.file, time.monotonic()
    text = path.read_text(encoding="utf-8")
    path.write_text(with_fault(text, fault), encoding="utf-8")
    try:
        found = not passes(copy, fault.tests)
    finally:
        path.write_text(text, encoding="utf-8")
    print(f"{'noticed' if found else 'NOT NOTICED':12} {time.monotonic() - begin:4.0f} s  {fault.file}: {fault.name}",
          flush=True)
    return found


def with_fault(text: str, fault: Fault) -> str:
    """The text of a module with a fault.

    Raises
    ------
    ValueError
        Where what is to be changed does not stand there once.
    """
    if text.count(fault.old) != 1:
        raise ValueError(f"{fault.file}: {fault.old!r} stands there {text.count(fault.old)} times, not once")
    return text.replace(fault.old, fault.new)


def passes(copy: Path, tests: Sequence[str]) -> bool:
    """Whether these tests pass in a copy of the project."""
    command = [sys.executable, "-m", "pytest", "-n", "0", "-x", "-q", "-p", "no:cacheprovider",
               *(f"tests/{test}" for test in tests)]
    environment = os.environ | {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1", "OPENBLAS_NUM_THREADS": "1"}
    try:
        done = subprocess.run(command, cwd=copy, env=environment, capture_output=True, timeout=SECONDS, check=False)
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
