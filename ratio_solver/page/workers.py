"""Processes that compute for the page, so that none of it waits for a solve, and any solve can be stopped.

Each is reached through a pipe that no other has. One is started ahead; more where it is at work, up to `MOST`. A job
that is stopped ends its process, and another one takes its place when it is needed.
"""

from __future__ import annotations

import asyncio
import gc
import multiprocessing
from collections.abc import Sequence
from multiprocessing.connection import Connection
from typing import Any, Protocol

from ratio_solver.errors import RatioSolverError, unforeseen
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.output.child_process import live_with_parent

MOST = 3
"""Processes at once."""

_CONTEXT = multiprocessing.get_context("spawn")


class Stopped(RatioSolverError):
    """A job was stopped before it was done."""

    def __init__(self) -> None:
        super().__init__("stopped before there was an answer")


class Job(Protocol):
    """What can be sent to a process and done there with the composition table (`ratio_solver.page.jobs`)."""

    def done(self, foods: FoodTable) -> Any:
        """What came out, which can be sent back."""


class Worker:
    """A process with the composition tables, for one job at a time.

    Parameters
    ----------
    tables : sequence of str
        As `load_foods` takes them.

    Attributes
    ----------
    process : multiprocessing.Process
    """

    def __init__(self, tables: Sequence[str]) -> None:
        self._pipe, theirs = _CONTEXT.Pipe()
        self.process = _CONTEXT.Process(target=_work, args=(theirs, tuple(tables)), daemon=True)
        self.process.start()
        theirs.close()

    async def do(self, job: Job) -> Any:
        """What comes out of a job, or the error that it ends with; `Stopped` where the process is ended before.

        The job is sent at once: whoever waits for it can do something else meanwhile.
        """
        try:
            self._pipe.send(job)
            return await asyncio.to_thread(self._pipe.recv)
        except (EOFError, OSError) as error:
            raise Stopped from error

    def end(self) -> None:
        """End the process, whatever it is at."""
        self.process.kill()
        self.process.join()


def _work(pipe: Connection, tables: tuple[str, ...]) -> None:
    """Do one job after the other, until the pipe is closed."""
    live_with_parent()
    foods = load_foods(*tables)
    gc.freeze()  # the tables stay: they need not be looked through for what can go
    while True:
        try:
            job = pipe.recv()
        except EOFError:
            return
        try:
            pipe.send(job.done(foods))
        except RatioSolverError as error:
            pipe.send(error)
        except Exception as error:  # the last resort: what nobody has thought of is one line as well
            pipe.send(RatioSolverError(unforeseen(error)))


class Workers:
    """The processes of a page, `all` of them."""

    def __init__(self, tables: Sequence[str] = (), most: int = MOST) -> None:
        self._tables, self._free = tuple(tables), [Worker(tables)]
        self.all = set(self._free)
        self._turns = asyncio.Semaphore(most)

    async def do(self, job: Job) -> Any:
        """What comes out of a job. Cancelled, it ends the process that was at it."""
        async with self._turns:
            worker = self._free.pop() if self._free else Worker(self._tables)
            self.all.add(worker)
            try:
                found = await worker.do(job)
            except (asyncio.CancelledError, Stopped):
                self.all.discard(worker)
                worker.end()
                raise
            self._free.append(worker)
        if isinstance(found, RatioSolverError):
            raise found
        return found

    def end(self) -> None:
        """End all of them."""
        for worker in self.all:
            worker.end()
        self.all.clear()
        self._free.clear()
