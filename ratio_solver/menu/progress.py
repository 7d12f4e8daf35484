"""How far a menu is, on a terminal and nowhere else."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn


@contextmanager
def shown_progress(name: str) -> Iterator[Callable[[int, int], None] | None]:
    """A function to call with the bytes done and the bytes there are; None where no terminal looks on."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    with Progress(TextColumn("{task.description}", markup=False), BarColumn(), TextColumn("{task.percentage:>3.0f} %"),
                  TimeRemainingColumn(), console=console, transient=True, auto_refresh=False) as bar:
        task = bar.add_task(name)
        bar.refresh()  # drawn by hand: a thread that draws would keep worker processes from being forked
        yield lambda done, total: bar.update(task, completed=done, total=max(total, 1), refresh=True)
