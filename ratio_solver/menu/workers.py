"""Pieces of menus solved elsewhere, their results in order: in processes of this machine, or on a cluster.

A few of them for each worker are under way or waiting for those before them, whichever menu they are of: so much is
held in memory, and no more. The processes are reached through pipes that no other has: nothing listens, so that nothing
can connect. Whoever controls the scheduler or a worker of a cluster can run what he likes in this process and sees all
that is sent.
"""

from __future__ import annotations

import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, replace
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, Protocol, TypeVar
from uuid import uuid4

import numpy as np

from ratio_solver.errors import BadInput, Fault, lacks_extra
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.read import Piece, parsed
from ratio_solver.menu.solve import NAMED_BEFORE, MenuOptions, solve_frame, solve_table
from ratio_solver.output.child_process import live_with_parent

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

    import pandas as pd


SENT_TOGETHER = 1 << 18
"""Characters of small menus that are sent together: some 600 recipes, on the steps half a second."""


class Counts(dict[str, int]):
    """Recipes by outcome, and how many of them the arrays left to the per-recipe solver."""

    alone = 0


Result = TypeVar("Result", covariant=True)


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


class Task(Protocol[Result]):
    """Something to be solved elsewhere; it is sent there."""

    @property
    def place(self) -> tuple[str, str]:
        """Source and place, for a fault."""

    def solved(self, foods: FoodTable) -> Result:
        """What it comes to."""


Solving = TypeVar("Solving", bound=Task[Any])
Finished = Generator[tuple[Solving, Any], None, None]


@dataclass(frozen=True)
class PieceTask:
    """A piece of a menu, and how its file is solved."""

    piece: Piece
    options: MenuOptions

    @property
    def place(self) -> tuple[str, str]:
        """Its file, and the line on which it begins."""
        return self.piece.menu.source, f"from {self.piece.menu.place(self.piece.first_line)}"

    def solved(self, foods: FoodTable) -> Done:
        """Its tables."""
        return solve_piece(self.piece, foods, self.options)


@dataclass(frozen=True)
class Batch:
    """Pieces that are sent together: of many small menus the sending would take as long as the solving."""

    tasks: tuple[PieceTask, ...]

    @property
    def place(self) -> tuple[str, str]:
        """Where it begins."""
        return self.tasks[0].place

    def solved(self, foods: FoodTable) -> list[Done]:
        """The tables of each piece."""
        return [task.solved(foods) for task in self.tasks]


def batches(tasks: Iterable[PieceTask]) -> Iterator[Batch]:
    """Pieces in their order, as many together as have `SENT_TOGETHER` characters."""
    batch: list[PieceTask] = []
    length = 0
    for task in tasks:
        if batch and length + task.piece.length > SENT_TOGETHER:
            yield Batch(tuple(batch))
            batch, length = [], 0
        batch.append(task)
        length += task.piece.length
    if batch:
        yield Batch(tuple(batch))


@dataclass(frozen=True)
class FrameTask:
    """A partition of a menu in a frame, and how it is solved."""

    frame: pd.DataFrame
    options: MenuOptions
    number: int

    @property
    def place(self) -> tuple[str, str]:
        """Which partition it is."""
        return "frames", f"partition {self.number}"

    def solved(self, foods: FoodTable) -> pd.DataFrame:
        """Its weights."""
        return solve_frame(self.frame, foods, self.options)


def solve_piece(piece: Piece, foods: FoodTable, options: MenuOptions, refused: Mapping[str, str] = {}) -> Done:
    """Parse and solve one piece of a menu and lay its tables out as CSV lines."""
    menu, odd = parsed(piece)
    found = solve_table(menu, foods, options, odd, {**dict.fromkeys(piece.again, NAMED_BEFORE), **refused})
    problems = found.tables["problems"]
    if piece.menu.sheet:  # in which cell of the workbook each problem is; in a recipe file that is said already
        columns = {name: number for number, name in enumerate(piece.menu.header, 1)}
        places = [row["place"] if row["file"] else piece.menu.place(row["line"], columns.get(row["column"], 0))
                  for row in problems.records()]
        problems = problems.with_columns(place=np.array(places, dtype=object))
        found = replace(found, tables={**found.tables, "problems": problems})
    names = [*found.tables["servings"]["recipe"].tolist(), *dict.fromkeys(problems["recipe"].tolist())]
    counts = Counts(found.counts())
    counts.alone = found.alone
    return Done(found.texts(), counts, names, piece.size)


