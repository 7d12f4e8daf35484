"""Make the bundled composition table again.

    python -m tools.composition RELEASE [DATA]

RELEASE is the folder of the USDA release (FOOD_DES.txt, NUT_DATA.txt, WEIGHT.txt); DATA is the project's data folder
unless said. Writes DATA/foods.csv and its hash, or says what is wrong and writes nothing.
"""

from __future__ import annotations

import sys
from pathlib import Path

from ratio_solver.errors import BadInput
from tools.composition.checked import record
from tools.composition.table import FOODS, rows_of, write_table

DATA = Path(__file__).resolve().parents[2] / "data"


def main(arguments: list[str]) -> int:
    """Exit code: 0 written, 1 bad input, 2 usage."""
    if len(arguments) not in (1, 2):
        print("usage: python -m tools.composition RELEASE [DATA]", file=sys.stderr)
        return 2
    data = Path(arguments[1]) if len(arguments) == 2 else DATA
    try:
        rows = rows_of(data, Path(arguments[0]))
    except BadInput as bad:
        print(bad, file=sys.stderr)
        return 1
    write_table(data / FOODS, rows)
    for fault in record(data):
        print(fault, file=sys.stderr)
    print(f"{len(rows)} foods in {data / FOODS}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
