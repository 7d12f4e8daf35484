"""Many small menus on a cluster of one and of two workers, and of two of which one is killed in mid-run.

    python -m tests.bench.cluster [FILES [RECIPES [RUNS]]]

Prints seconds by the clock, the three in turn, and the ratio of two workers to one. The cluster is one of this machine,
without a dashboard; workers are processes with one thread, and need a core each.
"""

from __future__ import annotations

import os
import signal
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from distributed import LocalCluster

from ratio_solver import load_foods, run_menu
from ratio_solver.foods.bundled import bundled_path
from tests.bench.menus import write_menu


def timed(files: Sequence[Path], out: Path, workers: int, kill: bool = False) -> float:
    """Seconds for a run over a cluster of so many workers that are at work already; half way one may be killed."""
    foods, killed = load_foods(), []
    with LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as there:
        run_menu(files[:workers], out, foods, cluster=there.scheduler_address)  # whatever is loaded is loaded

        def progress(done: int, total: int) -> None:
            if kill and not killed and done > total / 2:
                killed.append(next(iter(there.workers.values())).pid)
                os.kill(killed[0], signal.SIGKILL)

        begin = time.perf_counter()
        counts = run_menu(files, out, foods, cluster=there.scheduler_address, progress=progress)
        seconds = time.perf_counter() - begin
    assert counts["solved"] + counts["impossible"] > 0 and not counts["unreadable"]
    assert bool(killed) == kill
    return seconds


def main(arguments: Sequence[str]) -> None:
    """Write the menus, run them in turn, print the figures."""
    number, recipes, runs = (*map(int, arguments), *(200, 100, 3)[len(arguments):])
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        for file in range(number):
            write_menu(place / f"{file:04}.csv", recipes, file, bundled_path())
        files = sorted(place.glob("*.csv"))
        found = [[timed(files, place / "out", workers, kill) for workers, kill in ((1, False), (2, False), (2, True))]
                 for _ in range(runs)]
    one, two, killed = (statistics.median(column) for column in zip(*found, strict=True))
    shares = sorted(row[1] / row[0] for row in found)
    print(f"{number} files of {recipes} recipes, medians of {runs} runs on {os.cpu_count()} cores, s:")
    print(f"  one worker {one:.1f}, two {two:.1f}, two of which one is killed half way {killed:.1f}")
    print(f"  two / one: {shares[0]:.2f} to {shares[-1]:.2f}, median {statistics.median(shares):.2f}")


if __name__ == "__main__":
    main(sys.argv[1:])
