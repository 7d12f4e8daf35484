"""How long an answer on the steps takes beside the linear programme of the same recipe, in process.

    python -m tests.bench.whole_steps [recipes] [prefer]

Each recipe is solved five times both ways, in turn; the least time of each way counts. Prints the least, the
median and the greatest ratio, and the same of the times in ms.
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from ratio_solver import Proposal, Recipe, load_foods, recipe_from, solve
from tests.oracle.recipes import random_recipe, random_table, write_table

KINDS = ("plain", "mixed", "choose", "whole")
REPEATS = 5


def recipes(kind: str, most: int, folder: Path) -> list[Recipe]:
    """The first so many seeded recipes of a kind, on six tables."""
    tables = []
    for seed in range(6):
        rows = random_table(seed, 45)
        write_table(folder / f"{seed}.csv", rows)
        tables.append((rows, load_foods(folder / f"{seed}.csv", bundled=False)))
    found = []
    for seed in range(most):
        rows, foods = tables[seed % 6]
        found.append(recipe_from(random_recipe(random.Random(seed), rows, kind=kind), foods))
    return found


def seconds(run: Callable[[], object]) -> float:
    """Time of one call."""
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def compared(recipe: Recipe, prefer: str) -> tuple[float, float] | None:
    """Time on the steps and of the linear programme; None where either has no answer."""
    if not all(isinstance(solve(recipe, prefer, exact=exact), Proposal) for exact in (True, False)):
        return None
    pairs = [
        (seconds(lambda: solve(recipe, prefer)), seconds(lambda: solve(recipe, prefer, exact=True)))
        for _ in range(REPEATS)
    ]
    return min(whole for whole, _ in pairs), min(linear for _, linear in pairs)


def spread(values: list[float]) -> str:
    """Least, median and greatest."""
    return f"min {min(values):.2f}  median {statistics.median(values):.2f}  max {max(values):.2f}"


def main(most: int = 150, prefer: str = "closest") -> None:
    """Print the comparison for every kind of recipe."""
    for kind in KINDS:
        with tempfile.TemporaryDirectory() as folder:
            times = [pair for recipe in recipes(kind, most, Path(folder)) if (pair := compared(recipe, prefer))]
        print(f"{kind}, {prefer}: {len(times)} recipes")
        print(f"  ratio      {spread([whole / linear for whole, linear in times])}")
        print(f"  steps ms   {spread([1000 * whole for whole, _ in times])}")
        print(f"  linear ms  {spread([1000 * linear for _, linear in times])}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 150, sys.argv[2] if len(sys.argv) > 2 else "closest")
