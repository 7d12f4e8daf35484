"""What the diagnosis of a recipe without an answer costs beyond the solve that failed, in process.

    python -m tests.bench.diagnosis [RUNS]

Every recipe of `examples/` as it is, with its targets tightened until it has no answer, and with the bounds of what is
weighed in pieces put between two of them; on the steps and to any fraction of a gram. Each is diagnosed RUNS times (5
unless said); the median counts. Prints every one in ms, the slowest last.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from ratio_solver import Impossible, load_foods, read_recipe, solve
from ratio_solver.lp.solve import solve_lp
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.targets import override
from ratio_solver.solving.formulation import formulate

EXAMPLES = Path(__file__).parents[2] / "examples"

TIGHTER: tuple[dict[str, Any], ...] = (
    {}, {"ratio": "4:1"}, {"net_carbs": 1.0}, {"ratio": "3:1", "net_carbs": 3.0}, {"ratio": "4:1", "net_carbs": 2.0},
    {"ratio": "2.5:1", "net_carbs": 5.0},
)


def failed_solve(recipe: Recipe) -> float:
    """Seconds until the solver knows that there is no answer; of pieces in the way only those of what lies between."""
    start = time.perf_counter()
    solve_lp(formulate(recipe).model)
    return time.perf_counter() - start


def asked(base: Recipe, columns: tuple[str, ...]) -> Iterator[tuple[str, Recipe]]:
    """The recipe asked for more than it can do, in each way, with what was asked for."""
    for tighter in TIGHTER:
        yield ", ".join(f"{name} {value}" for name, value in tighter.items()) or "as it is", \
            override(base, columns, **tighter)
    for place, item in enumerate(base.ingredients):
        if item.adjustable and item.piece:
            least = ((item.minimum or 0) // item.piece + 1.2) * item.piece
            narrow = replace(item, minimum=least, maximum=least + 0.6 * item.piece)
            yield f"{item.label} between two pieces", replace(base, ingredients=(
                *base.ingredients[:place], narrow, *base.ingredients[place + 1:]))


def main(runs: int) -> None:
    """Diagnose and print."""
    foods = load_foods(EXAMPLES / "own-foods.csv")
    rows = []
    for path in sorted(EXAMPLES.glob("*.toml")):
        base = read_recipe(path, foods)
        for said, recipe in asked(base, tuple(foods.columns)):
            for exact in (False, True):
                if not isinstance(solve(recipe, foods=foods, exact=exact), Impossible):
                    continue
                beyond = []
                for _ in range(runs):
                    failed = failed_solve(recipe)
                    start = time.perf_counter()
                    solve(recipe, foods=foods, exact=exact)
                    beyond.append(time.perf_counter() - start - failed)
                rows.append((1000 * statistics.median(beyond), f"{path.stem}, {said}{', exact' if exact else ''}"))
    for took, name in sorted(rows):
        print(f"{took:8.0f} ms  {name}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
