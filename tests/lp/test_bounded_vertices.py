"""The errors of vertices are bounded: the exact ones, in rationals, are never farther off."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from ratio_solver.lp.bounded_vertices import vertices
from ratio_solver.lp.stack import Stack, StackSolution


def solved(matrix: list[list[Fraction]], right: list[Fraction]) -> list[Fraction]:
    """Gauss's elimination in rationals."""
    rows = [[*row, end] for row, end in zip(matrix, right, strict=True)]
    for place in range(len(rows)):
        pivot = next(row for row in rows[place:] if row[place])
        rows.remove(pivot)
        rows.insert(place, [value / pivot[place] for value in pivot])
        for other, row in enumerate(rows):
            if other != place:
                rows[other] = [value - row[place] * one for value, one in zip(row, rows[place], strict=True)]
    return [row[-1] for row in rows]


@pytest.mark.parametrize("alike", [1.0, 1e-3, 1e-6, 1e-8])
def test_no_figure_is_farther_off_than_its_bound(alike: float) -> None:
    """Rows of unlike sizes, which are more and more alike; one more variable is fixed."""
    rng, count, size = np.random.default_rng(7), 60, 3
    matrix = rng.uniform(-1, 1, (count, size, size + 1))
    matrix[:, 1] = matrix[:, 0] + alike * matrix[:, 1]
    matrix *= 10.0 ** rng.integers(-1, 2, (count, size, 1))
    bound, cost = rng.uniform(-900, 900, (count, size)), rng.uniform(0.1, 9, (count, size + 1))
    owner, rows = np.repeat(np.arange(count), size + 1), np.repeat(np.arange(count), size)
    row = np.repeat(np.arange(count * size), size + 1)
    column = (rows[row] * (size + 1)) + np.tile(np.arange(size + 1), count * size)
    upper = np.full(len(owner), 500.3)
    stack = Stack(count, cost.ravel(), np.zeros(len(owner)), upper, owner, bound.ravel(),
                  np.zeros(len(rows), dtype=bool), rows, row, column, matrix.ravel())
    free = np.tile(np.arange(size + 1) < size, count)
    found = vertices(stack, np.abs(bound.ravel()), StackSolution(free, ~free, np.ones(len(rows), dtype=bool),
                                                                np.zeros(count, dtype=bool)))
    known, off = np.flatnonzero(found.known), []
    assert len(known) > count * 0.4
    for problem in map(int, known):
        exact = [[Fraction(value) for value in line] for line in matrix[problem].tolist()]
        square = [line[:size] for line in exact]
        right = [Fraction(end) - line[size] * Fraction(500.3)
                 for end, line in zip(bound[problem].tolist(), exact, strict=True)]
        turned = [list(line) for line in zip(*square, strict=True)]
        pairs = ((found.values, found.error, problem * (size + 1), solved(square, right)),
                 (found.prices, found.price_error, problem * size,
                  solved(turned, [Fraction(value) for value in cost[problem, :size].tolist()])))
        for values, errors, first, exactly in pairs:
            for place, value in enumerate(exactly, first):
                off.append(float(abs(Fraction(values[place]) - value) / Fraction(errors[place])))
    assert max(off) <= 1
    assert max(off) > 1e-3  # and the bounds are of use
