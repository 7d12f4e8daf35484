"""Processes that compute for the page, so that none of it waits for a solve, and any solve can be stopped.

Each is reached through a pipe that no other has. One is started ahead; more where it is at work, up to `PROCESSES`. One
whose job is stopped is ended, and another takes its place when it is needed. A job is a function of `answer.py` or
`jobs.py` and what it is called with, after the composition table that the process has.
"""

from __future__ import annotations

import asyncio
import gc
import multiprocessing
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection
from typing import Any

from ratio_solver.errors import RatioSolverError, unforeseen
from ratio_solver.foods.table import load_foods
from ratio_solver.output.child_process import live_with_parent

PROCESSES = 3
"""At once."""

OBJECTS_OF_A_MOVE = 100_000
"""Objects that were made and are not gone, at most, before what can go is looked for: a solve leaves some thousands."""

_CONTEXT = multiprocessing.get_context("spawn")


class Stopped(RatioSolverError):
    """A job was stopped before it was done."""

    def __init__(self) -> None:
        super().__init__("stopped before there was an answer")


def collect_less() -> None:
    """Look through what can go less often than with each move of a hand, and not through the tables, which stay."""
    gc.set_threshold(OBJECTS_OF_A_MOVE)
    gc.freeze()


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
        self.process = _CONTEXT.Process(target=_do_jobs, args=(theirs, tuple(tables)), daemon=True)
        self.process.start()
        theirs.close()

    async def do(self, job: Callable[..., Any], given: tuple[Any, ...]) -> Any:
        """What comes out of a job, or the error that it ends with; `Stopped` where the process is ended before.

        The job is sent at once: whoever waits for it can do something else meanwhile.
        """
        try:
            self._pipe.send((job, given))
            return await asyncio.to_thread(self._pipe.recv)
        except (EOFError, OSError) as error:
            raise Stopped from error

    def end(self) -> None:
        """End the process, whatever it is at."""
        self.process.kill()
        self.process.join()


def _do_jobs(pipe: Connection, tables: tuple[str, ...]) -> None:
    """Do one job after the other, until the pipe is closed."""
    live_with_parent()
    foods = load_foods(*tables)
    collect_less()
    while True:
        try:
            job, given = pipe.recv()
        except EOFError:
            return
        try:
            pipe.send(job(foods, *given))
        except RatioSolverError as error:
            pipe.send(error)
        except Exception as error:  # the last resort: what nobody has thought of is one line as well
            pipe.send(RatioSolverError(unforeseen(error)))


class Workers:
    """The processes of a page, `all` of them."""

    def __init__(self, tables: Sequence[str]) -> None:
        self._tables, self._free = tables, [Worker(tables)]
        self.all = set(self._free)
        self._turns = asyncio.Semaphore(PROCESSES)

    async def do(self, job: Callable[..., Any], *given: Any) -> Any:
        """What comes out of a job; raises what it raises. Cancelled, it ends the process that was at it."""
        async with self._turns:
            worker = self._free.pop() if self._free else Worker(self._tables)
            self.all.add(worker)
            try:
                found = await worker.do(job, given)
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
