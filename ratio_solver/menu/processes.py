"""Pieces of a menu solved in processes of this machine, reached through pipes that no other process has."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Generator, Iterable, Iterator, Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import blake2b
from itertools import chain, islice
from multiprocessing.connection import wait
from typing import Any

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.read import Opened, Piece, frame_of, parsed
from ratio_solver.menu.report import rendered
from ratio_solver.menu.solve import MenuOptions, solve_menu

Counts = dict[str, int]

Task = tuple[Piece, MenuOptions]
"""A piece, and how its file is solved."""


@dataclass(frozen=True)
class Done:
    """A piece of a menu, solved.

    Attributes
    ----------
    texts : mapping of table to CSV lines
    counts : mapping
        Recipes "solved", "impossible" and "unreadable".
    names : dict of int to str
        Names of the recipes by their hashes.
    size : int
        Bytes of the menu that it was.
    """

    texts: Mapping[str, bytes]
    counts: Counts
    names: dict[int, str]
    size: int


def in_processes(tasks: Iterable[Task], foods: FoodTable, workers: int) -> Generator[tuple[Task, Done], None, None]:
    """Solve pieces in other processes, at most a few in flight, results in order; a single one in this process.

    Nothing listens, so that nothing can connect. Where the generator is closed early the processes end at once.

    Raises
    ------
    BadInput
        Where a process is lost, or the system refuses one.
    """
    cut = iter(tasks)
    start = list(islice(cut, 2))
    if len(start) < 2 or workers == 1:
        for piece, options in chain(start, cut):
            yield (piece, options), solve_piece(piece, foods, options)
        return
    with _pool(foods, workers) as pool:
        waiting: deque[tuple[Task, Future[Done]]] = deque()
        for task in chain(start, cut):
            with _starting(waiting[0][0] if waiting else task):
                waiting.append((task, pool.submit(_work, *task)))
            if len(waiting) > 2 * workers:
                first, future = waiting.popleft()
                yield first, _result(first, future)
        while waiting:
            first, future = waiting.popleft()
            yield first, _result(first, future)


@contextmanager
def _pool(foods: FoodTable, workers: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that have the table; where the block is left early they end at once."""
    alone = threading.active_count() == 1 and "fork" in multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("fork" if alone else "spawn")
    others = set(multiprocessing.active_children())
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_prepare, initargs=(foods,)) as pool:
        try:
            yield pool
        except BaseException:
            for process in set(multiprocessing.active_children()) - others:
                process.kill()
            raise


@contextmanager
def _starting(first: Task) -> Iterator[None]:
    """A process may begin: no interrupt from the keyboard reaches it before it is ready for that."""
    masked = hasattr(signal, "pthread_sigmask")
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if masked else set()
    try:
        yield
    except BrokenProcessPool as error:
        raise _lost(first) from error
    except OSError as error:
        raise BadInput([Fault("--workers", "", "", f"a process is refused by the system: {error.strerror or error}; "
                                                   "try fewer")]) from error
    finally:
        if masked:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _result(task: Task, future: Future[Done]) -> Done:
    try:
        return future.result()
    except BrokenProcessPool as error:
        raise _lost(task) from error


def _lost(task: Task) -> BadInput:
    menu, line = task[0].menu, task[0].first_line
    return BadInput([Fault(menu.source, f"from {menu.place(line)}", "",
                           "the process that solved this ended (out of memory?): try fewer --workers")])


_PREPARED: dict[str, FoodTable] = {}
"""What a worker process has been started with: it is sent once, not with every piece."""


def _prepare(foods: FoodTable) -> None:
    _PREPARED["foods"] = foods
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the keyboard interrupts the command, and that ends this process
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    parent = multiprocessing.parent_process()
    if parent is not None:  # a command that is killed leaves no process behind
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    """End this process when the one that started it has ended."""
    wait([sentinel])
    os._exit(1)


def _work(piece: Piece, options: MenuOptions) -> Done:
    return solve_piece(piece, _PREPARED["foods"], options)


def solve_piece(piece: Piece, foods: FoodTable, options: MenuOptions, refused: Mapping[str, str] = {}) -> Done:
    """Parse and solve one piece of a menu and lay its tables out as CSV lines."""
    lines, rows, odd = parsed(piece)
    frame = frame_of(piece.menu.header, lines, rows)
    tables = solve_menu(frame, foods, options, odd=odd, refused=refused)
    if piece.menu.sheet:
        tables.problems["place"] = _cells_of(tables.problems, piece.menu)
    outcomes = tables.servings["outcome"]
    solved = int((outcomes == "solved").sum())
    counts = {"solved": solved, "impossible": len(outcomes) - solved,
              "unreadable": int(tables.problems.index.nunique())}
    names = [*tables.servings["recipe"].tolist(), *tables.problems["recipe"].drop_duplicates().tolist()]
    return Done(rendered(tables), counts, {hash_of(name): name for name in names}, piece.size)


def _cells_of(problems: Any, menu: Opened) -> list[str]:
    """In which cell of the workbook each problem is; in a recipe file that is said already."""
    columns = {name: number for number, name in enumerate(menu.header, 1)}
    return [place if file else menu.place(int(line), columns.get(column, 0))
            for line, column, file, place in zip(*(problems[name].tolist() for name in
                                                   ("line", "column", "file", "place")), strict=True)]


def hash_of(name: str) -> int:
    """A name as a number, the same in every process."""
    return int.from_bytes(blake2b(name.encode("utf-8", "replace"), digest_size=8).digest(), "big")

