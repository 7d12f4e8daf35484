"""Branch and bound for many programmes at once, beside every point of their boxes, one by one."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from ratio_solver.lp import branching
from ratio_solver.lp.branching import Programmes, searched

GRID = 0.25


def never(problem: int, k: np.ndarray, unsure: np.ndarray) -> bool:
    raise AssertionError("these points lie clear of every row, or on the wrong side of it")


def drawn(seed: int, count: int, between: bool) -> Programmes:
    """Three variables from 0 to 4 each, two rows that no point meets to the last digit, costs in quarters."""
    rng = np.random.default_rng(seed)
    per_step = rng.integers(-4, 5, (count, 2, 3)).astype(float)
    base = rng.integers(0, 5, (count, 3)).astype(float)
    low, high = np.zeros((count, 3)), np.full((count, 3), 4.0)
    middle = rng.random((count, 3)) < 0.5 if between else np.zeros((count, 3), dtype=bool)
    each = rng.integers(1, 9, (count, 3)) * GRID
    share = rng.integers(-3, 4, (count, 3)) / 4  # of the cost of a step, of the piece between
    blocks = [per_step, -per_step, np.where(middle[:, None], per_step, 0.0)]
    costs = [each, each, each * share * middle]
    inside = rng.integers(0, 5, (count, 3))
    bound = np.einsum("pij,pj->pi", per_step, inside - base) + rng.choice([-2.03, 0.03, 1.07], (count, 2))
    wide = 3 if between else 2
    return Programmes(np.concatenate(blocks[:wide], axis=2), bound, np.abs(bound), np.concatenate(costs[:wide], axis=1),
                      base, low, high, middle if between else None, np.ones((count, 3)), 2)


def by_hand(given: Programmes, problem: int) -> list[tuple[float, tuple[int, ...]]]:
    """Cost and values of all points that keep the rows, the best first."""
    found = []
    for k in product(range(5), repeat=3):
        x = given.columns(np.array([problem]), np.array([k], dtype=float))[0]
        if (given.rows[problem] @ x >= given.bound[problem]).all():
            found.append((float(given.cost[problem] @ x), k))
    return sorted(found)


@pytest.mark.parametrize("between", [False, True])
def test_the_least_cost_is_that_of_every_point_tried(between: bool) -> None:
    given = drawn(5, 120, between)
    found = searched(given, lambda best: best - GRID / 16, never, np.ones(120, dtype=bool))
    assert found.complete.all()
    none = 0
    for problem in range(120):
        points = by_hand(given, problem)
        none += not points
        assert found.cost[problem] == pytest.approx(points[0][0] if points else np.inf)
        if points:
            assert (found.cost[problem], tuple(found.values[problem].astype(int))) in points
    assert 5 < none < 60


@pytest.mark.parametrize("between", [False, True])
def test_a_best_point_that_is_not_alone_is_told(between: bool) -> None:
    given = drawn(6, 120, between)
    hairs = np.random.default_rng(1).integers(0, 9, given.cost.shape) * 1e-9
    given = replace(given, cost=given.cost + hairs)
    found = searched(given, lambda best: best + 1e-7, never, np.ones(120, dtype=bool))
    assert found.complete.all()
    tied = 0
    for problem in range(120):
        points = by_hand(given, problem)
        if points:
            alone = len(points) == 1 or points[1][0] > points[0][0] + 1e-7
            tied += not alone
            assert bool(found.tied[problem]) == (not alone)
            assert found.cost[problem] == pytest.approx(points[0][0], abs=1e-12)
    assert 10 < tied < 110


def test_only_better_points_than_those_known_are_looked_for() -> None:
    given = drawn(7, 60, True)
    best = searched(given, lambda cost: cost - GRID / 16, never, np.ones(60, dtype=bool)).cost
    there = np.isfinite(best)
    again = searched(given, lambda cost: cost - GRID / 16, never, there, np.where(there, best, 0.0))
    assert (again.cost[there] == best[there]).all()
    better = searched(given, lambda cost: cost - GRID / 16, never, there, np.where(there, best + GRID, 0.0))
    assert np.allclose(better.cost[there], best[there])


def test_a_point_on_a_row_counts_where_rationals_say_so() -> None:
    """k1 + k2 >= 3 is met to the last digit by the best points; whether that is enough `keeps` says."""
    rows = np.array([[[1.0, 1.0, -1.0, -1.0]]])
    given = Programmes(rows, np.array([[3.0]]), np.array([[3.0]]), np.array([[1.0, 2.0, 1.0, 2.0]]), np.zeros((1, 2)),
                       np.zeros((1, 2)), np.full((1, 2), 5.0), None, np.ones((1, 2)), 1)
    for kept, values, cost in ((True, [3, 0], 3.0), (False, [4, 0], 4.0)):
        found = searched(given, lambda best: best + 1e-7, lambda *point, kept=kept: kept, np.ones(1, dtype=bool))
        assert found.values[0].tolist() == values and found.cost[0] == cost and found.complete[0]


def test_a_search_that_takes_too_many_nodes_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(branching, "MOST_NODES", 3)
    found = searched(drawn(5, 120, False), lambda best: best + 1e-7, never, np.ones(120, dtype=bool))
    assert 0 < (~found.complete).sum() < 120
