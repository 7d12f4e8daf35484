"""Small models drawn at random, and what other solvers say of them."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from ratio_solver.lp.model import LinearModel, Row, Variable

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

ZERO, ONE = Fraction(0), Fraction(1)


def drawn_model(rng: random.Random, step: bool = False) -> LinearModel:
    """Two to five variables from 0 to 20, two to six rows in whole figures."""
    count = rng.randint(2, 5)
    variables = tuple(Variable(f"x{j}", ZERO, Fraction(rng.randint(1, 20)),
                               Fraction(rng.choice((1, 2, 5))) if step else None) for j in range(count))
    rows = tuple(Row(f"r{k}", tuple(Fraction(rng.randint(-5, 5)) for _ in range(count)), rng.choice((">=", "<=")),
                     Fraction(rng.randint(-25, 45))) for k in range(rng.randint(2, 6)))
    return LinearModel(variables, rows, (tuple(Fraction(rng.randint(1, 9)) for _ in range(count)),))


def others_say(model: LinearModel) -> bool:
    """Whether GLOP, or SCIP where there are steps, finds a point."""
    program = second_opinion.Program()
    stepped = [variable.step for variable in model.variables]
    for variable in model.variables:
        step = variable.step or ONE
        program.variable(variable.lower / step, (variable.upper // step) if variable.step else variable.upper,
                         integer=variable.step is not None)
    for row in model.rows:
        entries = {j: a * (stepped[j] or ONE) for j, a in enumerate(row.coefficients)}
        program.row(entries, **{"low" if row.sense == ">=" else "high": row.bound})
    return second_opinion.by_ortools(program, "SCIP" if any(stepped) else "GLOP") is not None
