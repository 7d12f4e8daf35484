"""How time and memory grow with the ingredients of a recipe, and with what there is to choose from.

    python -m tests.bench.sizes [INGREDIENTS ...]

Recipes of 10, 100 and 1,000 ingredients (the most that a file may have) unless said otherwise, all of them adjustable,
of invented foods; then two with a choice, at most 8 of 30 and at most 20 of 40 candidates beside 8 fixed ingredients.
Each is checked, solved on the steps and between them, solved with a ratio and net carbs that it cannot have, and drawn
as a curve, every time by a command of its own. Prints the processor time of the whole command in s, and its peak memory
in MB; a command that refuses so many with a fault is marked, and one that is ended after a minute of processor time.
"""

from __future__ import annotations

import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.oracle.recipes import random_table, to_toml, write_table
from tests.oracle.second_opinion import Dish

SIZES = (10, 100, 1000)
CHOICES = ((8, 30), (20, 40))
FIXED_BESIDE = 8
MINUTE = 60
ENDED = {0: "", 3: "", 1: "refused ", -signal.SIGXCPU: "ended ", -signal.SIGKILL: "ended "}
"""What is printed beside the figures, by exit code."""

ROOT = Path(__file__).resolve().parents[2]

QUESTIONS: Mapping[str, tuple[str, ...]] = {
    "check": ("check",), "solve": ("solve",), "solve --exact": ("solve", "--exact"),
    "impossible": ("solve", "--ratio", "9:1", "--net-carbs", "0.2"), "curve": ("curve",),
}


@dataclass(frozen=True)
class Spent:
    """Processor time, s, and peak memory, MB, of a command, with its exit code."""

    seconds: float
    megabytes: float
    code: int


def a_recipe(count: int, seed: int = 1) -> tuple[dict[str, Any], list[dict[str, str]]]:
    """So many adjustable ingredients, a ratio a fifth above that of the start, and net carbs a twentieth below."""
    rng, rows = random.Random(seed), random_table(seed, count)
    entries = [{"food": row["food"], "grams": start, "min": start // 3, "max": 3 * start}
               for row in rows if (start := rng.randint(6, 60))]
    return _asked({"title": f"{count} ingredients", "servings": max(1, count // 3), "ingredients": entries}, rows)


def a_choice(most: int, candidates: int, seed: int = 2) -> tuple[dict[str, Any], list[dict[str, str]]]:
    """At most so many of the candidates, beside fixed ingredients."""
    rng, rows = random.Random(seed), random_table(seed, candidates + FIXED_BESIDE)
    entries = [{"food": row["food"], "grams": rng.randint(5, 40), "min": 0, "max": 120} for row in rows[:candidates]]
    entries += [{"food": row["food"], "grams": rng.randint(10, 80)} for row in rows[candidates:]]
    names = [entry["food"] for entry in entries[:candidates]]
    return _asked({"title": f"{most} of {candidates}", "servings": 8, "ingredients": entries,
                   "choose": [{"from": names, "at_most": most}]}, rows)


def _asked(recipe: dict[str, Any], rows: list[dict[str, str]]) -> tuple[dict[str, Any], list[dict[str, str]]]:
    dish = Dish(recipe, rows)
    fat, protein, net = (float(sum(amount * dish.ingredients[i].start for i, amount in dish.amounts(name).items()))
                         for name in ("fat", "protein", "net_carbs"))
    targets = {"ratio": round(1.2 * fat / (protein + net), 2), "net_carbs": round(0.95 * net / recipe["servings"], 2)}
    return recipe | {"targets": targets}, rows


def spent(arguments: Sequence[str | Path]) -> Spent:
    """What a command takes."""
    process = subprocess.Popen([sys.executable, "-m", "ratio_solver", *map(str, arguments)], cwd=ROOT,
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                               preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (MINUTE, MINUTE + 1)))
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return Spent(usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, process.returncode)


def main(sizes: Sequence[int]) -> None:
    """Write, run and print."""
    asked = [a_recipe(count) for count in sizes] + [a_choice(*choice) for choice in CHOICES]
    print(f"{'':20}" + "".join(f"{name:>21}" for name in QUESTIONS))
    for recipe, rows in asked:
        with tempfile.TemporaryDirectory() as folder:
            path, table = Path(folder, "recipe.toml"), Path(folder, "own.csv")
            path.write_text(to_toml(recipe), encoding="utf-8")
            write_table(table, rows)
            found = [spent((*question, path, "--foods", table)) for question in QUESTIONS.values()]
        print(f"{recipe['title']:20}" + "".join(
            f"{ENDED.get(one.code, '?'):>9}{one.seconds:5.2f} s {one.megabytes:3.0f} MB"
            for one in found), flush=True)


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or SIZES)