def _in_order(tasks: Iterable[Solving], most: Callable[[], int], submit: Callable[[Solving], Any],
              watched: Callable[[Solving], AbstractContextManager[None]],
              lost: tuple[type[BaseException], ...] = ()) -> Finished[Solving]:
    """Results in order, at most so many tasks under way or waiting for those before them.

    `watched` says of an exception that is met while a task is waited for what it means. A task that is `lost` is done
    again, once.
    """
    waiting: deque[tuple[Solving, Any]] = deque()

    def first() -> tuple[Solving, Any]:
        task, future = waiting.popleft()
        with watched(task):
            try:
                return task, future.result()
            except lost:
                return task, submit(task).result()

    for task in tasks:
        with watched(waiting[0][0] if waiting else task):
            waiting.append((task, submit(task)))
        while len(waiting) > most():
            yield first()
    while waiting:
        yield first()


def in_processes(tasks: Iterable[Solving], foods: FoodTable, workers: int) -> Finished[Solving]:
    """Solve tasks in other processes, a few in flight; a single one in this process.

    Where the generator is closed early the processes end at once.

    Raises
    ------
    BadInput
        Where a process is lost, or the system refuses one.
    """
    cut = iter(tasks)
    start = list(islice(cut, 2))
    if len(start) < 2 or workers == 1:
        for task in chain(start, cut):
            yield task, task.solved(foods)
        return
    with _pool(foods, workers) as pool:
        yield from _in_order(chain(start, cut), lambda: 2 * workers, lambda task: _submitted(pool, task),
                             _process_watched)


@contextmanager
def _pool(foods: FoodTable, workers: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that have the table; where the block is left early they end at once."""
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

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


def _submitted(pool: ProcessPoolExecutor, task: Task[Any]) -> Any:
    """A task handed over; a process may begin, which no interrupt from the keyboard reaches before it is ready."""
    masked = hasattr(signal, "pthread_sigmask")
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if masked else set()
    try:
        return pool.submit(_work, task)
    except OSError as error:
        raise BadInput([Fault("--workers", "", "", f"a process is refused by the system: {error.strerror or error}; "
                                                   "try fewer")]) from error
    finally:
        if masked:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _process_watched(task: Task[Any]) -> Iterator[None]:
    from concurrent.futures.process import BrokenProcessPool

    try:
        yield
    except BrokenProcessPool as error:
        raise _lost(task, "the process that solved this ended (out of memory?): try fewer --workers") from error


def _lost(task: Task[Any], what: str) -> BadInput:
    """What is said of a task that nobody has solved."""
    source, place = task.place
    return BadInput([Fault(source, place, "", what)])


_PREPARED: dict[str, FoodTable] = {}
"""What a worker process has been started with: it is sent once, not with every piece."""


def _prepare(foods: FoodTable) -> None:
    _PREPARED["foods"] = foods
    live_with_parent()


def _work(task: Task[Any]) -> Any:
    return task.solved(_PREPARED["foods"])


def _work_there(task: Task[Any], name: str) -> Any:
    from distributed import get_worker

    kept: Any = get_worker().plugins[name]
    return task.solved(kept.foods)


@contextmanager
def _table_on(client: Any, dask: Any, foods: FoodTable) -> Iterator[str]:
    """The name under which every worker has the table, those too that come later or take the place of a lost one.

    A task that depended on data would go to the workers that have it.
    """

    class Table(dask.WorkerPlugin):  # type: ignore[misc]
        """What each worker keeps."""

        def __init__(self) -> None:
            self.foods = foods

    name = f"ratio-solver-{uuid4().hex}"
    client.register_plugin(Table(), name=name)
    try:
        yield name
    finally:
        with suppress(Exception):  # the cluster is gone, and the table with it
            client.unregister_worker_plugin(name)


def dask_library() -> Any:
    """The library for clusters."""
    try:
        import distributed
    except ImportError as error:
        raise lacks_extra("--cluster", "menus on a cluster", "dask") from error
    return distributed


def on_cluster(tasks: Iterable[Solving], foods: FoodTable, address: str, tls: Mapping[str, str]) -> Finished[Solving]:
    """Solve tasks on the workers of a Dask cluster, a few for each in flight.

    What a worker had that is lost is done again by another: by the scheduler, as often as it allows, then once more.

    Parameters
    ----------
    address : str
        Of its scheduler, as ``tls://host:8786``.
    tls : mapping
        Files for a connection that is encrypted and known on both sides: "ca", "cert" and "key"; may be empty.

    Raises
    ------
    BadInput
        Where it cannot be reached, has no worker, or the one that has a certain task is lost again and again.
    """
    from concurrent.futures import CancelledError

    dask = dask_library()
    gone = OSError, CancelledError, dask.KilledWorker

    @contextmanager
    def watched(task: Solving) -> Iterator[None]:
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
            client.wait_for_workers(1, timeout=20)
        except (*gone, TimeoutError) as error:
            raise BadInput([Fault("--cluster", "", "", f"has no worker that answers: {error}")]) from error
        with _table_on(client, dask, foods) as table:
            yield from _in_order(tasks, lambda: 2 * max(1, sum(client.nthreads().values())) + 1,
                                 lambda task: client.submit(_work_there, task, table, pure=False), watched, gone)
