"""Check the composition tables and record that they are checked.

    python -m tools.composition.checked [DATA]

Reads every table that comes with the package in whole, as one of the user's own is read, and says what is wrong. Those
without a fault are recorded in DATA/checked.csv, by which the package knows that it may read their rows one by one.
Whatever makes a table does this too.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Sequence
from pathlib import Path

from ratio_solver.errors import Fault
from ratio_solver.foods.bundled import BUNDLED, DEFAULT_TABLE, hash_of
from ratio_solver.foods.csv_file import read_csv
from ratio_solver.foods.food import Foods
from ratio_solver.foods.rows import foods_in
from ratio_solver.foods.table import CHECKED

DATA = Path(__file__).resolve().parents[2] / "data"


def record(data: Path) -> list[Fault]:
    """Write what is recorded of the tables of a folder; one with a fault is left out, and its faults are given back."""
    paths = [path for name in (DEFAULT_TABLE, *BUNDLED.values()) if (path := data / name).is_file()]
    rows, wrong = [], []
    for path in paths:
        foods, faults = foods_in(read_csv(path))
        wrong.extend(faults)
        if not faults:
            rows.append((path.name, hash_of(path.read_bytes()), " ".join(Foods(foods).columns)))
    with (data / CHECKED).open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([("file", "sha256", "columns"), *rows])
    return wrong


def main(arguments: Sequence[str]) -> int:
    """Exit code: 0 written, 1 a fault in a table."""
    faults = record(Path(arguments[0]) if arguments else DATA)
    print(*faults, sep="\n", end="\n" if faults else "", file=sys.stderr)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
