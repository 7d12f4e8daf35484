"""A proof by multipliers that a model has no point: never of one that has, and mostly of one that has none."""

from __future__ import annotations

import random
from fractions import Fraction

from ratio_solver.lp.infeasible import impossible_rows
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.solve import branched


def drawn(seed: int) -> LinearModel:
    rng = random.Random(seed)
    count = rng.randint(2, 6)
    variables = tuple(Variable(f"x{k}", Fraction(0), Fraction(rng.randint(1, 20))) for k in range(count))
    rows = []
    for k in range(rng.randint(2, 10)):
        coefficients = tuple(Fraction(rng.randint(-9, 9), rng.randint(1, 5)) for _ in range(count))
        sense = rng.choice((">=", "<=", ">=", "<=", "=="))
        rows.append(Row(f"r{k}", coefficients, sense, Fraction(rng.randint(-30, 30), 7)))
    return LinearModel(variables, tuple(rows), ((Fraction(0),) * count,))


def test_what_is_shown_is_so_by_the_exact_simplex_method() -> None:
    shown = none = 0
    for seed in range(300):
        model = drawn(seed)
        proof = impossible_rows(model)
        has_point = branched(model, (), 1).basis is not None
        none += not has_point
        if proof is not None:
            shown += 1
            assert not has_point, seed
            alone = LinearModel(model.variables, tuple(model.rows[place] for place in sorted(proof)), model.costs)
            assert branched(alone, (), 1).basis is None, seed  # the rows that are named are enough
    assert none >= 60 and shown >= 0.95 * none
