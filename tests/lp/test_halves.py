"""Weights parted in two halves with as even numbers of sums as there are: against every way to part them."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np

from ratio_solver.lp.halves import PARTED_BEST, _numbers_of_sums


def test_the_halves_are_as_even_as_can_be() -> None:
    rng = random.Random(5)
    for _ in range(60):
        spans = [rng.choice((1, 2, 5, 8, 14, 19, 28, 38, 120)) for _ in range(rng.randint(1, PARTED_BEST))]
        larger = max(_numbers_of_sums(np.array(spans)))
        for size in range(len(spans) + 1):
            for half in itertools.combinations(range(len(spans)), size):
                first = math.prod(spans[place] for place in half)
                assert larger <= max(first, math.prod(spans) // first) * (1 + 1e-9), spans


def test_nine_weights_in_coarse_steps_are_all_listed() -> None:
    """By hand: 18 x 14 x 8 x 8 x 21 = 338,688 sums and 19 x 16 x 28 x 38 = 323,456."""
    assert sorted(_numbers_of_sums(np.array([19, 18, 16, 14, 28, 38, 8, 8, 21, 1]))) == [323_456, 338_688]


def test_of_many_weights_the_rest_are_given_to_the_smaller_half() -> None:
    first, second = _numbers_of_sums(np.array([3] * (PARTED_BEST + 8)))
    assert first == second == 3 ** (PARTED_BEST // 2 + 4)
