"""Pieces of a menu solved elsewhere, their results in order: in processes of this machine, or on a cluster.

The processes are reached through pipes that no other has: nothing listens, so that nothing can connect. Whoever
controls the scheduler or a worker of a cluster can run what he likes in this process and sees all that is sent.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from itertools import chain, islice
from multiprocessing.connection import wait
from typing import Any

import numpy as np

from ratio_solver.errors import BadInput, Fault, lacks_extra
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.read import Piece, frame_of, parsed
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
    names : list of str
        Of all its recipes.
    size : int
        Bytes of the menu that it was.
    """

    texts: Mapping[str, bytes]
    counts: Counts
    names: list[str]
    size: int


Finished = Generator[tuple[Task, Done], None, None]


def solve_piece(piece: Piece, foods: FoodTable, options: MenuOptions, refused: Mapping[str, str] = {}) -> Done:
    """Parse and solve one piece of a menu and lay its tables out as CSV lines."""
    lines, rows, odd = parsed(piece)
    tables = solve_menu(frame_of(piece.menu.header, lines, rows), foods, options, odd=odd, refused=refused)
    if piece.menu.sheet:  # in which cell of the workbook each problem is; in a recipe file that is said already
        columns: dict[object, int] = {name: number for number, name in enumerate(piece.menu.header, 1)}
        found = tables.problems[["line", "column", "file", "place"]].to_numpy().tolist()
        tables.problems["place"] = np.array([place if file else piece.menu.place(line, columns.get(column, 0))
                                             for line, column, file, place in found], dtype=object)
    names = [*tables.servings["recipe"].tolist(), *tables.problems["recipe"].drop_duplicates().tolist()]
    return Done(tables.texts(), tables.counts(), names, piece.size)


def _in_order(tasks: Iterable[Task], most: int, submit: Callable[[Task], Any],
              watched: Callable[[Task], AbstractContextManager[None]]) -> Finished:
    """Results in order, at most so many tasks under way or waiting for those before them.

    `watched` says of an exception that is met while a task is waited for what it means.
    """
    waiting: deque[tuple[Task, Any]] = deque()

    def first() -> tuple[Task, Done]:
        task, future = waiting.popleft()
        with watched(task):
            return task, future.result()

    for task in tasks:
        with watched(waiting[0][0] if waiting else task):
            waiting.append((task, submit(task)))
        if len(waiting) > most:
            yield first()
    while waiting:
        yield first()


def in_processes(tasks: Iterable[Task], foods: FoodTable, workers: int) -> Finished:
    """Solve pieces in other processes, a few in flight; a single one in this process.

    Where the generator is closed early the processes end at once.

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
        yield from _in_order(chain(start, cut), 2 * workers, lambda task: _submitted(pool, task), _process_watched)


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


def _submitted(pool: ProcessPoolExecutor, task: Task) -> Any:
    """A task handed over; a process may begin, which no interrupt from the keyboard reaches before it is ready."""
    masked = hasattr(signal, "pthread_sigmask")
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if masked else set()
    try:
        return pool.submit(_work, *task)
    except OSError as error:
        raise BadInput([Fault("--workers", "", "", f"a process is refused by the system: {error.strerror or error}; "
                                                   "try fewer")]) from error
    finally:
        if masked:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _process_watched(task: Task) -> Iterator[None]:
    try:
        yield
    except BrokenProcessPool as error:
        raise _lost(task, "the process that solved this ended (out of memory?): try fewer --workers") from error


def _lost(task: Task, what: str) -> BadInput:
    """What is said of a piece that nobody has solved."""
    menu, line = task[0].menu, task[0].first_line
    return BadInput([Fault(menu.source, f"from {menu.place(line)}", "", what)])


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


def dask_library() -> Any:
    """The library for clusters."""
    try:
        import distributed
    except ImportError as error:
        raise lacks_extra("--cluster", "menus on a cluster", "dask") from error
    return distributed


def on_cluster(tasks: Iterable[Task], foods: FoodTable, address: str, tls: Mapping[str, str]) -> Finished:
    """Solve pieces on the workers of a Dask cluster, a few for each in flight.

    Parameters
    ----------
    address : str
        Of its scheduler, as ``tls://host:8786``.
    tls : mapping
        Files for a connection that is encrypted and known on both sides: "ca", "cert" and "key"; may be empty.

    Raises
    ------
    BadInput
        Where it cannot be reached, has no worker, or loses one again and again.
    """
    dask = dask_library()
    gone = OSError, CancelledError, dask.KilledWorker

    @contextmanager
    def watched(task: Task) -> Iterator[None]:
        try:
            yield
        except ImportError as error:
            raise BadInput([Fault("--cluster", "", "", f"a worker lacks what this needs: {error}")]) from error
        except gone as error:
            raise _lost(task, "the worker that solved this was lost (out of memory?): try again, or with workers that "
                              "have more memory") from error

    try:
        security = dask.Security(tls_ca_file=tls.get("ca"), tls_client_cert=tls.get("cert"),
                                 tls_client_key=tls.get("key"), require_encryption=True) if tls else None
        client = dask.Client(address, timeout=20, security=security)
    except (OSError, ValueError, TypeError, RuntimeError) as error:
        raise BadInput([Fault("--cluster", "", address, f"cannot be reached: {error}")]) from error
    with client:
        try:
            table = client.scatter(foods, broadcast=True)
        except gone as error:
            raise BadInput([Fault("--cluster", "", "", f"has no worker that answers: {error}")]) from error
        yield from _in_order(tasks, 2 * max(1, len(client.scheduler_info()["workers"])) + 1,
                             lambda task: client.submit(solve_piece, task[0], table, task[1], pure=False), watched)
