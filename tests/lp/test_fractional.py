"""The best of a quotient: by hand, and on drawn models against GLOP, which finds nothing better."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from ratio_solver.exact import Vector, dot
from ratio_solver.lp.fractional import Quotient, best_quotient
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.solve import seeker
from tests.lp.models import ONE, ZERO, drawn_model

second_opinion = pytest.importorskip("tests.oracle.second_opinion")


def square(*rows: Row) -> LinearModel:
    """x and y from 0 to 9."""
    return LinearModel(tuple(Variable(name, ZERO, Fraction(9)) for name in "xy"), rows, ((ZERO, ZERO),))


def ratio(above: Vector, below: Vector, above_more: int = 0, below_more: int = 0) -> Quotient:
    return Quotient(above, Fraction(above_more), below, Fraction(below_more))


def test_by_hand() -> None:
    """(x + 1) / (y + 2) over x + y <= 9: at most 10 / 2 and at least 1 / 11."""
    box = square(Row("sum", (ONE, ONE), "<=", Fraction(9)))
    quotient = ratio((ONE, ZERO), (ZERO, ONE), 1, 2)
    assert best_quotient(seeker(box), quotient, most=True) == 5
    assert best_quotient(seeker(box), quotient, most=False) == Fraction(1, 11)
    assert best_quotient(seeker(box), quotient, most=True, near=Fraction(5)) == 5
    assert best_quotient(seeker(box), quotient, most=True, enough=Fraction(4)) == 4
    assert best_quotient(seeker(square(Row("none", (ONE, ONE), ">=", Fraction(19)))), quotient, most=True) is None


def test_without_a_denominator() -> None:
    """x / y without y has no end; of nothing but y it is nil, and where y must be nothing it is none."""
    quotient = ratio((ONE, ZERO), (ZERO, ONE))
    assert best_quotient(seeker(square()), quotient, most=True) is None
    assert best_quotient(seeker(square()), quotient, most=True, enough=Fraction(100)) == 100
    without_x = square(Row("no x", (ONE, ZERO), "<=", ZERO))
    assert best_quotient(seeker(without_x), quotient, most=True) == 0  # the emptiest dish is looked at first
    assert best_quotient(seeker(square(Row("nothing", (ONE, ONE), "<=", ZERO))), quotient, most=True) is None


def test_no_point_betters_it_and_few_are_asked_for() -> None:
    rng, found = random.Random(14), 0
    for number in range(200):
        model = drawn_model(rng)
        count, asked = len(model.variables), []
        quotient = ratio(tuple(Fraction(rng.randint(0, 9)) for _ in range(count)),
                         tuple(Fraction(rng.randint(0, 9)) for _ in range(count)), rng.randint(0, 3), rng.randint(1, 5))
        seek = seeker(model)

        def counted(cost: Vector, asked: list[Vector] = asked, seek=seek) -> Vector | None:  # type: ignore[no-untyped-def]
            asked.append(cost)
            return seek(cost)  # type: ignore[no-any-return]

        for most in (True, False):
            best = best_quotient(counted, quotient, most=most)
            if best is None:
                continue
            found += 1
            assert len(asked) < 25, number
            program = second_opinion.Program()
            for variable in model.variables:
                program.variable(variable.lower, variable.upper)
            for row in model.rows:
                program.row(dict(enumerate(row.coefficients)), **{"low" if row.sense == ">=" else "high": row.bound})
            sign = -1 if most else 1
            program.cost = {j: float(sign * (a - best * b))
                            for j, (a, b) in enumerate(zip(quotient.above, quotient.below, strict=True))}
            other = second_opinion.by_ortools(program)
            rest = sign * (quotient.above_constant - best * quotient.below_constant)
            assert other[0] + float(rest) == pytest.approx(0, abs=1e-6), number
    assert found > 100


def test_parts_are_exact() -> None:
    quotient = ratio((ONE, Fraction(1, 3)), (ZERO, ONE), 1, 2)
    point = (Fraction(1, 7), Fraction(2, 7))
    assert quotient.parts(point) == (dot(quotient.above, point) + 1, Fraction(16, 7))
