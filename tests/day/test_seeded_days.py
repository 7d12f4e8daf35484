"""Seeded days in both modes against solvers that are not HiGHS, formulated by code that shares nothing with ours."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from ratio_solver import load_foods, read_days, solve_day
from tests.day.days import all_seeds, drawn_day
from tests.day.second_opinion import Kitchen
from tests.oracle.second_opinion import NoOpinion

SOME, ALL = range(20), all_seeds()
FEW, MANY = (3, 2, 4), (6, 5, 8)
"""Most people, meals and dishes."""

SECONDS_OF_SCIP = 200.0
"""What SCIP has not solved by then is judged by parts: whether it finds that our portions keep all, and a bound."""


def judged(seed: int, folder: Path, together: bool, most: tuple[int, int, int] = MANY) -> str:
    """What the day came to, where both agree."""
    drawn = drawn_day(seed, together=together, most=most)
    file, table = drawn.written_to(folder)
    [day] = read_days(file, load_foods(table, bundled=False))
    by_parts: list[str] = []
    for exact in (True, False):
        ours = solve_day(day, together=together, exact=exact, time_limit=120)
        other = Kitchen(drawn.day, drawn.recipes, drawn.rows, together, whole=not exact)
        try:
            theirs = other.solved(seconds=SECONDS_OF_SCIP)
        except NoOpinion:
            if not ours.proven:
                ours = solve_day(day, together=together, exact=exact, time_limit=3600)
            assert ours.outcome == "solved" and ours.proven and not together, seed
            portions = {(had.person, had.meal, other.things(had.meal)[had.course][0]): had.grams for had in ours.had}
            assert other.agrees(portions, ours.moved), seed
            by_parts = ["by parts"]
            continue
        farther = ours.outcome == "solved" and not ours.proven and float(ours.moved) > theirs.moved * (1 + 1e-6)
        if farther or ours.outcome == "undecided":  # what is left open is given an hour
            ours = solve_day(day, together=together, exact=exact, time_limit=3600)
        assert (ours.outcome == "solved") == (theirs.status == "optimal"), (seed, exact, ours.outcome, theirs)
        if ours.outcome == "solved":
            assert abs(float(ours.moved) - theirs.moved) <= 1e-6 * max(1.0, theirs.moved), (seed, exact)
            assert ours.proven or (not exact and ours.least < ours.moved)  # or the gap is stated
            assert all(state.limit.margin(answer.grams_of_each) >= (-1e-6 if exact else 0)
                       for _, answer in ours.answers for state in answer.limits)
    return " ".join([ours.outcome, *by_parts, *drawn.tags])


@pytest.mark.parametrize("together", [False, True], ids=["serve", "together"])
def test_days_come_out_as_another_solver_says(tmp_path: Path, together: bool) -> None:
    seen = Counter(judged(seed, tmp_path, together, FEW) for seed in SOME)
    counted(seen, 3)


def counted(seen: Counter[str], least: int) -> None:
    """There were days of both kinds; says how many of which."""
    print(dict(seen))
    for kind in ("solved", "impossible"):
        assert sum(n for name, n in seen.items() if name.startswith(kind)) >= least, seen


@pytest.mark.slow
@pytest.mark.parametrize("together", [False, True], ids=["serve", "together"])
def test_two_hundred_days_come_out_as_another_solver_says(tmp_path: Path, together: bool) -> None:
    counted(Counter(judged(seed, tmp_path, together) for seed in ALL), len(ALL) // 10)
