"""Many small linear programmes at once, beside those of SciPy; and bounds that are reckoned from any multipliers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from ratio_solver.lp import many


def drawn(rng: np.random.Generator, count: int, lines: int, columns: int) -> tuple[np.ndarray, ...]:
    rows = rng.integers(-5, 6, (count, lines, columns)).astype(float)
    lower = rng.integers(-3, 3, (count, columns)).astype(float)
    upper = lower + rng.integers(0, 6, (count, columns))
    inside = lower + (upper - lower) * rng.random((count, columns))
    bound = np.einsum("pij,pj->pi", rows, inside) + rng.choice([-1.0, 0.0, 4.0, 12.0], (count, lines))
    return rows, np.round(bound, 2), rng.integers(-4, 5, (count, columns)).astype(float), lower, upper


@pytest.mark.parametrize("shape", [(1, 3), (3, 6), (5, 9)])
def test_best_points_are_those_of_scipy(shape: tuple[int, int]) -> None:
    rows, bound, cost, lower, upper = drawn(np.random.default_rng(7), 150, *shape)
    at = many.begun(rows, bound, cost)
    values, empty, ray, lost = many.solve(at, lower, upper)
    prices = many.multipliers(at)
    prices[empty] = ray[empty]
    least, _ = many.least(rows, bound, np.abs(bound), np.where(empty[:, None], 0.0, cost), prices, lower, upper)
    assert not lost.any()
    assert 10 < empty.sum() < 140
    for p in range(len(rows)):
        other = linprog(cost[p], A_ub=-rows[p], b_ub=-bound[p], bounds=np.column_stack((lower[p], upper[p])))
        assert bool(empty[p]) == (other.status == 2)
        if empty[p]:
            assert least[p] > 0  # the multipliers show it
        else:
            assert cost[p] @ values[p, :shape[1]] == pytest.approx(other.fun, abs=1e-7)
            assert other.fun - 1e-7 <= least[p] <= other.fun + 1e-9


def test_equations_are_kept_both_ways() -> None:
    rows, bound, cost, lower, upper = drawn(np.random.default_rng(5), 150, 3, 6)
    equal = np.tile([True, False, False], (150, 1))
    values, empty, _, lost = many.solve(many.begun(rows, bound, cost), lower, upper, equal)
    assert not lost.any()
    assert 10 < empty.sum() < 140
    for p in range(150):
        other = linprog(cost[p], A_ub=-rows[p, 1:], b_ub=-bound[p, 1:], A_eq=rows[p, :1], b_eq=bound[p, :1],
                        bounds=np.column_stack((lower[p], upper[p])))
        assert bool(empty[p]) == (other.status == 2)
        assert empty[p] or cost[p] @ values[p, :6] == pytest.approx(other.fun, abs=1e-7)


def test_without_rows_every_column_is_where_its_cost_prefers_it() -> None:
    rows, bound, cost, lower, upper = drawn(np.random.default_rng(2), 20, 0, 4)
    values, empty, ray, lost = many.solve(many.begun(rows, bound, cost), lower, upper)
    assert not empty.any() and not lost.any() and ray.shape == (20, 0)
    least = np.minimum(cost * lower, cost * upper).sum(axis=1)
    assert ((values >= lower) & (values <= upper)).all() and ((cost * values).sum(axis=1) == least).all()


def test_a_problem_goes_on_from_where_one_with_wider_bounds_ended() -> None:
    rng = np.random.default_rng(3)
    rows, bound, cost, lower, upper = drawn(rng, 200, 3, 6)
    at = many.begun(rows, bound, cost)
    _, empty, _, _ = many.solve(at, lower, upper)
    narrow = np.minimum(upper, lower + rng.integers(0, 3, upper.shape))
    kept = np.flatnonzero(~empty)
    again = at.taken(kept)
    values, none, _, _ = many.solve(again, lower[kept], narrow[kept])
    fresh, none_fresh, _, _ = many.solve(many.begun(rows[kept], bound[kept], cost[kept]), lower[kept], narrow[kept])
    assert (none == none_fresh).all() and 10 < none.sum() < len(kept) - 10
    costs = [np.einsum("pj,pj->p", cost[kept], found[:, :6])[~none] for found in (values, fresh)]
    assert np.allclose(*costs, atol=1e-7)


def test_no_multipliers_at_all_show_more_than_is_true() -> None:
    """Weak duality: whatever the prices, the bound is not above the least cost, found by SciPy."""
    rng = np.random.default_rng(11)
    rows, bound, cost, lower, upper = drawn(rng, 100, 2, 5)
    for _ in range(5):
        prices = rng.random((100, 2)) * rng.choice([0.0, 1.0, 10.0], (100, 2))
        least, _ = many.least(rows, bound, np.abs(bound), cost, prices, lower, upper)
        for p in range(100):
            other = linprog(cost[p], A_ub=-rows[p], b_ub=-bound[p], bounds=np.column_stack((lower[p], upper[p])))
            assert other.status == 2 or least[p] <= other.fun + 1e-9
