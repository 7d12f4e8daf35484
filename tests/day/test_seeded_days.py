"""Seeded days in both modes against solvers that are not HiGHS, formulated by code that shares nothing with ours."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from ratio_solver import load_foods, read_days, solve_day
from tests.day.days import drawn_day
from tests.day.second_opinion import Kitchen

SOME, ALL = range(20), range(20, 220)


def judged(seed: int, folder: Path, together: bool) -> str:
    """What the day came to, where both agree."""
    drawn = drawn_day(seed, together=together)
    file, table = drawn.written_to(folder)
    [day] = read_days(file, load_foods(table, bundled=False))
    for exact in (True, False):
        ours = solve_day(day, together=together, exact=exact)
        theirs = Kitchen(drawn.day, drawn.recipes, drawn.rows, together, whole=not exact).solved()
        assert (ours.outcome == "solved") == (theirs.status == "optimal"), (seed, exact, ours.outcome, theirs)
        if ours.outcome == "solved":
            assert abs(float(ours.moved) - theirs.moved) <= 1e-6 * max(1.0, theirs.moved), (seed, exact)
            assert ours.proven
            assert all(state.limit.margin(answer.grams_of_each) >= (-1e-6 if exact else 0)
                       for _, answer in ours.answers for state in answer.limits)
    return " ".join([ours.outcome, *drawn.tags])


@pytest.mark.parametrize("together", [False, True], ids=["serve", "together"])
def test_days_come_out_as_another_solver_says(tmp_path: Path, together: bool) -> None:
    seen = Counter(judged(seed, tmp_path, together) for seed in SOME)
    assert sum(n for kind, n in seen.items() if kind.startswith("solved")) >= 5, seen
    assert sum(n for kind, n in seen.items() if kind.startswith("impossible")) >= 3, seen
