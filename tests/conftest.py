"""What holds for every test: as much time as it takes, so that none hangs on how fast or busy a machine is."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ratio_solver.lp.clock import within


@pytest.fixture(autouse=True)
def time_enough() -> Iterator[None]:
    with within(3600):
        yield
