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
from ratio_solver.foods.bundled import BUNDLED, DEFAULT_TABLE
from ratio_solver.foods.csv_file import read_csv
from ratio_solver.foods.known import CHECKED, COLUMNS, FILE, HASH, hash_of
from ratio_solver.foods.rows import foods_in
from ratio_solver.foods.sequence import Foods

DATA = Path(__file__).resolve().parents[2] / "data"


def record(data: Path) -> list[Fault]:
    """Write what is recorded of the tables of a folder; one with a fault is left out, and its faults are given back."""
    paths = [path for name in (DEFAULT_TABLE, *BUNDLED.values()) if (path := data / name).is_file()]
    rows, wrong = [], []
    for path in paths:
        foods, faults = foods_in(read_csv(path))
        wrong.extend(faults)
        if not faults:
            rows.append({FILE: path.name, HASH: hash_of(path.read_bytes()), COLUMNS: " ".join(Foods(foods).columns)})
    with (data / CHECKED).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, (FILE, HASH, COLUMNS), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return wrong


def main(arguments: Sequence[str]) -> int:
    """Exit code: 0 written, 1 a fault in a table."""
    faults = record(Path(arguments[0]) if arguments else DATA)
    print(*faults, sep="\n", end="\n" if faults else "", file=sys.stderr)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
