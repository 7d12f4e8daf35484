"""A long sweep: every failure of it, not only the first, and how long things took.

Processor time is told, which no other work on the machine adds to, and 5 s of it are the limit of each answer.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import SimpleNamespace

import pytest

from ratio_solver.lp import clock

LATE = 0.5
"""Seconds beyond its limit that an answer may take to end."""

SHOWN = 5


@dataclass
class Sweep:
    """What was counted, the seconds of processor time of each that was timed, and the failures."""

    counts: Counter[str] = field(default_factory=Counter)
    seconds: dict[str, float] = field(default_factory=dict)
    failures: list[str] = field(default_factory=list)

    @contextmanager
    def timed(self, what: str) -> Iterator[None]:
        """Limit what is done within as a command is, by processor time, and count that."""
        begun = time.process_time()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(clock, "time", SimpleNamespace(monotonic=time.process_time))
            try:
                with clock.within(clock.TIME_LIMIT):
                    yield
            finally:
                self.seconds[what] = time.process_time() - begun

    @contextmanager
    def one(self, what: str) -> Iterator[None]:
        """One of many: what fails within is told at the end."""
        try:
            yield
        except Exception as error:  # a defect of any kind
            self.failures.append(f"{what}: {type(error).__name__}: {error}")

    def ended(self) -> Counter[str]:
        """Print the counts and the slowest, then fail with all failures, if there are any."""
        late = clock.TIME_LIMIT + LATE
        slowest = sorted(self.seconds, key=lambda what: -self.seconds[what])[:SHOWN]
        print("\n" + ", ".join(f"{number} {what}" for what, number in sorted(self.counts.items())))
        print(f"{len(self.seconds)} timed, {sum(self.seconds.values()):.0f} s of processor time, "
              f"{sum(each > late for each in self.seconds.values())} over {late:g} s; "
              + "; ".join(f"{self.seconds[what]:.2f} s {what}" for what in slowest))
        assert not self.failures, "\n\n".join([f"{len(self.failures)} failures", *self.failures])
        return self.counts
