"""A menu in the kitchen's shares by the whole command: time by the clock, processor time and memory of all processes.

    python -m tests.bench.kitchen [RECIPES [OPTIONS OF THE COMMAND ...]]

The recipes of `tests.bench.kinds` stand in one menu for each preference, of rows and of files, and each menu is one
command. Memory is the largest sum over the processes of a command, shared pages counted once.
"""

from __future__ import annotations

import csv
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from ratio_solver.foods.bundled import bundled_path
from tests.bench.kinds import KINDS, Written, drawn, priced_table

AT_ONCE = 2000
"""Recipes drawn at a time."""

LOOKED_EVERY = 0.2
"""Seconds between two looks at the memory."""

ENDS = {"ratio": "ratio_min", "net_carbs": "net_carbs_max"}
OF_RECIPE = ("recipe", "servings", *ENDS.values(), "ratio_max", "net_carbs_min", "protein_min", "protein_max",
             "fat_max")
OF_INGREDIENT = ("food", "grams", "min", "max", "keep", "step", "piece", "part")


@dataclass(frozen=True)
class Used:
    """What commands took: seconds by the clock and of the processors, and MB."""

    clock: float
    processor: float
    memory: float


def of_kind(name: str, count: int) -> Iterator[Written]:
    """So many recipes of a kind, each with a name of its own."""
    number = list(KINDS).index(name)
    for first in range(0, count, AT_ONCE):
        for place, one in enumerate(drawn(name, min(AT_ONCE, count - first), 1 + first, bundled_path()), first):
            yield replace(one, name=f"dish {number} {place}")


def lines_of(one: Written, by_file: bool, folder: Path) -> Iterator[dict[str, object]]:
    """The rows of a recipe in a menu; where it is a file of its own, that is written."""
    head = {"recipe": one.name, "servings": one.servings,
            **{ENDS.get(column, column): value for column, value in one.targets.items()}}
    if not by_file:
        yield from (({**head, **row} if place == 0 else {"recipe": one.name, **row})
                    for place, row in enumerate(one.rows))
    elif one.file:
        yield head | {"file": one.file}
    else:
        (folder / f"{one.name}.toml").write_text(one.toml(), encoding="utf-8")
        yield {"recipe": one.name, "file": f"{one.name}.toml"}


def write_menus(count: int, folder: Path) -> dict[Path, str]:
    """Menus of so many recipes in the kitchen's shares, and the preference of each."""
    menus: dict[Path, str] = {}
    for name, kind in KINDS.items():
        path = folder / f"{kind.prefer}{'-files' if kind.by_file else ''}.csv"
        with path.open("a", encoding="utf-8", newline="") as file:
            more = ("file",) if kind.by_file else OF_INGREDIENT
            writer = csv.DictWriter(file, (*OF_RECIPE, *more), restval="", lineterminator="\n")
            if path not in menus:
                writer.writeheader()
            for one in of_kind(name, round(count * kind.share / 100)):
                writer.writerows(lines_of(one, kind.by_file, folder))
        menus[path] = kind.prefer
    return menus


def memory_of(process: int) -> float:
    """MB of a process and all that it began, shared pages counted once."""
    total, waiting = 0.0, [process]
    while waiting:
        place = Path(f"/proc/{waiting.pop()}")
        try:
            rollup = (place / "smaps_rollup").read_text()
            waiting += map(int, (place / f"task/{place.name}/children").read_text().split())
        except OSError:  # it has ended
            continue
        total += next(float(line.split()[1]) for line in rollup.splitlines() if line.startswith("Pss:")) / 1024
    return total


def measured(command: list[str]) -> Used:
    """What a command takes."""
    before, begin, memory = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter(), 0.0
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    while process.poll() is None:
        memory = max(memory, memory_of(process.pid))
        time.sleep(LOOKED_EVERY)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert process.returncode in (0, 3), command
    return Used(time.perf_counter() - begin,
                after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, memory)


def main(arguments: list[str]) -> None:
    """Write the menus, solve them, and print the figures."""
    count = int(arguments[0]) if arguments else 20_000
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        priced_table(bundled_path(), place / "foods.csv")
        command = [sys.executable, "-m", "ratio_solver", "menu", "--foods", str(place / "foods.csv"), *arguments[1:]]
        found = {path: measured([*command, "--prefer", prefer, "-o", str(place / f"out-{path.stem}"), str(path)])
                 for path, prefer in write_menus(count, place).items()}
    how = " ".join(arguments[1:]) or "on the steps"
    print(f"{count:,} recipes in the kitchen's shares, {how}, {os.cpu_count()} cores:")
    for path, used in found.items():
        print(f"  {path.stem:16}{used.clock:8.1f} s {used.processor:8.1f} s of processors {used.memory:6.0f} MB")
    print(f"  {'all':16}{sum(used.clock for used in found.values()):8.1f} s "
          f"{sum(used.processor for used in found.values()):8.1f} s of processors "
          f"{max(used.memory for used in found.values()):6.0f} MB at most")


if __name__ == "__main__":
    main(sys.argv[1:])
