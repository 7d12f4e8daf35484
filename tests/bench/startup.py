"""Processor time of whole commands, as multiples of that of loading the solver.

    python -m tests.bench.startup [RUNS [WORD ...]]

The commands and ``from scipy.optimize import linprog`` run in turn, each in a process of its own with the processes
that it starts and all modules compiled, as in an installation; of each the median is given, in ms of processor time
(user and system), and as a multiple of that of the import. Words choose the commands whose names hold one of them.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from ratio_solver.foods.bundled import bundled_path
from tests.bench.menus import write_menu

SOLVER = "from scipy.optimize import linprog"
GRATIN = "examples/celeriac-gratin.toml"
TRIALS = ["swap", GRATIN, "kohlrabi, peeled", "--try-all", "vegetable"]


def commands(folder: Path) -> dict[str, list[str]]:
    """What is run, by name."""
    menu = folder / "menu.csv"
    write_menu(menu, 20, 1, bundled_path())
    tool = ["-m", "ratio_solver"]
    return {
        SOLVER: ["-c", SOLVER],
        "check": [*tool, "check", GRATIN],
        "solve": [*tool, "solve", GRATIN],
        "solve, impossible": [*tool, "solve", "examples/impossible-dumplings.toml"],
        "add-fat": [*tool, "add-fat", GRATIN],
        "adjust": [*tool, "adjust", GRATIN, "--weighed", "celeriac=720"],
        "menu of 20": [*tool, "menu", str(menu), "-o", str(folder / "steps")],
        "menu of 20, --exact": [*tool, "menu", str(menu), "-o", str(folder / "exact"), "--exact"],
        "swap --try-all": [*tool, *TRIALS],
        "swap --try-all, JSON": [*tool, *TRIALS, "--format", "json"],
    }


def processor_time(arguments: Sequence[str], compiled: Path) -> float:
    """Seconds of processor time of a process of Python and of those that it has waited for."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    process = subprocess.Popen([sys.executable, *arguments], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                               env=environment | {"PYTHONPYCACHEPREFIX": str(compiled)})
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode in (0, 3), arguments
    return used.ru_utime + used.ru_stime


def main(arguments: Sequence[str]) -> None:
    """Run the commands in turn, print the medians."""
    runs, words = int(arguments[0]) if arguments else 11, arguments[1:]
    with tempfile.TemporaryDirectory() as folder:
        compiled = Path(folder) / "compiled"
        chosen = {name: command for name, command in commands(Path(folder)).items()
                  if name == SOLVER or not words or any(word in name for word in words)}
        for command in chosen.values():  # the first run compiles what it loads
            processor_time(command, compiled)
        found = [{name: processor_time(command, compiled) for name, command in chosen.items()} for _ in range(runs)]
    medians = {name: statistics.median(run[name] for run in found) for name in chosen}
    print(f"medians of {runs} runs in turn, processor time in ms and as a multiple of the import")
    for name, seconds in medians.items():
        print(f"  {name:36} {seconds * 1000:7.0f} {seconds / medians[SOLVER]:6.2f}")


if __name__ == "__main__":
    main(sys.argv[1:])
