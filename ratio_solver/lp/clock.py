"""How long may be searched: a limit of time for all that is done within it.

    with within(5.0):
        ...

Limits nest, and the one that ends first holds; like the context of `decimal` each thread has its own. Without one
nothing ends early, and the same input gives the same answer always. What a limit cuts short is never called proven.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from contextvars import ContextVar
from typing import TypeVar

from ratio_solver.errors import NotProven

Thing = TypeVar("Thing")

TIME_LIMIT = 5.0
"""Seconds for an answer with all that is said of it, unless another limit is given."""

_end: ContextVar[float] = ContextVar("end", default=math.inf)
_seconds_asked: ContextVar[float] = ContextVar("seconds_asked", default=TIME_LIMIT)


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """So many seconds, from now on, for what is done within."""
    token = _end.set(min(_end.get(), time.monotonic() + seconds))
    try:
        yield
    finally:
        _end.reset(token)


def time_left() -> float:
    """Seconds that are left, never less than nothing; infinite where there is no limit."""
    return max(0.0, _end.get() - time.monotonic())


@contextmanager
def limited(seconds: float | None) -> Iterator[None]:
    """So many seconds; without a figure the limit that holds already, else `TIME_LIMIT`."""
    token = _seconds_asked.set(_seconds_asked.get() if seconds is None else seconds)
    try:
        with within(seconds if seconds is not None else math.inf if math.isfinite(_end.get()) else TIME_LIMIT):
            yield
    finally:
        _seconds_asked.reset(token)


def times_usual() -> float:
    """How many times the usual time was asked for, at least once: a limit that merely holds was not asked for."""
    return max(1.0, _seconds_asked.get() / TIME_LIMIT)


def share(parts: float) -> AbstractContextManager[None]:
    """One of so many equal parts of the time that is left, for what is done within."""
    return within(time_left() / parts)


def each_in_time(things: Sequence[Thing]) -> Iterator[Thing]:
    """One thing after the other, each within an equal part of the time that is left."""
    for left, thing in zip(range(len(things), 0, -1), things, strict=True):
        with share(left):
            yield thing


def out_of_time() -> bool:
    """Whether the limit is reached."""
    return time.monotonic() >= _end.get()


def in_time() -> None:
    """Nothing, or an end to what takes long.

    Raises
    ------
    NotProven
        Where the limit is reached.
    """
    if out_of_time():
        raise NotProven("the time is up")
